"""The command ``autograde``: the instructor's evening, one command after another."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from pathlib import Path

from autograde.papers import options as papers
from autograde.trouble import Trouble, reason

__all__ = ["main", "parser"]

DONE, LEFT_OVER, NOTHING_DONE = 0, 1, 2
_COURSE = "the course folder"


class _Parser(argparse.ArgumentParser):
    """Argparse that says what is wrong in one sentence instead of a usage text."""

    def error(self, message):
        raise Trouble(f"{message[:1].upper()}{message[1:]}; see: {self.prog} --help")


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    top = _Parser(
        prog="autograde",
        description="Run a course: enrol, release, collect, grade, report. Every command works without a network.",
        epilog="Exit code 0: done. 1: done, with something left for a person. 2: nothing done; one sentence says why.",
    )
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=_Parser)
    for add in (_first_steps, _marking, _reading, _privacy, _rehearsal):
        add(commands)
    papers.add(commands, _command)
    return top


def _command(commands, name: str, words: str) -> argparse.ArgumentParser:
    made = commands.add_parser(name, help=words, description=f"{words[:1].upper()}{words[1:]}.")
    made.add_argument("course", type=Path, metavar="COURSE", help=_COURSE)
    return made


def _first_steps(commands) -> None:
    new = _command(commands, "new", "make a new course folder; never overwrites one")
    new.add_argument(
        "--name", default="half-cycle", help="the name from which all circuits are drawn (default: %(default)s)"
    )
    new.add_argument("--title", default="", help="the heading of the report (default: the folder's name)")
    new.add_argument("--exchange", default="", metavar="FOLDER", help="on a hub, the root of nbgrader's exchange")
    new.add_argument(
        "--gradebook",
        default="",
        metavar="ADDRESS",
        help="an empty PostgreSQL database, e.g. postgresql://dana@db.example/fennel (default: a file in the folder); its password belongs into ~/.pgpass",
    )
    enrol = _command(commands, "enrol", "add the learners of a CSV list to the course")
    enrol.add_argument(
        "roster",
        type=Path,
        metavar="ROSTER.csv",
        help="columns in any order: id, first, last, email, group; or the folder or zip of a OneRoster 1.2 export",
    )
    enrol.add_argument(
        "--id", default="", metavar="COLUMN", help="the column that holds the ids, where it has another name"
    )
    enrol.add_argument(
        "--class", default="", dest="only_class", metavar="NAME", help="of a OneRoster export, only this class"
    )
    enrol.add_argument("--rename", action="store_true", help="let an enrolled id have a wholly other name")
    release = _command(commands, "release", "make the learners' notebooks, without solutions, and check them for leaks")
    release.add_argument(
        "--lesson", action="append", default=[], metavar="NN", help="only this lesson (may be repeated)"
    )
    release.add_argument(
        "--due",
        action="append",
        default=[],
        metavar="NN=WHEN",
        help="last day or moment, e.g. 01=2026-03-02T18:00 (local time)",
    )
    collect = _command(commands, "collect", "take in what the learners handed in; all of it is kept")
    collect.add_argument(
        "inbox",
        type=Path,
        metavar="INBOX",
        nargs="?",
        help="a folder or zip (zips in it too) whose folders or files are named by an id, an e-mail address or a whole name; on a hub leave it out",
    )
    _command(commands, "hand-out", "on a hub, put the released lessons where learners fetch them")
    _command(commands, "hand-back", "on a hub, put the feedback pages of the last report where learners fetch them")


def _marking(commands) -> None:
    grade = _command(commands, "grade", "run and mark every hand-in that is new; may be stopped and started again")
    grade.add_argument("--lesson", metavar="NAME", help="only this lesson")
    grade.add_argument("--learner", metavar="ID", help="only this learner")
    grade.add_argument("--force", action="store_true", help="grade unchanged hand-ins again too")
    _how_to_run(grade)
    remark = _command(commands, "remark", "mark every stored answer again by today's keys, without running a notebook")
    remark.add_argument("--lesson", metavar="NAME", help="only this lesson")
    remark.add_argument("--dry-run", action="store_true", help="only show whose total would move, and by how much")
    remark.add_argument(
        "--yes", action="store_true", help="write it without asking (without a terminal, moves are only shown)"
    )
    review = _command(commands, "review", "open nbgrader's page for marking by hand, on this computer alone")
    review.add_argument("--port", type=int, default=0, help="the port to use (default: any free one)")
    review.add_argument("--no-browser", dest="browser", action="store_false", help="only print the address")


def _reading(commands) -> None:
    report = _command(commands, "report", "write the report, its tables and the learners' feedback pages")
    report.add_argument(
        "--no-feedback", dest="feedback", action="store_false", help="leave the feedback pages as they are"
    )
    report.add_argument(
        "--pseudonyms",
        action="store_true",
        help="a report without ids, names and e-mail addresses, in reports/pseudonyms",
    )
    explain = _command(commands, "explain", "say why one item of one learner was marked as it was")
    explain.add_argument("learner", metavar="LEARNER", help="the learner's id")
    explain.add_argument("item", metavar="ITEM", help="the item, for example 01-peak")


def _privacy(commands) -> None:
    forget = _command(commands, "forget", "remove a person from everywhere in the course, and say what was removed")
    forget.add_argument("learner", metavar="LEARNER", help="the learner's id")
    forget.add_argument("--dry-run", action="store_true", help="only say what would be removed")


def _rehearsal(commands) -> None:
    rehearse = _command(commands, "rehearse", "try everything out with an invented cohort in a new course folder")
    rehearse.add_argument("--lessons", default="", metavar="NN,NN", help="only these lessons")
    _how_to_run(rehearse)


def _how_to_run(command) -> None:
    command.add_argument(
        "--workers", type=_at_least_one, default=1, metavar="N", help="how many to run at once (default: 1)"
    )
    command.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="send the executions to the Dask scheduler there, for example tcp://10.0.0.5:8786",
    )
    command.add_argument(
        "--unfenced", action="store_true", help="run learners' code without a fence, where this computer has none"
    )


def _at_least_one(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 up")
    return int(text)


def main(argv: list[str] | None = None) -> int:
    """Run one command; return its exit code. Failure is one sentence on stderr, never a traceback."""
    try:
        args = parser().parse_args(argv)
        _warm_up(args)
        return _commands()[args.command](args)
    except Trouble as trouble:
        return _fail(str(trouble), NOTHING_DONE)
    except KeyboardInterrupt:
        return _fail("Stopped; what was done is kept, and the same command goes on from there.", LEFT_OVER)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return LEFT_OVER
    except Exception as error:
        if os.environ.get("AUTOGRADE_TRACEBACK"):
            raise
        return _fail(_unforeseen(error), NOTHING_DONE)


def _commands() -> dict:
    """The commands; nbgrader, loaded with them, stays to the end, so the garbage collector need not go through it."""
    first = "autograde.commands" not in sys.modules
    from autograde.commands import COMMANDS

    if first:
        gc.freeze()
    return COMMANDS


def _warm_up(args) -> None:
    """Where there is something to execute, the interpreter behind the fence gets warm while this one loads nbgrader."""
    if args.command != "grade" or args.unfenced or args.cluster or not args.course.is_dir():
        return
    from autograde import early

    early.start(args.course, args.lesson, args.force)


def _fail(sentence: str, code: int) -> int:
    print(" ".join(sentence.split()), file=sys.stderr)
    return code


def _unforeseen(error: Exception) -> str:
    if isinstance(error, OSError) and error.filename:
        return f"{error.filename} cannot be used ({reason(error)}); make it readable and writable, and run the command again."
    said = next(iter(str(error).splitlines()), "")
    return (
        f"Something unforeseen stopped the command ({type(error).__name__}: {said}); "
        "set AUTOGRADE_TRACEBACK=1 and run it again to see where."
    )


if __name__ == "__main__":
    sys.exit(main())

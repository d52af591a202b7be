"""The learner's command: `halfcycle study` and `halfcycle demo`."""

import argparse
import sys
from pathlib import Path

from halfcycle.trouble import Trouble

__all__ = ["main"]


def main(arguments=None):
    """Run one command; return its exit code: 0, or non-zero after one plain sentence."""
    options = _parser().parse_args(arguments)
    try:
        return options.run(options)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130


def _study(options):
    from halfcycle.study import study

    return study(
        options.folder,
        learner=options.learner,
        course=options.course,
        lessons=options.lessons,
        port=options.port,
        open_browser=not options.no_browser,
    )


def _demo(options):
    from halfcycle.demo import run

    return run(bench=options.bench, open_browser=not options.no_browser, handout=options.handout, port=options.port)


def _parser():
    parser = argparse.ArgumentParser(
        prog="halfcycle", description="Learn and try out the 24 VAC control side of a building."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    study = commands.add_parser("study", help="make a folder of lessons, or go on with it, and open it in JupyterLab")
    study.add_argument(
        "folder", nargs="?", default="half-cycle-study", metavar="FOLDER", help="default: half-cycle-study"
    )
    study.add_argument("--no-browser", action="store_true", help="print the address only")
    study.add_argument("--learner", metavar="ID", help="your id, as your instructor gave it (default: guest)")
    study.add_argument("--course", metavar="NAME", help="the name of your course (default: half-cycle)")
    study.add_argument("--lessons", type=Path, metavar="DIR", help="a folder of released lessons to start from")
    study.add_argument("--port", type=int, metavar="N", help="default: the first free one from 8888 on")
    study.set_defaults(run=_study)
    demo = commands.add_parser("demo", help="show the benches on one clean page, or print a hand-out")
    demo.add_argument("--bench", metavar="NAME", help="the bench to open first")
    demo.add_argument("--no-browser", action="store_true", help="print the address only")
    demo.add_argument(
        "--handout", type=Path, metavar="FILE.pdf", help="write the one-page safety-talk sheet to this file"
    )
    demo.add_argument("--port", type=int, metavar="N", help="default: the first free one from 8724 on")
    demo.set_defaults(run=_demo)
    return parser


if __name__ == "__main__":
    sys.exit(main())

"""What each command of the instructor does, step by step; every one returns its exit code.

0: all done. 1: done, but something is left for a person, and it has been named. A `Trouble` (nothing done) is the caller's.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

from tqdm import tqdm

from autograde import by_hand, grading, hand_log, packs, rehearse, release, reports, review, roster
from autograde import collect as collecting
from autograde import course as courses
from autograde import forget as forgetting
from autograde.cohort import COHORT
from autograde.database import has_password
from autograde.explain import explain
from autograde.feedback import feedback
from autograde.files import write_whole
from autograde.new import new, opened
from autograde.pack_page import COMMAND
from autograde.papers.commands import COMMANDS as PAPERS
from autograde.progress import GradingBar
from autograde.trouble import Trouble

__all__ = ["COMMANDS"]

_FIRST_DUE = datetime(2026, 3, 2, 18, tzinfo=UTC)


def _bar(what: str):
    """A progress bar on stderr, seen only in a terminal."""
    return lambda things: tqdm(things, desc=what, unit="", disable=None, leave=False, file=sys.stderr)


def _many(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _close(sentences: list[str], summing_up: str) -> int:
    """Name what is left for a person; 1 if there is something."""
    for sentence in sentences:
        print(sentence)
    if sentences:
        print(summing_up, file=sys.stderr)
    return 1 if sentences else 0


def _new(args) -> int:
    new(args.course, name=args.name, title=args.title, exchange=args.exchange, gradebook=args.gradebook)
    if has_password(args.gradebook):
        print(
            f"The password stands in {args.course / 'course.json'} now, for you alone to read; ~/.pgpass would keep it out."
        )
    print(f"Made {args.course}. Next: autograde enrol {args.course} ROSTER.csv")
    return 0


def _enrol(args) -> int:
    with opened(args.course) as gradebook:
        how = {"id_column": args.id, "only_class": args.only_class, "rename": args.rename}
        lines = roster.enrol(args.course, args.roster, gradebook, **how)
    print("\n".join(lines))
    print(f"{_many(len(roster.learners(args.course)), 'learner')} enrolled in {args.course}.")
    return 0


def _release(args) -> int:
    due = dict(map(release.parse_due, args.due))
    lessons = release.sources(args.lesson)
    if missing := set(due) - {lesson[:2] for lesson in lessons}:
        raise Trouble(f"--due names lesson {min(missing)}, which is not being released; release it with the others.")
    with opened(args.course):
        pass
    for lesson in _bar("Releasing")(lessons):
        release.release(args.course, lesson)
        if lesson[:2] in due:
            with opened(args.course) as gradebook:
                release.set_due(gradebook, lesson, due[lesson[:2]])
        print(f"Released {lesson}" + (f", due {due[lesson[:2]]:%Y-%m-%d %H:%M} UTC" if lesson[:2] in due else ""))
    if courses.settings(args.course).exchange:
        print(f"Next: autograde hand-out {args.course}")
        return 0
    return _pack(args.course)


def _pack(course) -> int:
    """The learners' packs, after the lessons; without them the release still stands."""
    with opened(course) as gradebook:
        due = release.due_dates(gradebook)
    try:
        made = packs.write(course, reports.title(course), due)
    except Trouble as trouble:
        return _close([str(trouble)], "The lessons are released, but there is no new pack for the learners; see above.")
    for group, place in made.items():
        print(f"Pack for {group or 'learners without a group'}: {place} (it starts with: {COMMAND})")
    return 0


def _collect(args) -> int:
    with opened(args.course) as gradebook:
        due = release.due_dates(gradebook)
    where = args.inbox or "the exchange"
    done = collecting.collect(args.course, args.inbox or _in_the_exchange(args.course), due, _bar("Collecting"))
    print("\n".join(done.taken) if done.taken else f"There was nothing to collect in {where}.")
    return _close(
        done.troubles, f"{_many(len(done.troubles), 'file')} in {where} could not be taken; each is named above."
    )


def _in_the_exchange(course):
    from autograde.hub import exchange

    return exchange.waiting(course)


def _hand_out(args) -> int:
    from autograde.hub import exchange

    with opened(args.course):
        pass
    for lesson in exchange.hand_out(args.course):
        print(f"{lesson}: learners can fetch it")
    return 0


def _hand_back(args) -> int:
    from autograde.hub import exchange

    with opened(args.course):
        pass
    lines = exchange.hand_back(args.course)
    print("\n".join(lines) if lines else f"There is nothing to hand back; run first: autograde report {args.course}")
    return 0


def _grade(args) -> int:
    with opened(args.course):
        pass
    bar = GradingBar()
    summary = grading.grade(
        args.course,
        lesson=args.lesson,
        learner=args.learner,
        workers=args.workers,
        unfenced=args.unfenced,
        cluster=args.cluster,
        progress=bar,
        told=bar.told,
        force=args.force,
    )
    counts = {status: summary.count(status) for status in ("graded", "unchanged", "not graded")}
    print(", ".join(f"{count} {status}" for status, count in counts.items()))
    with opened(args.course) as gradebook:
        waiting = by_hand.in_short(by_hand.texts(gradebook))
    if waiting:
        print(f"Waiting to be marked by hand: {waiting}. Next: autograde review {args.course}")
    return _close(summary.person, f"{_many(len(summary.person), 'matter')} left for a person; each is named above.")


def _remark(args) -> int:
    _note_by_hand(args.course)
    if args.lesson and not (args.course / "release" / args.lesson / f"{args.lesson}.ipynb").is_file():
        raise Trouble(f"There is no released lesson {args.lesson} in {args.course}; look into its folder release.")
    shown = grading.remark(args.course, lesson=args.lesson, progress=_bar("Looking ahead"), write=False)
    _show_moved(shown.moved)
    if args.dry_run or (shown.moved and not args.yes and not _agreed()):
        print("Nothing has been written." if args.dry_run else "Nothing has been written; to write it, add --yes.")
        return _close(list(shown.troubles), "Some could not be marked again; see above.") or int(not args.dry_run)
    done = grading.remark(args.course, lesson=args.lesson, progress=_bar("Marking again"))
    print(f"{_many(done.count, 'hand-in')} marked again; {_many(len(done.moved), 'total')} moved.")
    return _close(
        list(done.troubles), f"{_many(len(done.troubles), 'hand-in')} could not be marked again; each is named above."
    )


def _show_moved(moved) -> None:
    for one in moved:
        items = ", ".join(f"{item} {before:g} → {after:g}" for item, before, after in one.items)
        print(f"{one.learner}, {one.lesson}: {one.before:g} → {one.after:g} points ({items or 'late penalty'})")


def _agreed() -> bool:
    """Whether a person at a terminal says that it is to be written; without a terminal nobody does."""
    return (
        sys.stdin is not None and sys.stdin.isatty() and input("Write this? [y/N] ").strip().casefold() in ("y", "yes")
    )


def _report(args) -> int:
    with opened(args.course) as gradebook:
        hand_log.note(args.course, gradebook)
        place = reports.write(args.course, gradebook, pseudonyms=args.pseudonyms)
    print(f"Report: {place}")
    if not args.feedback or args.pseudonyms:
        return 0
    troubles = feedback(args.course, _bar("Feedback pages"))
    print(f"Feedback pages: {args.course / 'feedback'}")
    return _close(troubles, f"{_many(len(troubles), 'feedback page')} could not be written; each is named above.")


def _review(args) -> int:
    _note_by_hand(args.course)
    try:
        return _reviewed(args)
    finally:
        _note_by_hand(args.course)


def _note_by_hand(course) -> None:
    with opened(course) as gradebook:
        hand_log.note(course, gradebook)


def _reviewed(args) -> int:
    with review.formgrader(args.course, args.port) as (server, address):
        print(f"Marking by hand: {address}\nStop with Ctrl-C.", flush=True)
        if args.browser:
            import webbrowser

            webbrowser.open(address)
        try:
            server.wait()
        except KeyboardInterrupt:
            print("\nStopped.")
            return 0
    raise Trouble(f"The marking page of {args.course} has ended by itself; start it again.")


def _explain(args) -> int:
    _note_by_hand(args.course)
    with opened(args.course) as gradebook:
        print("\n".join(explain(args.course, args.learner, args.item, gradebook)))
    return 0


def _forget(args) -> int:
    with opened(args.course) as gradebook:
        done = forgetting.forget(args.course, args.learner, gradebook, write_it=not args.dry_run)
    print("\n".join(done.removed))
    if args.dry_run:
        print("Nothing has been removed; without --dry-run all of this would be.")
        return 0
    print(
        f"{args.learner} has been removed from {args.course}. What lies outside that folder is yours to delete: lists, inboxes, copies, print-outs."
    )
    return _close(done.left, f"{_many(len(done.left), 'file')} still to be looked at; each is named above.")


def _rehearse(args) -> int:
    lessons = release.sources(filter(None, args.lessons.split(",")))
    due = {lesson: _FIRST_DUE + timedelta(weeks=week) for week, lesson in enumerate(lessons)}
    new(args.course, name=courses.DEFAULT_COURSE, title="Rehearsal: Fennel Street Library")
    args.roster, args.inbox = args.course / "office-list.csv", args.course / "inbox"
    args.id = args.only_class = args.rename = ""
    write_whole(args.roster, rehearse.roster_csv())
    args.lesson, args.due = (
        [each[:2] for each in lessons],
        [f"{each[:2]}={when.isoformat()}" for each, when in due.items()],
    )
    print(f"Enrolling {len(COHORT)} invented learners")
    _enrol(args)
    _release(args)
    count = rehearse.plant(args.course, courses.DEFAULT_COURSE, due, args.inbox)
    print(f"{count} notebooks filled in and handed in")
    _collect(args)
    args.lesson, args.learner, args.force, args.feedback, args.pseudonyms = None, None, False, True, False
    return max(_grade(args), _report(args))


COMMANDS = {
    "new": _new,
    "enrol": _enrol,
    "release": _release,
    "collect": _collect,
    "hand-out": _hand_out,
    "hand-back": _hand_back,
    "grade": _grade,
    "remark": _remark,
    "report": _report,
    "review": _review,
    "rehearse": _rehearse,
    "explain": _explain,
    "forget": _forget,
    **PAPERS,
}

"""Collecting hand-ins: every one is kept, and the newest that is in time is the one that will be graded."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from autograde import inbox as boxes
from autograde import whose
from autograde.files import sweep_parts, write_whole
from autograde.roster import learners
from autograde.trouble import Trouble

__all__ = ["Collected", "HandIn", "collect", "counting", "history"]

_STAMP = "%Y%m%dT%H%M%SZ"
_KEPT = re.compile(r"(\d{8}T\d{6}Z)-([0-9a-f]{12})\.ipynb")


@dataclass(frozen=True)
class HandIn:
    """One notebook as it was handed in and kept: ``when`` is UTC to the second, ``digest`` names its content."""

    learner: str
    lesson: str
    when: datetime
    digest: str
    path: Path

    def late(self, due: datetime | None) -> bool:
        """Whether it came after ``due`` (UTC; None means that there is no last day)."""
        return due is not None and self.when > due


@dataclass
class Collected:
    """What one ``collect`` did: a line for each hand-in taken, and one sentence for each file that was not."""

    taken: list[str] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)


def history(course: Path, learner: str, lesson: str) -> list[HandIn]:
    """Every hand-in kept for ``learner`` and ``lesson``, oldest first."""
    found = []
    for path in sorted((course / "history" / learner / lesson).glob("*.ipynb")):
        if name := _KEPT.fullmatch(path.name):
            when = datetime.strptime(name[1], _STAMP).replace(tzinfo=UTC)
            found.append(HandIn(learner, lesson, when, name[2], path))
    return found


def counting(kept: Iterable[HandIn], due: datetime | None = None) -> HandIn:
    """The hand-in that counts: the newest in time, else the newest.

    >>> early, late = (HandIn("a", "01", datetime(2026, 3, day, tzinfo=UTC), "", Path()) for day in (1, 9))
    >>> counting([early, late], datetime(2026, 3, 5, tzinfo=UTC)) is early
    True
    """
    kept = sorted(kept, key=lambda each: each.when)
    in_time = [each for each in kept if not each.late(due)]
    return (in_time or kept)[-1]


def collect(
    course: Path, place: Path | Iterable[boxes.Found], due: dict[str, datetime | None], progress=iter
) -> Collected:
    """Take every hand-in of ``place`` (a folder, a zip, or what was found) into ``course``; one bad file never holds up the others.

    ``due`` gives the last moment of each lesson (UTC); ``progress`` wraps the iterable of files found.
    """
    known, lessons, done = learners(course), whose.released(course), Collected()
    if not known:
        raise Trouble(f"Nobody is enrolled in {course} yet; run: autograde enrol {course} ROSTER.csv")
    sweep_parts(course, ("history", "submitted"))
    touched = {}
    for one in progress(boxes.look(place) if isinstance(place, Path) else place):
        if one.note:
            done.taken.append(one.note)
            continue
        try:
            kept, line = _keep(course, one, known, lessons)
            touched.setdefault((kept.learner, kept.lesson), []).append(line)
        except Trouble as trouble:
            done.troubles.append(str(trouble))
    for (learner, lesson), lines in touched.items():
        done.taken += lines
        done.taken += _put_forward(course, learner, lesson, due.get(lesson))
    return done


def _keep(course: Path, found: boxes.Found, known, lessons) -> tuple[HandIn, str]:
    """Put one hand-in under history/, once; the same content handed in again keeps its first time."""
    if found.trouble:
        raise Trouble(found.trouble)
    book = whose.notebook(found.data, found.place)
    learner, lesson = whose.learner_of(found.place, known, lessons), whose.lesson_of(book, lessons, found.place)
    digest = hashlib.sha256(found.data).hexdigest()[:12]
    when = (found.when or datetime.now(UTC)).replace(microsecond=0)
    twin = next((each for each in history(course, learner, lesson) if each.digest == digest), None)
    if twin and twin.when <= when:
        return twin, f"{found.place}: {learner}, {lesson}: already collected"
    path = course / "history" / learner / lesson / f"{when.strftime(_STAMP)}-{digest}.ipynb"
    write_whole(path, found.data)
    if twin:
        twin.path.unlink()
    renamed = "" if lesson in found.place.as_posix() else " (known by its cells)"
    return HandIn(learner, lesson, when, digest, path), f"{found.place}: {learner}, {lesson}{renamed}: collected"


def _put_forward(course: Path, learner: str, lesson: str, due: datetime | None) -> list[str]:
    """Write the hand-in that counts to submitted/ with its time, and say so where there was a choice."""
    kept = history(course, learner, lesson)
    chosen = counting(kept, due)
    folder = course / "submitted" / learner / lesson
    stamp, data = f"{chosen.when:%Y-%m-%d %H:%M:%S} UTC\n", chosen.path.read_bytes()
    notebook, timestamp = folder / f"{lesson}.ipynb", folder / "timestamp.txt"
    if not _same(notebook, data):
        write_whole(notebook, data)
    if not _same(timestamp, stamp.encode()):
        write_whole(timestamp, stamp)
    return _choice(chosen, kept, due)


def _same(path: Path, data: bytes) -> bool:
    return path.is_file() and path.read_bytes() == data


def _choice(chosen: HandIn, kept: list[HandIn], due: datetime | None) -> list[str]:
    place, lines = f"{chosen.learner}, {chosen.lesson}", []
    if len(kept) > 1:
        lines.append(f"{place}: {len(kept)} hand-ins kept; the one of {chosen.when:%Y-%m-%d %H:%M} UTC counts")
    if chosen.late(due):
        lines.append(f"{place}: late, it came {chosen.when:%Y-%m-%d %H:%M} UTC and was due {due:%Y-%m-%d %H:%M} UTC")
    return lines

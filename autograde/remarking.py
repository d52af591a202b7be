"""Marking again from the stored slips: nothing is executed, manual marks stay, and it is said whose total moves."""

from __future__ import annotations

import contextlib
import os
from dataclasses import asdict, dataclass
from pathlib import Path

import nbformat

from autograde import course as courses
from autograde import records, stamps
from autograde.alone import alone
from autograde.book import Book
from autograde.files import write_whole
from autograde.journal import Journal
from autograde.neighbours import flag_neighbours
from autograde.preprocessors.mark_slips import checked_keys, graded_cells, show_mark
from autograde.roster import learners
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["Moved", "Remarked", "remark"]


@dataclass(frozen=True)
class Moved:
    """A learner whose total for a lesson moves, in points of the gradebook (manual marks and late penalties included).

    ``items`` are the ``(item, before, after)`` behind it.
    """

    learner: str
    lesson: str
    before: float
    after: float
    items: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True)
class Remarked:
    """What one `remark` did: how many submissions were marked again, whose total moved, one sentence for each that could not be."""

    count: int
    moved: tuple[Moved, ...]
    troubles: tuple[str, ...]


def remark(course, lesson=None, progress=iter, *, write=True) -> Remarked:
    """Mark every stored slip of ``course`` (or of one ``lesson``) by today's keys and traps.

    Without ``write`` every change of the gradebook is undone as soon as it is reckoned, and nothing of the course is changed.
    """
    course = Path(course).resolve()
    known, config = learners(course), courses.config(course)
    found = [path for path in records.all_slips(course) if path.parent.name in known and lesson in (None, path.stem)]
    moved, troubles, lessons = [], [], set()
    with alone(course) if write else contextlib.nullcontext(), Book(config) as book:
        for path in progress(found):
            try:
                one = _remark_one(course, path, book, write)
                lessons.add(path.stem)
                moved += [one] if one.before != one.after else []
            except (Trouble, LookupError, ValueError) as trouble:
                troubles.append(f"{path.parent.name}, {path.stem}: {trouble}")
        if write:
            _tell(course, moved)
            flag_neighbours(course, known, lessons)
    return Remarked(len(found) - len(troubles), tuple(moved), tuple(troubles))


def _tell(course, moved):
    """Into the journal, so that whoever asks later sees that a mark was moved."""
    if moved:
        with Journal(course) as journal:
            for one in moved:
                journal.tell("remarked", **asdict(one))


def _remark_one(course, path, book, write):
    learner, lesson = path.parent.name, path.stem
    kept, old = records.read(path), records.read(records.marks_path(course, learner, lesson)) or {}
    graded = course / "autograded" / learner / lesson / f"{lesson}.ipynb"
    if not graded.is_file():
        raise Trouble(f"{graded} is missing; grade this submission again.")
    nb = nbformat.read(graded, as_version=4)
    keys, traps = checked_keys(nb, lesson)
    variant = circuit(kept["course"], lesson, learner)
    marks = records.mark_slips(kept["slips"], keys, traps, variant)
    for item, cell in graded_cells(nb).items():
        show_mark(cell, keys[item], marks[item], kept["slips"].get(item))
    before, after, items = book.mark_again(learner, lesson, nb, write=write)
    if write:
        _write_notebook(graded, nb)
        fresh = records.marks_record(variant, lesson, kept, keys, marks)
        stamp = {**old["stamp"], "key": stamps.key_stamp(lesson)} if old.get("stamp") else None
        records.write(records.marks_path(course, learner, lesson), {**fresh, "stamp": stamp})
    return Moved(learner, lesson, before, after, items)


def _write_notebook(path, nb):
    mode = path.stat().st_mode & 0o777
    write_whole(path, nbformat.writes(nb))
    os.chmod(path, mode)

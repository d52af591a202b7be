"""Marking again from the stored slips: nothing is executed, manual marks stay, and it is said whose total moves."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path

import nbformat
from nbgrader.preprocessors import AssignLatePenalties, SaveAutoGrades

from autograde import course as courses
from autograde import records, stamps
from autograde.alone import alone
from autograde.by_hand import hand_marked
from autograde.files import write_whole
from autograde.journal import Journal
from autograde.neighbours import flag_neighbours
from autograde.preprocessors.mark_slips import checked_keys, graded_cells, show_mark
from autograde.roster import learners
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["Moved", "Remarked", "can_look_ahead", "remark"]


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

    Without ``write`` everything is reckoned on a copy of the gradebook, and nothing of the course is changed.
    """
    course = Path(course).resolve()
    known, config = learners(course), courses.config(course)
    found = [path for path in records.all_slips(course) if path.parent.name in known and lesson in (None, path.stem)]
    moved, troubles, lessons = [], [], set()
    with alone(course) if write else _copied_gradebook(config):
        for path in progress(found):
            try:
                one = _remark_one(course, path, config, write)
                lessons.add(path.stem)
                moved += [one] if one.before != one.after else []
            except (Trouble, LookupError, ValueError) as trouble:
                troubles.append(f"{path.parent.name}, {path.stem}: {trouble}")
        if write:
            _tell(course, moved)
            flag_neighbours(course, known, lessons)
    return Remarked(len(found) - len(troubles), tuple(moved), tuple(troubles))


def can_look_ahead(course) -> bool:
    """Whether the gradebook is a file, of which a copy can show what marking again would do."""
    return courses.config(Path(course).resolve()).CourseDirectory.db_url.startswith("sqlite:///")


@contextlib.contextmanager
def _copied_gradebook(config):
    """``config`` names a copy of the gradebook for as long as this lasts."""
    own = config.CourseDirectory.db_url
    place, _, rest = own.partition("?")
    if not place.startswith("sqlite:///"):
        raise Trouble("Only the totals of a gradebook in a file can be shown beforehand; run remark again with --yes.")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "gradebook.db")
        with (
            closing(sqlite3.connect(place.removeprefix("sqlite:///"))) as book,
            closing(sqlite3.connect(copy)) as other,
        ):
            book.backup(other)
        config.CourseDirectory.db_url = f"sqlite:///{copy}?{rest}"
        try:
            yield
        finally:
            config.CourseDirectory.db_url = own


def _tell(course, moved):
    """Into the journal, so that whoever asks later sees that a mark was moved."""
    if moved:
        with Journal(course) as journal:
            for one in moved:
                journal.tell("remarked", **asdict(one))


def _remark_one(course, path, config, write):
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
    before, after, items = _save(nb, learner, lesson, config)
    if write:
        _write_notebook(graded, nb)
        fresh = records.marks_record(variant, lesson, kept, keys, marks)
        stamp = {**old["stamp"], "key": stamps.key_stamp(lesson)} if old.get("stamp") else None
        records.write(records.marks_path(course, learner, lesson), {**fresh, "stamp": stamp})
    return Moved(learner, lesson, before, after, items)


def _save(nb, learner, lesson, config):
    """Into the gradebook by nbgrader's own steps; return the total before and after, and the items that moved."""
    address = config.CourseDirectory.db_url
    resources = {"nbgrader": {"student": learner, "assignment": lesson, "notebook": lesson, "db_url": address}}
    before, old = _scores(config, learner, lesson)
    marked = _marked_texts(nb, learner, lesson, config)
    for step in (SaveAutoGrades, AssignLatePenalties):
        step(config=config).preprocess(nb, resources)
    _marked_texts(nb, learner, lesson, config, again=marked)
    after, new = _scores(config, learner, lesson)
    return (
        before,
        after,
        tuple((item, old.get(item, 0.0), new[item]) for item in new if old.get(item, 0.0) != new[item]),
    )


def _marked_texts(nb, learner, lesson, config, again=()):
    """The learner's texts that a person has marked. Those of ``again`` stay so: no key has a say in them."""
    from nbgrader.api import Gradebook

    with Gradebook(config.CourseDirectory.db_url, config.CourseDirectory.course_id) as book:
        grades = {item: book.find_grade(item, lesson, lesson, learner) for item in hand_marked(nb)}
        for item in again:
            grades[item].needs_manual_grade = False
        book.db.commit()
        return [item for item, grade in grades.items() if not grade.needs_manual_grade]


def _scores(config, learner, lesson):
    """The total less any late penalty, and ``{item: score}``, as the gradebook has them."""
    from nbgrader.api import Gradebook, MissingEntry

    with Gradebook(config.CourseDirectory.db_url, config.CourseDirectory.course_id) as book:
        try:
            submission = book.find_submission(lesson, learner)
        except MissingEntry:
            raise Trouble("it is not in the gradebook; grade this submission again.") from None
        penalty = sum(notebook.late_submission_penalty or 0.0 for notebook in submission.notebooks)
        scores = {grade.name: grade.score for notebook in submission.notebooks for grade in notebook.grades}
        return submission.score - penalty, scores


def _write_notebook(path, nb):
    mode = path.stat().st_mode & 0o777
    write_whole(path, nbformat.writes(nb))
    os.chmod(path, mode)

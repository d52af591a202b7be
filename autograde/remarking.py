"""Marking again from the stored slips: nothing is executed, manual marks stay, and it is said whose total moves."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import nbformat
from nbgrader.preprocessors import AssignLatePenalties, SaveAutoGrades

from autograde import course as courses
from autograde import records, stamps
from autograde.by_hand import hand_marked
from autograde.files import write_whole
from autograde.neighbours import flag_neighbours
from autograde.preprocessors.mark_slips import checked_keys, graded_cells, show_mark
from autograde.roster import learners
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["Moved", "Remarked", "remark"]


@dataclass(frozen=True)
class Moved:
    """A learner whose total for a lesson has moved, in points of the gradebook (manual marks and late penalties included)."""

    learner: str
    lesson: str
    before: float
    after: float


@dataclass(frozen=True)
class Remarked:
    """What one `remark` did: how many submissions were marked again, whose total moved, one sentence for each that could not be."""

    count: int
    moved: tuple[Moved, ...]
    troubles: tuple[str, ...]


def remark(course, lesson=None, progress=iter) -> Remarked:
    """Mark every stored slip of ``course`` (or of one ``lesson``) by today's keys and traps."""
    course = Path(course).resolve()
    config, known = courses.config(course), learners(course)
    found = [path for path in records.all_slips(course) if path.parent.name in known and lesson in (None, path.stem)]
    moved, troubles, lessons = [], [], set()
    for path in progress(found):
        try:
            one = _remark_one(course, path, config)
            lessons.add(path.stem)
            moved += [one] if one.before != one.after else []
        except (Trouble, LookupError, ValueError) as trouble:
            troubles.append(f"{path.parent.name}, {path.stem}: {trouble}")
    flag_neighbours(course, known, lessons)
    return Remarked(len(found) - len(troubles), tuple(moved), tuple(troubles))


def _remark_one(course, path, config):
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
    before, after = _save(nb, learner, lesson, config)
    _write_notebook(graded, nb)
    fresh = records.marks_record(variant, lesson, kept, keys, marks)
    stamp = {**old["stamp"], "key": stamps.key_stamp(lesson)} if old.get("stamp") else None
    records.write(records.marks_path(course, learner, lesson), {**fresh, "stamp": stamp})
    return Moved(learner, lesson, before, after)


def _save(nb, learner, lesson, config):
    """Into the gradebook by nbgrader's own steps; return the total before and after."""
    address = config.CourseDirectory.db_url
    resources = {"nbgrader": {"student": learner, "assignment": lesson, "notebook": lesson, "db_url": address}}
    before = _total(config, learner, lesson)
    marked = _marked_texts(nb, learner, lesson, config)
    for step in (SaveAutoGrades, AssignLatePenalties):
        step(config=config).preprocess(nb, resources)
    _marked_texts(nb, learner, lesson, config, again=marked)
    return before, _total(config, learner, lesson)


def _marked_texts(nb, learner, lesson, config, again=()):
    """The learner's texts that a person has marked. Those of ``again`` stay so: no key has a say in them."""
    from nbgrader.api import Gradebook

    with Gradebook(config.CourseDirectory.db_url, config.CourseDirectory.course_id) as book:
        grades = {item: book.find_grade(item, lesson, lesson, learner) for item in hand_marked(nb)}
        for item in again:
            grades[item].needs_manual_grade = False
        book.db.commit()
        return [item for item, grade in grades.items() if not grade.needs_manual_grade]


def _total(config, learner, lesson):
    from nbgrader.api import Gradebook, MissingEntry

    with Gradebook(config.CourseDirectory.db_url, config.CourseDirectory.course_id) as book:
        try:
            submission = book.find_submission(lesson, learner)
        except MissingEntry:
            raise Trouble("it is not in the gradebook; grade this submission again.") from None
        penalty = sum(notebook.late_submission_penalty or 0.0 for notebook in submission.notebooks)
        return submission.score - penalty


def _write_notebook(path, nb):
    mode = path.stat().st_mode & 0o777
    write_whole(path, nbformat.writes(nb))
    os.chmod(path, mode)

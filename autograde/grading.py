"""Grading a course: one submission after another through nbgrader, and no submission ever stops the next.

`grade` executes what is new, `remark` marks again from the stored slips without executing anything. Both may be
stopped at any moment and started again. What they leave behind is described in `autograde.records`.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from pathlib import Path

from autograde import course as courses
from autograde import records, stamps, triage
from autograde.autograder import autograde_one
from autograde.fence import fence
from autograde.neighbours import flag_neighbours
from autograde.remarking import remark
from autograde.roster import learners
from autograde.trouble import Trouble

__all__ = ["Outcome", "Summary", "grade", "grade_one", "remark"]

GRADED, UNCHANGED, NOT_GRADED = "graded", "unchanged", "not graded"


@dataclass(frozen=True)
class Outcome:
    """What became of one submission. ``status`` is graded, unchanged or not graded; ``person`` holds sentences for a person."""

    learner: str
    lesson: str
    status: str
    points: float | None = None
    possible: float | None = None
    person: tuple[str, ...] = ()


@dataclass
class Summary:
    """What one `grade` did: an `Outcome` for each submission, and ``strays``, one sentence for each thing that is none."""

    outcomes: list[Outcome] = field(default_factory=list)
    strays: list[str] = field(default_factory=list)

    @property
    def person(self) -> list[str]:
        """Every sentence that asks for a person, with whose submission it is about."""
        told = [f"{one.learner}, {one.lesson}: {said}" for one in self.outcomes for said in one.person]
        return [*self.strays, *told]

    @property
    def exit_status(self) -> int:
        """0 when all is graded and nothing asks for a person, else 1 (a `Trouble` before that is the command's 2)."""
        return 1 if self.person else 0

    def count(self, status: str) -> int:
        """How many submissions have this ``status``."""
        return sum(one.status == status for one in self.outcomes)


def grade(course, lesson=None, learner=None, workers=1, unfenced=False, progress=iter, force=False) -> Summary:
    """Grade every submission of ``course`` that is new or changed, or those of one ``lesson`` or ``learner`` only.

    ``progress`` wraps the list of submissions while they are graded. ``force`` grades unchanged ones as well.
    Raises `Trouble` with one sentence when nothing can be graded at all.
    """
    course = Path(course).resolve()
    known = learners(course)
    _check(course, known, learner)
    fence(unfenced=unfenced)
    with _alone(course):
        found, strays = triage.submissions(course, known, lesson, learner)
        _enter(course, [known[name] for name in dict.fromkeys(one.learner for one in found)])
        summary = Summary(_run(course, found, workers, unfenced, progress, force), strays)
        flag_neighbours(course, known, {one.lesson for one in summary.outcomes if one.status != NOT_GRADED})
    return summary


def grade_one(course, submission, unfenced=False, force=False) -> Outcome:
    """Grade one `triage.Submission`; whatever happens, the answer is an `Outcome`."""
    learner, lesson = submission.learner, submission.lesson
    try:
        triage.look_inside(submission)
        stamp = stamps.stamp(course, submission)
        if not force and stamps.is_current(course, submission, stamp):
            return _outcome(course, submission, UNCHANGED)
        stamps.forget(course, submission)
        autograde_one(course, learner, lesson, unfenced=unfenced)
        stamps.keep(course, submission, stamp)
        return _outcome(course, submission, GRADED)
    except Trouble as trouble:
        return Outcome(learner, lesson, NOT_GRADED, person=(str(trouble),))
    except Exception as error:
        said = str(error).strip().splitlines()[:1] or ["no more is known"]
        sentence = f"It could not be graded ({type(error).__name__}: {said[0]}); look at {submission.folder}."
        return Outcome(learner, lesson, NOT_GRADED, person=(sentence,))


def _outcome(course, submission, status):
    marks = records.read(records.marks_path(course, submission.learner, submission.lesson))
    person = tuple(marks["person"])
    return Outcome(submission.learner, submission.lesson, status, marks["points"], marks["possible"], person)


def _run(course, found, workers, unfenced, progress, force):
    if workers <= 1:
        return [grade_one(course, one, unfenced, force) for one in progress(found)]
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        futures = [(one, pool.submit(grade_one, course, one, unfenced, force)) for one in found]
        return [_result(one, future) for one, future in progress(futures)]


def _result(submission, future):
    try:
        return future.result()
    except BrokenProcessPool:
        sentence = "The process that graded it ended by itself; grade again with one worker."
        return Outcome(submission.learner, submission.lesson, NOT_GRADED, person=(sentence,))


def _check(course, known, learner):
    if not course.is_dir():
        raise Trouble(f"There is no course folder {course}; make one with: autograde new {course}")
    if not known:
        raise Trouble(f"Nobody is enrolled in {course} yet; run: autograde enrol {course} ROSTER.csv")
    if learner is not None and learner not in known:
        raise Trouble(f"There is no learner {learner} on the roster of {course}; check the id.")


def _enter(course, people):
    """Everyone who is graded must be in the gradebook, whatever happened to it since they were enrolled."""
    with courses.gradebook(course) as book:
        there = {student.id for student in book.students}
        for one in people:
            if one.id not in there:
                book.add_student(one.id, first_name=one.first, last_name=one.last, email=one.email)


@contextlib.contextmanager
def _alone(course):
    """Hold the course while grading: two gradings at once would do the same work twice."""
    try:
        import fcntl
    except ImportError:  # no such lock on this system
        yield
        return
    try:
        handle = os.open(course / ".grading", os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise Trouble(f"The course folder {course} cannot be written; make it writable.") from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError:
        raise Trouble(f"{course} is being graded already; wait until that has ended.") from None
    finally:
        os.close(handle)

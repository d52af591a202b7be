"""Grading a course: one submission after another through nbgrader, and no submission ever stops the next.

`grade` executes what is new, side by side, and one writer puts it into the gradebook, in order. `remark` marks again
from the stored slips without executing anything. Both may be stopped at any moment and started again. What they leave
behind is described in `autograde.records`, `autograde.kept` and `autograde.journal`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import asdict, dataclass, field
from pathlib import Path

from autograde import course as courses
from autograde import early, indexes, leftovers, records, stamps, triage
from autograde.alone import alone
from autograde.fence import fence
from autograde.journal import Journal
from autograde.neighbours import flag_neighbours
from autograde.pool import pool
from autograde.preparing import Preparer
from autograde.preprocessors import FencedExecute
from autograde.remarking import remark
from autograde.roster import learners
from autograde.trouble import Trouble
from autograde.writer import Writer

__all__ = ["Outcome", "Summary", "grade", "remark"]

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


def grade(
    course, lesson=None, learner=None, *, workers=1, unfenced=False, cluster=None, progress=iter, told=None, force=False
) -> Summary:
    """Grade every submission of ``course`` that is new or changed, or those of one ``lesson`` or ``learner`` only.

    ``progress`` wraps the list of submissions while they are graded; ``told`` is called with the facts of each line of
    the journal as keywords. ``cluster`` is the address of a Dask scheduler. ``force`` grades unchanged ones as well.
    Raises `Trouble` with one sentence when nothing can be graded at all.
    """
    course = Path(course).resolve()
    known = learners(course)
    _check(course, known, learner)
    if cluster is None:
        fence(unfenced=unfenced)
    with alone(course):
        leftovers.sweep(course)
        found, strays = triage.submissions(course, known, lesson, learner)
        _enter(course, [known[name] for name in dict.fromkeys(one.learner for one in found)])
        with Journal(course, told) as journal:
            how = {"lesson": lesson, "unfenced": unfenced, "workers": workers, "cluster": cluster, "force": force}
            summary = Summary(_run(course, found, journal, progress, **how), strays)
            _end(journal, summary)
        flag_neighbours(course, known, {one.lesson for one in summary.outcomes if one.status != NOT_GRADED})
    return summary


def _run(course, found, journal, progress, *, lesson, unfenced, workers, cluster, force):
    """Prepare a few submissions ahead, so that every worker has one, and finish them one by one in their order."""
    config = courses.config(course, unfenced=unfenced)
    outcomes, ahead, todo = [], deque(), iter(found)
    behind = FencedExecute(config=config).fence(elsewhere=cluster is not None)
    new = early.new_lessons(course, lesson, force)
    with Writer(course, config) as writer, pool(behind, workers, cluster, new) as workers_:
        preparer = Preparer(course, config, writer, journal, force)
        journal.tell("begin", submissions=len(found), workers=workers_.workers, cluster=cluster or "")
        for _ in progress(found):
            while len(ahead) <= 2 * workers_.workers and (one := next(todo, None)) is not None:
                ahead.append(preparer.prepare(one, workers_))
            outcomes.append(_finish(course, ahead.popleft(), writer))
            journal.tell("outcome", **asdict(outcomes[-1]))
    return outcomes


def _finish(course, prepared, writer) -> Outcome:
    """Put one prepared submission into the gradebook; whatever happens, the answer is an `Outcome`."""
    submission = prepared.submission
    learner, lesson = submission.learner, submission.lesson
    try:
        if prepared.wait():
            return _outcome(course, submission, UNCHANGED)
        stamps.forget(course, submission)
        writer.write(submission, prepared.nb)
        stamps.keep(course, submission, prepared.stamp)
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


def _end(journal, summary):
    for said in summary.strays:
        journal.tell("stray", said=said)
    counts = {status.replace(" ", "_"): summary.count(status) for status in (GRADED, UNCHANGED, NOT_GRADED)}
    journal.tell("end", **counts, person=len(summary.person), exit=summary.exit_status)


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
        indexes.add(book)
        there = {student.id for student in book.students}
        for one in people:
            if one.id not in there:
                book.add_student(one.id, first_name=one.first, last_name=one.last, email=one.email)

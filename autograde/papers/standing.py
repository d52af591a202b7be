"""How a learner stands in each released lesson: the points of the gradebook, the day, the hours, and what they come to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from autograde import hours as logs

__all__ = [
    "AT_LEAST_PERCENT",
    "NOT_HANDED_IN",
    "NOT_YET",
    "PASSED",
    "WAITS",
    "Standing",
    "released",
    "standings",
    "title_of",
]

AT_LEAST_PERCENT = 70.0  # common practice, no source; every command that uses it takes another with --at-least
PASSED, NOT_YET, WAITS, NOT_HANDED_IN = "passed", "not yet", "waits for marking", "not handed in"


@dataclass(frozen=True)
class Standing:
    """One learner in one lesson; ``points`` less any late penalty, ``when`` (UTC) handed in, None where nothing was."""

    learner: str
    lesson: str
    points: float = 0.0
    most: float = 0.0
    when: datetime | None = None
    due: datetime | None = None
    waits: bool = False
    marked: bool = False
    hours: float = 0.0
    planned: float = logs.PLANNED

    @property
    def percent(self) -> float:
        """Share of the points, 0 to 100."""
        return 100 * self.points / self.most if self.most else 0.0

    @property
    def late(self) -> bool:
        """Whether it came after the last day."""
        return bool(self.when and self.due and self.when > self.due)

    def result(self, at_least: float = AT_LEAST_PERCENT) -> str:
        """`PASSED`, `NOT_YET`, `WAITS` or `NOT_HANDED_IN`.

        >>> Standing("amara", "01_volts", 15.0, 20.0, marked=True).result(70)
        'passed'
        """
        if not self.marked:
            return NOT_HANDED_IN
        if self.waits:
            return WAITS
        return PASSED if self.percent >= at_least - 1e-9 else NOT_YET


def title_of(lesson: str) -> str:
    """A lesson as a reader says it.

    >>> title_of("03_one_diode")
    '03 one diode'
    """
    return f"{lesson[:2]} {lesson[3:].replace('_', ' ')}".strip()


def released(course: Path) -> list[str]:
    """The lessons that the course has released, in order."""
    return sorted(path.stem for path in (course / "release").glob("*/*.ipynb") if path.stem == path.parent.name)


def standings(course: Path, gradebook, learners) -> dict[str, list[Standing]]:
    """``{learner: [a Standing for each released lesson]}``; ``gradebook`` is an open nbgrader Gradebook."""
    lessons, spent, planned = released(course), _spent(course), logs.plan(course)
    marked = {lesson: _marked(gradebook, lesson) for lesson in lessons}
    found = {}
    for learner in learners:
        found[learner] = [
            Standing(
                learner,
                lesson,
                hours=spent.get((learner, lesson), 0.0),
                planned=planned.get(lesson[:2], logs.PLANNED),
                **marked[lesson].get(learner, {}),
            )
            for lesson in lessons
        ]
    return found


def _spent(course: Path) -> Mapping[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    for stay in logs.log(course):
        found[stay.learner, stay.lesson] = found.get((stay.learner, stay.lesson), 0.0) + stay.hours
    return found


def _marked(gradebook, lesson: str) -> dict[str, dict]:
    from nbgrader.api import MissingEntry

    try:
        due = gradebook.find_assignment(lesson).duedate
    except MissingEntry:
        return {}
    return {each.student_id: _one(each, due) for each in gradebook.assignment_submissions(lesson)}


def _one(submission, due) -> dict:
    penalty = submission.late_submission_penalty or 0.0
    return {
        "points": max(0.0, submission.score - penalty),  # as nbgrader's own exporter reckons it
        "most": submission.max_score,
        "when": _utc(submission.timestamp),
        "due": _utc(due),
        "waits": submission.needs_manual_grade,
        "marked": True,
    }


def _utc(when) -> datetime | None:
    return when.replace(tzinfo=UTC) if when else None

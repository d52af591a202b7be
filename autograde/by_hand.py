"""What a person marks: texts of the learners', in markdown cells that nbgrader both grades and leaves open.

They have no key and earn nothing by machine. Their points are in nbgrader's gradebook alone, put there in its own page
(`autograde review`), and are read from there for the report, the feedback pages and the export.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["MARKED", "NO_ANSWER", "WAITING", "Text", "hand_marked", "in_short", "texts", "waiting"]

WAITING, MARKED, NO_ANSWER = "waits for marking by hand", "marked by hand", "no answer"


@dataclass(frozen=True)
class Text:
    """One text of one learner as the gradebook has it; ``verdict`` is `WAITING`, `MARKED` or `NO_ANSWER`."""

    learner: str
    lesson: str
    item: str
    points: float
    possible: float
    verdict: str


def hand_marked(nb) -> dict:
    """Return ``{item: cell}`` of the cells of a notebook that a person marks."""
    found = {}
    for cell in nb.cells:
        marking = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "markdown" and marking.get("grade") and marking.get("solution"):
            found[marking["grade_id"]] = cell
    return found


def texts(gradebook) -> list[Text]:
    """Return every text in an open nbgrader ``gradebook``, by learner, lesson and item."""
    from nbgrader.api import Grade, GradeCell

    cells = {cell.id for cell in gradebook.db.query(GradeCell).filter(GradeCell.cell_type == "markdown")}
    rows = gradebook.db.query(Grade).filter(Grade.cell_id.in_(cells)).all() if cells else []
    found = [_text(grade) for grade in rows]
    return sorted(found, key=lambda each: (each.learner, each.lesson, each.item))


def _text(grade) -> Text:
    verdict = WAITING if grade.needs_manual_grade else NO_ANSWER if grade.manual_score is None else MARKED
    submission = grade.notebook.assignment
    return Text(submission.student.id, submission.assignment.name, grade.name, grade.score, grade.max_score, verdict)


def waiting(found: Iterable[Text]) -> dict[tuple[str, str], list[str]]:
    """``{(lesson, item): [learners]}`` of the texts that nobody has marked yet."""
    places: dict[tuple[str, str], list[str]] = {}
    for each in found:
        if each.verdict == WAITING:
            places.setdefault((each.lesson, each.item), []).append(each.learner)
    return places


def in_short(found: Iterable[Text]) -> str:
    """What waits, in a few words; "" when nothing does.

    >>> in_short([Text("amara", "10_call", "10-text", 0.0, 6.0, WAITING)])
    '10-text of 1 learner'
    """
    return ", ".join(
        f"{item} of {len(learners)} learner{'' if len(learners) == 1 else 's'}"
        for (_, item), learners in waiting(found).items()
    )

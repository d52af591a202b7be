"""Every change of a mark by hand, one JSON object a line, in ``COURSE/by-hand.jsonl``.

nbgrader's gradebook keeps the last change alone. Whenever a command looks at it (`review` when it begins and ends, and
`report`, `remark` and `explain`), what has changed since the last look is added here: ``seen`` (UTC), ``learner``,
``lesson``, ``cell``, ``what`` ("points", "extra credit" or "comment"), ``before`` and ``after`` (null: nothing by hand).
"""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

from autograde.trouble import Trouble, reason

__all__ = ["NAME", "changes", "note"]

NAME = "by-hand.jsonl"
_POINTS, _EXTRA, _COMMENT = "points", "extra credit", "comment"


def note(course: Path, gradebook) -> list[dict]:
    """Add what has been changed by hand since the last look; return the lines that are new. ``gradebook`` is open."""
    before, now = _last(course), _now(gradebook)
    seen = datetime.now(UTC).isoformat(timespec="seconds")
    fresh = [
        dict(zip(("learner", "lesson", "cell", "what"), place, strict=True)) | {"before": before.get(place), "after": now.get(place)}
        for place in sorted({*before, *now})
        if before.get(place) != now.get(place)
    ]  # fmt: skip
    if fresh:
        _append(course / NAME, [{"seen": seen, **each} for each in fresh])
    return fresh


def changes(course: Path, learner: str, lesson: str, item: str) -> list[dict]:
    """Every change by hand of ``item``, oldest first."""
    own = (item, f"{item}-answer")
    return [each for each in _lines(course) if (each["learner"], each["lesson"]) == (learner, lesson) and each["cell"] in own]  # fmt: skip


def _append(path: Path, lines: list[dict]) -> None:
    """In one piece, so that a stop leaves all of it or none."""
    data = "".join(json.dumps(each, ensure_ascii=False) + "\n" for each in lines).encode()
    try:
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            os.write(handle, data)
        finally:
            os.close(handle)
    except OSError as error:
        raise Trouble(f"{path} cannot be written ({reason(error)}); make it writable.") from error


def _lines(course: Path) -> list[dict]:
    path, found = course / NAME, []
    for line in path.read_text(encoding="utf-8").splitlines() if path.is_file() else []:
        try:
            found.append(json.loads(line))
        except ValueError as error:
            raise Trouble(f"{path} is damaged ({line[:40]!r}); take that line out.") from error
    return found


def _last(course: Path) -> dict[tuple, object]:
    found = {(each["learner"], each["lesson"], each["cell"], each["what"]): each["after"] for each in _lines(course)}
    return {place: value for place, value in found.items() if value is not None}


def _now(gradebook) -> dict[tuple, object]:
    """What the gradebook has by hand: ``{(learner, lesson, cell, what): value}``."""
    from nbgrader.api import Comment, Grade

    found = {}
    for grade in gradebook.db.query(Grade).filter((Grade.manual_score != None) | (Grade.extra_credit != None)):  # noqa: E711
        place = _place(grade)
        found |= {(*place, _POINTS): grade.manual_score, (*place, _EXTRA): grade.extra_credit or None}
    for comment in gradebook.db.query(Comment).filter(Comment.manual_comment != None):  # noqa: E711
        found[(*_place(comment), _COMMENT)] = comment.manual_comment
    return {place: value for place, value in found.items() if value is not None}


def _place(one) -> tuple[str, str, str]:
    submission = one.notebook.assignment
    return submission.student.id, submission.assignment.name, one.name

"""Why an item was marked as it was: everything that led to the mark, in plain lines."""

from __future__ import annotations

from pathlib import Path

from autograde import records
from autograde.by_hand import NO_ANSWER, WAITING, texts
from autograde.marking import Key, load
from autograde.roster import learners
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["explain"]


def explain(course: Path, learner: str, item: str, gradebook) -> list[str]:
    """The lines that say how ``item`` of ``learner`` came by its mark."""
    people = learners(course)
    if learner not in people:
        raise Trouble(
            f"There is no learner {learner!r} on the roster of {course}; there are: {', '.join(people) or 'none'}."
        )
    record = _record(course, learner, item)
    mark = record["items"].get(item)
    if mark is None and (text := _text(gradebook, learner, item)):
        return _text_lines(text, people[learner].name, gradebook)
    if mark is None:
        raise Trouble(f"Lesson {record['lesson']} has no item {item!r}; it has: {', '.join(record['items'])}.")
    keys, _ = load(record["lesson"])
    own = circuit(record["course"], record["lesson"], learner)
    return [
        f"{people[learner].name} ({learner}), lesson {record['lesson']}, item {item}",
        "",
        "Own circuit:",
        *(f"  {words}: {value} {unit}".rstrip() for words, value, unit in own.rows()),
        "",
        *_key_lines(keys.get(item), own),
        *_mark_lines(mark, record),
        *_hand_lines(gradebook, learner, record["lesson"], item),
        *_twin_lines(record, item),
    ]


def _text(gradebook, learner: str, item: str):
    return next((text for text in texts(gradebook) if (text.learner, text.item) == (learner, item)), None)


def _text_lines(text, name: str, gradebook) -> list[str]:
    """A text has no key: what the gradebook says is all there is."""
    how = {WAITING: "Not marked yet; run: autograde review", NO_ANSWER: "Nothing was written; no person need look"}
    return [
        f"{name} ({text.learner}), lesson {text.lesson}, item {text.item}",
        "",
        "A text that a person marks, by the rubric that is printed in the lesson; it has no key.",
        how.get(text.verdict, "Marked by hand"),
        *_hand_lines(gradebook, text.learner, text.lesson, text.item),
    ]


def _record(course: Path, learner: str, item: str) -> dict:
    for path in sorted((course / "marks" / learner).glob("*.json")):
        if path.stem[:2] == item[:2] and (found := records.read(path)):
            return found
    raise Trouble(f"Nothing of {learner} is marked for {item!r} yet; run: autograde grade {course}")


def _key_lines(key: Key | None, own) -> list[str]:
    if key is None:
        return ["Key: none today (the item has left the lesson)"]
    first, second = key.first(own), key.second(own)
    tolerance = f"within {100 * key.rel_tol:g} %" + (f" or {key.abs_tol:g} {key.unit}" if key.abs_tol else "")
    return [
        f"Key, first road ({key.first_road}): {_said(first)} {key.unit}",
        f"Key, second road ({key.second_road}): {_said(second)} {key.unit}",
        f"Right is {'the whole table' if isinstance(first, tuple) else tolerance}; today's key is version {key.version}",
        "",
    ]


def _mark_lines(mark: dict, record: dict) -> list[str]:
    handed = "nothing" if mark["value"] is None else f"{_said(mark['value'])} {mark['unit']}"
    return [
        f"Handed in: {handed}",
        f"Verdict: {mark['verdict']}, {mark['points']:g} of {mark['possible']:g} points",
        *([f"Hint: {mark['hint']}"] if mark["hint"] else []),
        f"Marked {record['when']} by key version {mark['key_version']}, library version {record['library']}",
        *(f"Note: {note}" for note in record["notes"]),
        *(f"For a person: {said}" for said in record["person"]),
    ]


def _hand_lines(gradebook, learner: str, lesson: str, item: str) -> list[str]:
    from nbgrader.api import MissingEntry

    try:
        grade = gradebook.find_grade(item, lesson, lesson, learner)
    except MissingEntry:
        return ["Gradebook: not entered"]
    lines = [f"Gradebook: {grade.score:g} of {grade.max_score:g} points"]
    if grade.manual_score is not None:
        lines.append(f"Changed by hand: from {grade.auto_score or 0:g} to {grade.manual_score:g}")
    if grade.extra_credit:
        lines.append(f"Extra credit by hand: {grade.extra_credit:g}")
    lines += [f"Comment by hand: {comment}" for comment in _comments(gradebook, learner, lesson, item)]
    return lines


def _comments(gradebook, learner: str, lesson: str, item: str) -> list[str]:
    from nbgrader.api import MissingEntry

    found = []
    for cell in (item, f"{item}-answer"):
        try:
            found.append(gradebook.find_comment(cell, lesson, lesson, learner).manual_comment)
        except MissingEntry:
            continue
    return [comment for comment in found if comment]


def _twin_lines(record: dict, item: str) -> list[str]:
    names = [name for flag in record["flags"] if flag["item"] == item for name in flag["learners"]]
    return [f"The answer fits the circuit of: {', '.join(names)}"] if names else []


def _said(value) -> str:
    return " ".join(map(str, value)) if isinstance(value, list | tuple) else f"{value:.6g}"

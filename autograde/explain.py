"""Why an item was marked as it was: everything that led to the mark, in plain lines."""

from __future__ import annotations

from pathlib import Path

from autograde import hand_log, records
from autograde.by_hand import NO_ANSWER, WAITING, texts
from autograde.collect import history
from autograde.journal import told
from autograde.marking import Key, fits, load, roads
from autograde.roster import learners
from autograde.stamps import key_stamp
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
        return _text_lines(course, text, people[learner].name, gradebook)
    if mark is None:
        raise Trouble(f"Lesson {record['lesson']} has no item {item!r}; it has: {', '.join(record['items'])}.")
    keys, traps = load(record["lesson"])
    own = circuit(record["course"], record["lesson"], learner)
    return [
        f"{people[learner].name} ({learner}), lesson {record['lesson']}, item {item}",
        "",
        "Own circuit:",
        *(f"  {words}: {value} {unit}".rstrip() for words, value, unit in own.rows()),
        "",
        *_key_lines(keys.get(item), own),
        *_trap_lines(keys.get(item), traps.get(item, ()), own, mark),
        *_file_lines(course, gradebook, learner, record["lesson"]),
        *_mark_lines(mark, record),
        *_moved_lines(course, learner, record["lesson"], item),
        *_hand_lines(gradebook, learner, record["lesson"], item),
        *_log_lines(course, learner, record["lesson"], item),
        *_twin_lines(record, item),
    ]


def _text(gradebook, learner: str, item: str):
    return next((text for text in texts(gradebook) if (text.learner, text.item) == (learner, item)), None)


def _text_lines(course: Path, text, name: str, gradebook) -> list[str]:
    """A text has no key: what the gradebook says is all there is."""
    how = {WAITING: "Not marked yet; run: autograde review", NO_ANSWER: "Nothing was written; no person need look"}
    return [
        f"{name} ({text.learner}), lesson {text.lesson}, item {text.item}",
        "",
        "A text that a person marks, by the rubric that is printed in the lesson; it has no key.",
        how.get(text.verdict, "Marked by hand"),
        *_hand_lines(gradebook, text.learner, text.lesson, text.item),
        *_log_lines(course, text.learner, text.lesson, text.item),
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
    ]


def _trap_lines(key: Key | None, traps, own, mark: dict) -> list[str]:
    """Every wrong road that was tried, in the order of the marking, and which of them the answer fits today."""
    if key is None:
        return [""]
    lines = ["Tried after the key, in this order:"]
    for road in roads(key, traps, own)[1:]:
        fitting = mark["value"] is not None and mark["unit"] == key.unit and fits(mark["value"], road.value, key)
        lines.append(f"  {road.verdict}: {_said(road.value)} {key.unit}".rstrip() + (" ← fits" if fitting else ""))
    return [*(lines if len(lines) > 1 else ["No wrong road is known."]), ""]


def _file_lines(course: Path, gradebook, learner: str, lesson: str) -> list[str]:
    """Which hand-in was marked: when it came, whether late, and how many others are kept."""
    from nbgrader.api import MissingEntry

    try:
        submission = gradebook.find_submission(lesson, learner)
    except MissingEntry:
        return []
    when, kept = submission.timestamp, history(course, learner, lesson)
    said = f"of {when:%Y-%m-%d %H:%M:%S} UTC" if when else "of an unknown time"
    late = ", late" if submission.total_seconds_late > 0 else ""
    return [f"The hand-in marked is the one {said}{late}; {max(1, len(kept))} kept"]


def _moved_lines(course: Path, learner: str, lesson: str, item: str) -> list[str]:
    """Every time that marking again has moved this item."""
    found = [one for one in told(course, "remarked") if (one["learner"], one["lesson"]) == (learner, lesson)]
    return [
        f"Marked again {one['when']}: from {before:g} to {after:g} points"
        for one in found
        for name, before, after in one["items"]
        if name == item
    ]


def _log_lines(course: Path, learner: str, lesson: str, item: str) -> list[str]:
    """Every change by hand that was ever seen, oldest first."""
    shown = {None: "none"}
    return [
        f"By hand, seen {one['seen']}: {one['what']} from {shown.get(one['before'], one['before'])} "
        f"to {shown.get(one['after'], one['after'])}"
        for one in hand_log.changes(course, learner, lesson, item)
    ]


def _mark_lines(mark: dict, record: dict) -> list[str]:
    handed = "nothing" if mark["value"] is None else f"{_said(mark['value'])} {mark['unit']}"
    return [
        f"Handed in: {handed}",
        f"Verdict: {mark['verdict']}, {mark['points']:g} of {mark['possible']:g} points",
        *([f"Hint: {mark['hint']}"] if mark["hint"] else []),
        f"Marked {record['when']} by key version {mark['key_version']}, library version {record['library']}",
        *_since(record),
        *(f"Note: {note}" for note in record["notes"]),
        *(f"For a person: {said}" for said in record["person"]),
    ]


def _since(record: dict) -> list[str]:
    """Whether the keys and traps are still those that marked."""
    by = (record.get("stamp") or {}).get("key")
    if not by:
        return ["That marking was stopped before its end; run: autograde grade"]
    said = (
        "as they are today" if by == key_stamp(record["lesson"]) else "which have changed since; run: autograde remark"
    )
    return [f"Keys and traps {by[:12]}, {said}"]


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

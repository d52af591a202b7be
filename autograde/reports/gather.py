"""Gathering a course's facts from its folder and its gradebook; nothing is changed."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from autograde import by_hand, hours, records, triage
from autograde.collect import history
from autograde.marking import load
from autograde.reports.facts import Facts, HandedIn, Planted, Row
from autograde.roster import Learner, learners
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["PLANTED", "gather"]

PLANTED = "planted.csv"


def gather(course: Path, gradebook, *, title: str) -> Facts:
    """The `Facts` of ``course``; ``gradebook`` (an open nbgrader Gradebook) has the last word on points."""
    kept = [record for record in map(records.read, records.all_marks(course)) if record]
    people = _people(course, kept)
    graded, texts = _gradebook(gradebook), _texts(gradebook)
    rows, hand_ins, hints = [], [], {}
    order = {learner: at for at, learner in enumerate(people)}
    for record in sorted(kept, key=lambda each: (order[each["learner"]], each["lesson"])):
        place = (record["learner"], record["lesson"])
        own, changed = _rows(record, graded.get(place, {}))
        written = texts.get(place, [])
        rows += own + written
        told = changed + [row.item for row in written]
        hand_ins.append(_hand_in(course, record, graded.get(place, {}), told))
        hints |= {
            row.verdict: row.hint.partition(" Reread “")[0] for row in own if row.hint and row.verdict not in hints
        }
    hand_ins += _ungraded(course, people, {(each.learner, each.lesson) for each in hand_ins})
    lessons = tuple(sorted({each.lesson for each in hand_ins}))
    lines = _planted_lines(course)
    found = {(row.learner, row.lesson, row.item): row for row in rows}
    return Facts(
        title,
        people,
        lessons,
        tuple(rows),
        tuple(hand_ins),
        hints,
        tuple(_compare(line, found.get((line["learner"], line["lesson"], line["item"]))) for line in lines),
        {line["learner"]: line["understanding"] for line in lines},
        _versions(kept),
        _spent(course),
        {lesson: hours.plan(course).get(lesson[:2], hours.PLANNED) for lesson in lessons},
    )


def _spent(course: Path) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = {}
    for stay in hours.log(course):
        found[stay.learner, stay.lesson] = found.get((stay.learner, stay.lesson), 0.0) + stay.hours
    return found


def _people(course: Path, kept: list[Mapping]) -> dict[str, Learner]:
    """The roster, and after it whoever has marks without being on it."""
    people = dict(learners(course))
    for record in kept:
        people.setdefault(record["learner"], Learner(record["learner"]))
    return people


def _gradebook(gradebook) -> dict[tuple[str, str], dict]:
    """``{(learner, lesson): {"late", "when", "penalty", "scores", "by hand"}}`` as nbgrader holds it."""
    found = {}
    for assignment in gradebook.assignments:
        for submission in gradebook.assignment_submissions(assignment.name):
            grades = [grade for notebook in submission.notebooks for grade in notebook.grades]
            grades.sort(key=lambda grade: grade.name)  # a database gives them in any order
            found[submission.student.id, assignment.name] = {
                "late": submission.total_seconds_late > 0,
                "when": submission.timestamp,
                "penalty": submission.late_submission_penalty or 0.0,
                "scores": {grade.name: grade.score for grade in grades},
                "by hand": [grade.name for grade in grades if grade.manual_score is not None],
                "waiting": [grade.name for grade in grades if grade.needs_manual_grade],
            }
    return found


def _rows(record: Mapping, graded: Mapping) -> tuple[list[Row], list[str]]:
    twins = {flag["item"]: tuple(flag["learners"]) for flag in record["flags"]}
    scores, by_hand, rows = graded.get("scores", {}), graded.get("by hand", []), []
    for item, mark in record["items"].items():
        points = scores.get(item, mark["points"]) if item in by_hand else mark["points"]
        rows.append(
            Row(
                record["learner"],
                record["lesson"],
                item,
                points,
                mark["possible"],
                mark["verdict"],
                mark["hint"],
                mark["value"],
                mark["unit"],
                twins.get(item, ()),
                ratio=_ratio(record, item, mark),
            )
        )
    return rows, [item for item in by_hand if item in record["items"]]


def _ratio(record: Mapping, item: str, mark: Mapping) -> float | None:
    """What an unexplained number is, over the learner's own key; None where that says nothing."""
    if mark["verdict"] != "wrong" or not isinstance(mark["value"], int | float):
        return None
    keys, _ = load(record["lesson"])
    right = keys[item].first(circuit(record["course"], record["lesson"], record["learner"])) if item in keys else 0.0
    found = mark["value"] / right if isinstance(right, int | float) and right else 0.0
    return found if found and math.isfinite(found) else None


def _texts(gradebook) -> dict[tuple[str, str], list[Row]]:
    found: dict[tuple[str, str], list[Row]] = {}
    for text in by_hand.texts(gradebook):
        found.setdefault((text.learner, text.lesson), []).append(_text_row(text))
    return found


def _text_row(text: by_hand.Text) -> Row:
    return Row(text.learner, text.lesson, text.item, text.points, text.possible, text.verdict, by_hand=True)


def _hand_in(course: Path, record: Mapping, graded: Mapping, changed: list[str]) -> HandedIn:
    reasons = list(record["person"])
    reasons += [f"Item {item} waits for marking by hand." for item in graded.get("waiting", []) if item not in changed]
    when = graded.get("when")
    return HandedIn(
        record["learner"],
        record["lesson"],
        when.replace(tzinfo=UTC) if isinstance(when, datetime) else None,
        bool(graded.get("late")),
        max(1, len(history(course, record["learner"], record["lesson"]))),
        tuple(reasons),
        float(graded.get("penalty", 0.0)),
    )


def _ungraded(course: Path, people: Mapping[str, Learner], marked: set[tuple[str, str]]) -> list[HandedIn]:
    """What lies in submitted/ and has no marks, each with the reason why."""
    if not (course / "submitted").is_dir() or not any((course / "release").glob("*/*.ipynb")):
        return []
    found, _ = triage.submissions(course, people)
    waiting = [each for each in found if (each.learner, each.lesson) not in marked]
    return [HandedIn(each.learner, each.lesson, person=(_why_ungraded(course, each),)) for each in waiting]


def _why_ungraded(course: Path, submission: triage.Submission) -> str:
    try:
        triage.look_inside(submission)
    except Trouble as trouble:
        return str(trouble)
    return f"Handed in but not graded; run: autograde grade {course}"


def _planted_lines(course: Path) -> list[dict[str, str]]:
    """What a rehearsal planted, item by item; nothing for a real course."""
    path = course / PLANTED
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def _compare(line: Mapping[str, str], row: Row | None) -> Planted:
    planted = line["planted"]
    seen = row.verdict if row else "not marked"
    if row and planted.startswith("fits:") and planted.removeprefix("fits:") in row.twins:
        seen = planted
    return Planted(line["learner"], line["lesson"], line["item"], planted, seen, planted == seen)


def _versions(kept: list[Mapping]) -> tuple[str, ...]:
    libraries = sorted({str(record["library"]) for record in kept if record["library"]})
    keys = sorted({mark["key_version"] for record in kept for mark in record["items"].values()})
    said = [f"halfcycle {', '.join(libraries)}"] if libraries else []
    return tuple(said + ([f"key versions {', '.join(map(str, keys))}"] if keys else []))

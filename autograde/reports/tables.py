"""The report's numbers as CSV files, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io

from autograde.reports.analysis import ItemFigures, LessonFigures, analyse
from autograde.reports.facts import KINDS, Facts, Item, words

__all__ = ["tables"]


def _cell(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front.

    >>> _cell("=1+1"), _cell(-2.5)
    ("'=1+1", -2.5)
    """
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def _csv(heads: list[str], rows) -> str:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(heads)
    table.writerows([_cell(value) for value in row] for row in rows)
    return out.getvalue()


def tables(facts: Facts) -> dict[str, str]:
    """``{file name: CSV text}`` of every figure of the report, and of every mark."""
    found = {
        "marks.csv": _marks(facts),
        "glance.csv": _glance(facts),
        "misconceptions.csv": _misconceptions(facts),
        "items.csv": _items(facts),
        "unexplained.csv": _unexplained(facts),
        "twins.csv": _twins(facts),
        "hours.csv": _hours(facts),
    }
    if facts.planted:
        heads = ["learner", "lesson", "item", "planted", "found", "agrees"]
        rows = [[each.learner, each.lesson, each.item, each.planted, each.found, each.agrees] for each in facts.planted]
        found["planted.csv"] = _csv(heads, rows)
    return found


def _glance(facts: Facts) -> str:
    """Points of each learner in each lesson; empty where nothing is marked."""
    rows = []
    for who in facts.learners.values():
        found = [[row.points for row in facts.of(who.id, lesson) if not row.waits] for lesson in facts.lessons]
        rows.append([who.id, who.first, who.last, who.group, *(round(sum(own), 4) if own else "" for own in found)])
    return _csv(["learner", "first", "last", "group", *facts.lessons], rows)


def _unexplained(facts: Facts) -> str:
    rows = [
        [row.learner, row.lesson, row.item, row.value, row.unit, row.ratio]
        for row in facts.rows
        if row.ratio is not None
    ]
    return _csv(["learner", "lesson", "item", "value", "unit", "over the key"], rows)


def _twins(facts: Facts) -> str:
    rows = [[learner, other, len(items), " ".join(items)] for learner, other, items in facts.twins()]
    return _csv(["answers of", "fit the circuit of", "how many", "items"], rows)


def _hours(facts: Facts) -> str:
    rows = [[learner, lesson, spent, facts.planned.get(lesson, "")] for (learner, lesson), spent in facts.spent.items()]
    return _csv(["learner", "lesson", "hours", "planned"], rows)


def _marks(facts: Facts) -> str:
    heads = [
        "learner",
        "first",
        "last",
        "group",
        "lesson",
        "item",
        "points",
        "of",
        "verdict",
        "value",
        "unit",
        "fits",
        "late",
    ]
    rows = []
    for row in facts.rows:
        who, hand_in = facts.learners[row.learner], facts.hand_in(row.learner, row.lesson)
        marks = [
            row.points,
            row.most,
            row.verdict,
            row.value,
            row.unit,
            " ".join(row.twins),
            bool(hand_in and hand_in.late),
        ]
        rows.append([who.id, who.first, who.last, who.group, row.lesson, row.item, *marks])
    return _csv(heads, rows)


def _misconceptions(facts: Facts) -> str:
    rows = [
        [verdict, words(verdict), len(who), " ".join(who), " ".join(items), facts.hints.get(verdict, "")]
        for verdict, who, items in facts.misconceptions()
    ]
    return _csv(["verdict", "in words", "learners", "who", "items", "hint"], rows)


def _items(facts: Facts) -> str:
    figures = {(each.lesson, item.item): (each, item) for each in analyse(facts) for item in each.items.values()}
    rows = [
        [*_counted(item), *_figures(*figures.get((item.lesson, item.item), (None, None)))] for item in facts.items()
    ]
    heads = ["difficulty", "discrimination", "alpha of the lesson"]
    spread = [f"{head}{part}" for head in heads for part in ("", " low", " high")]
    return _csv(["lesson", "item", *KINDS, "slips", "learners", *spread, "look"], rows)


def _counted(item: Item) -> list:
    slips = "; ".join(f"{name} x{n}" for name, n in item.slips)
    return [item.lesson, item.item, *(item.counts[kind] for kind in KINDS), slips]


def _figures(lesson: LessonFigures | None, item: ItemFigures | None) -> list:
    if lesson is None:
        return [""] * 11
    figures = (item.difficulty, item.discrimination, lesson.alpha)
    spread = [_rounded(each) for figure in figures for each in (figure.value, figure.low, figure.high)]
    return [lesson.learners, *spread, "; ".join(item.reasons)]


def _rounded(value: float | None) -> float | str:
    return "" if value is None else round(value, 4)

"""The report's numbers as CSV files, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io

from autograde.reports.facts import KINDS, Facts, words

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
    """``{file name: CSV text}`` of the marks, the misconceptions, the items and (in a rehearsal) what was planted."""
    found = {"marks.csv": _marks(facts), "misconceptions.csv": _misconceptions(facts), "items.csv": _items(facts)}
    if facts.planted:
        heads = ["learner", "lesson", "item", "planted", "found", "agrees"]
        rows = [[each.learner, each.lesson, each.item, each.planted, each.found, each.agrees] for each in facts.planted]
        found["planted.csv"] = _csv(heads, rows)
    return found


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
    rows = [
        [
            item.lesson,
            item.item,
            *(item.counts[kind] for kind in KINDS),
            "; ".join(f"{name} x{n}" for name, n in item.slips),
        ]
        for item in facts.items()
    ]
    return _csv(["lesson", "item", *KINDS, "slips"], rows)

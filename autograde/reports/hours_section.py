"""The section on time: hours signed for each lesson against the plan."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from statistics import median

from autograde.reports import plots
from autograde.reports.facts import Facts
from autograde.reports.parts import csv_link, lesson_name, many, section, table

__all__ = ["hours"]

_LEAD = (
    "Hours are those of the signed log (<code>autograde hours COURSE HOURS.csv</code>), a dot a learner; the bar is the plan "
    "(<code>--plan NN=HOURS</code>, else 0.75 h, the upper end of the 25 to 45 minutes a lesson is written for). "
    "When a notebook was handed in says nothing about how long it took, so no hours are made from that."
)


def hours(facts: Facts, files: Mapping[str, str]) -> str:
    """Hours of each lesson as a picture and a table, or what to do to have some."""
    if not facts.lessons:
        return ""
    title = "Hours per lesson against plan"
    spent = {lesson: sorted(_spent(facts, lesson)) for lesson in facts.lessons}
    if not any(spent.values()):
        planned = sum(facts.planned.values())
        return section(
            title,
            f"<p>No hours have been signed for yet; planned are {planned:g} h for {many(len(facts.lessons), 'lesson')}.</p>",
            lead=_LEAD,
            name="hours",
        )
    most = ceil(max([*facts.planned.values(), *(each for own in spent.values() for each in own)]))
    rows = [(f"lesson {lesson[:2]}", spent[lesson], facts.planned.get(lesson)) for lesson in facts.lessons]
    said = "; ".join(_said(facts, lesson, own) for lesson, own in spent.items())
    body = plots.strips(rows, most=most, unit="hours", label=f"Hours signed for. {said}") + csv_link(
        "hours.csv", files["hours.csv"]
    )
    heads = ["Lesson", "Planned (h)", "Learners", "Lowest (h)", "Middle (h)", "Highest (h)", "Over the plan"]
    return section(
        title,
        body + table(heads, [_row(facts, *each) for each in spent.items()], "plain", name=title),
        lead=_LEAD,
        name="hours",
    )


def _spent(facts: Facts, lesson: str) -> list[float]:
    return [each for (_, where), each in facts.spent.items() if where == lesson]


def _said(facts: Facts, lesson: str, own: list[float]) -> str:
    middle = f"middle {median(own):g} of {many(len(own), 'learner')}" if own else "nobody"
    return f"lesson {lesson[:2]}: {middle}, planned {facts.planned.get(lesson, 0):g}"


def _row(facts: Facts, lesson: str, own: list[float]) -> list[str]:
    planned = facts.planned.get(lesson, 0.0)
    over = str(sum(each > planned for each in own))
    figures = [f"{each:g}" for each in (own[0], median(own), own[-1])] if own else ["–"] * 3
    return [lesson_name(lesson), f"{planned:g}", str(len(own)), *figures, over if own else "–"]

"""The training record of an apprentice: lessons, days, hours of related instruction, result."""

from __future__ import annotations

from collections.abc import Mapping

from autograde.papers.cells import table
from autograde.papers.standing import PASSED, Standing, title_of
from autograde.roster import Learner

__all__ = ["HEADING", "as_csv", "lines", "summary"]

HEADING = ("learner", "first", "last", "group", "lesson", "title", "handed in", "hours", "planned hours", "points", "of", "result")  # fmt: skip


def as_csv(people: Mapping[str, Learner], found: Mapping[str, list[Standing]], at_least: float) -> str:
    """One line for each learner and lesson; hours and points of what is not there stay empty."""
    rows = [[*_who(people[name]), *line] for name, own in found.items() for line in lines(own, at_least)]
    return table(rows, HEADING)


def _who(learner: Learner) -> list[str]:
    return [learner.id, learner.first, learner.last, learner.group]


def lines(own: list[Standing], at_least: float) -> list[list[str]]:
    """The lines of one learner's record as words: lesson, title, day, hours, planned, points, most, result."""
    return [
        [
            one.lesson[:2],
            _title(one.lesson),
            f"{one.when:%Y-%m-%d}" if one.when else "",
            f"{one.hours:g}" if one.hours else "",
            f"{one.planned:g}",
            f"{one.points:g}" if one.marked else "",
            f"{one.most:g}" if one.marked else "",
            one.result(at_least) + (", late" if one.late else ""),
        ]
        for one in own
    ]


def _title(lesson: str) -> str:
    said = title_of(lesson)[3:]
    return said[:1].upper() + said[1:]


def summary(own: list[Standing], at_least: float) -> str:
    """The whole record in one line.

    >>> summary([Standing("amara", "01_volts", 15.0, 20.0, marked=True, hours=1.5)], 70)
    '1 of 1 lesson passed; 1.5 hours signed for (0.75 planned); 15 of 20 points'
    """
    passed = sum(one.result(at_least) == PASSED for one in own)
    spent, planned = sum(one.hours for one in own), sum(one.planned for one in own)
    points, most = sum(one.points for one in own), sum(one.most for one in own)
    lessons = f"{passed} of {len(own)} lesson{'' if len(own) == 1 else 's'} passed"
    return f"{lessons}; {spent:g} hours signed for ({planned:g} planned); {points:g} of {most:g} points"

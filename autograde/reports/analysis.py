"""From rows to figures: each lesson's matrix of points, its items' figures, and the items that need a look."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from autograde.reports.facts import Facts, Row, kind
from autograde.reports.statistics import TOO_FEW, Figure, alpha, difficulties, discriminations

__all__ = ["Cluster", "ItemFigures", "LessonFigures", "analyse", "clusters", "unexplained"]

_SAME = 0.01  # two ratios this near are one mistake: the usual tolerance of a mark
_ENOUGH = 3  # so many unexplained answers, or learners with one ratio, are worth a look


@dataclass(frozen=True)
class ItemFigures:
    """One item: its figures, and why it needs a look (empty when it does not)."""

    item: str
    difficulty: Figure
    discrimination: Figure
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class LessonFigures:
    """One lesson: how many ``learners`` the figures rest on, whether they are ``few``, alpha, and its items by name."""

    lesson: str
    learners: int
    alpha: Figure
    items: Mapping[str, ItemFigures]

    @property
    def few(self) -> bool:
        """Whether the figures are too uncertain to say anything."""
        return self.learners < TOO_FEW


@dataclass(frozen=True)
class Cluster:
    """Learners whose unexplained answers are all about ``ratio`` times their keys."""

    ratio: float
    learners: tuple[str, ...]


def analyse(facts: Facts) -> list[LessonFigures]:
    """The figures of every lesson with marks; hand-ins of nothing but blanks, and texts marked by hand, are left out."""
    found = (_lesson(facts, lesson) for lesson in facts.lessons)
    return [each for each in found if each.items]


def _lesson(facts: Facts, lesson: str) -> LessonFigures:
    rows: dict[str, dict[str, Row]] = {}
    for row in facts.rows:
        if row.lesson == lesson and not row.by_hand:
            rows.setdefault(row.learner, {})[row.item] = row
    answered = [own for own in rows.values() if any(row.verdict != "no answer" for row in own.values())]
    items = list(dict.fromkeys(item for own in answered for item in own))
    whole = [own for own in answered if len(own) == len(items)]
    points = [[own[item].points for item in items] for own in whole]
    right = [[float(own[item].verdict == "right") for item in items] for own in whole]
    if not whole:
        return LessonFigures(lesson, 0, Figure(None), {})
    easy = difficulties(points, [whole[0][item].most or 1.0 for item in items])
    apart = discriminations(right, points)
    made = {
        item: ItemFigures(item, one, other, tuple(_reasons([own[item] for own in whole], other)))
        for item, one, other in zip(items, easy, apart, strict=True)
    }
    return LessonFigures(lesson, len(whole), alpha(points), made)


def _reasons(rows: list[Row], discrimination: Figure):
    kinds = [kind(row.verdict) for row in rows]
    if len(rows) > 1 and "right" not in kinds:
        yield "nobody has it right: look at the key and at the question"
    if discrimination.value is not None and discrimination.value < 0:
        sure = discrimination.high is not None and discrimination.high < 0
        yield "who does well elsewhere does badly here" + ("" if sure else " (may be chance: the interval holds 0)")
    other, slips = kinds.count("other answer"), kinds.count("known slip")
    if other >= _ENOUGH and other > slips:
        yield f"{other} of {other + slips} wrong answers fit no known slip"


def unexplained(facts: Facts) -> dict[tuple[str, str], list[Row]]:
    """``{(lesson, item): rows}`` of the answers that fit no known slip and can be compared with their keys."""
    found: dict[tuple[str, str], list[Row]] = {}
    for row in facts.rows:
        if row.ratio is not None:
            found.setdefault((row.lesson, row.item), []).append(row)
    return found


def clusters(rows: list[Row]) -> list[Cluster]:
    """Where `_ENOUGH` learners or more are off by the same factor, the largest first: most likely one mistake.

    >>> rows = [Row(who, "01", "01-x", 0, 1, "wrong", ratio=ratio) for who, ratio in zip("abcd", (2.0, 2.004, 1.999, 5.0))]
    >>> [(round(one.ratio, 2), one.learners) for one in clusters(rows)]
    [(2.0, ('c', 'a', 'b'))]
    """
    groups: list[list[Row]] = []
    for row in sorted(rows, key=lambda each: each.ratio):
        first = groups[-1][0].ratio if groups else math.nan
        if abs(row.ratio - first) <= 2 * _SAME * abs(first):
            groups[-1].append(row)
        else:
            groups.append([row])
    found = [
        Cluster(sorted(each.ratio for each in group)[len(group) // 2], tuple(each.learner for each in group))
        for group in groups
    ]
    return sorted((one for one in found if len(set(one.learners)) >= _ENOUGH), key=lambda one: -len(one.learners))

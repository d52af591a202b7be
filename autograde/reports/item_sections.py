"""The sections that are about items: which need a look, answers that fit no known slip, and every item's figures."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from autograde.reports import pictures, plots
from autograde.reports.analysis import ItemFigures, LessonFigures, clusters, unexplained
from autograde.reports.facts import Facts, Item, words
from autograde.reports.parts import csv_link, learner_names, lesson_name, many, section, table
from autograde.reports.statistics import TOO_FEW, Figure

__all__ = ["items", "needs_a_look", "new_traps"]

_MOST_STRIPS = 24
_HEADS = ["Item", "Answers", "Difficulty", "Discrimination", "What went wrong"]


def needs_a_look(found: list[LessonFigures]) -> str:
    """Items about which something is odd, with the reason."""
    rows = [
        [
            f'<code><a href="#item-{escape(item.item)}">{escape(item.item)}</a></code>',
            lesson_name(lesson.lesson),
            "; ".join(item.reasons),
        ]
        for lesson in found
        for item in lesson.items.values()
        if item.reasons
    ]
    if not rows:
        return ""
    lead = "Perhaps the key, the question or the lesson is at fault, and not the learners."
    body = table(["Item", "Lesson", "Why"], rows, "plain", name="Items that need a look")
    return section("Items that need a look", body, lead=lead, name="look")


def new_traps(facts: Facts, files: Mapping[str, str]) -> str:
    """Unexplained answers over their own keys: dots in one place, from several circuits, are a slip that has no name yet."""
    found = unexplained(facts)
    if not found:
        return ""
    rows = sorted(
        ((item, [row.ratio for row in own]) for (_, item), own in found.items()), key=lambda pair: -len(pair[1])
    )
    left, rows = rows[_MOST_STRIPS:], rows[:_MOST_STRIPS]
    said = "; ".join(f"{item}: {', '.join(f'{value:.3g}' for value in sorted(values))}" for item, values in rows)
    named = [
        [
            f"<code>{escape(item)}</code>",
            (f"{one.ratio:.4g} × the key", one.ratio),
            f"{len(one.learners)}: {learner_names(facts, one.learners)}",
        ]
        for (_, item), own in found.items()
        for one in clusters(own)
    ]
    lead = (
        "Each dot is a wrong answer that fits no known slip, divided by the key of the learner’s own circuit (dashed: 1; squares: wrong sign). "
        "Dots in one place are most likely one mistake, and worth a trap of their own."
    )
    body = plots.ratios(rows, f"Unexplained answers over their keys. {said}") + csv_link(
        "unexplained.csv", files["unexplained.csv"]
    )
    if left:
        body += f"<p>{many(len(left), 'item')} with fewer such answers: only in the file.</p>"
    if named:
        body += "<h3>Off by the same factor</h3>" + table(
            ["Item", "Factor", "Learners"], named, "plain", name="Off by the same factor"
        )
    return section("Answers that fit no known slip", body, lead=lead, name="unexplained")


def items(facts: Facts, found: list[LessonFigures], files: Mapping[str, str]) -> str:
    """Alpha of every lesson as a picture, and every item with its answers and figures."""
    figures = {lesson.lesson: lesson for lesson in found}
    blocks = []
    for lesson in facts.lessons:
        own = [item for item in facts.items() if item.lesson == lesson]
        if own and lesson in figures:
            rows = [_row(item, figures[lesson].items.get(item.item)) for item in own]
            blocks.append(
                f"<h3>{lesson_name(lesson)}</h3>{_alpha(figures[lesson])}{table(_HEADS, rows, 'items', name=f'Items of lesson {lesson[:2]}')}"
            )
    if not blocks:
        return ""
    lead = (
        "Difficulty: mean share of the points (1 = everyone has them all). Discrimination: point-biserial correlation of having the item right "
        "with the points of the lesson’s other items. Alpha: how far the items of a lesson measure one thing. Lines are 95 % intervals."
    )
    return section(
        "Each item",
        pictures.legend() + csv_link("items.csv", files["items.csv"]) + "".join(blocks),
        lead=lead,
        name="items",
    )


def _alpha(lesson: LessonFigures) -> str:
    said = f"Cronbach’s alpha {_said(lesson.alpha)}, {many(lesson.learners, 'learner')}"
    warning = (
        f' <strong class="few">Too few to say: under {TOO_FEW} learners, take these figures as hints where to look.</strong>'
        if lesson.few
        else ""
    )
    return f'<p class="alpha">{plots.interval(lesson.alpha, said)} {said}.{warning}</p>'


def _said(figure: Figure) -> str:
    """A figure with its interval in words."""
    if figure.value is None:
        return "not defined"
    return f"{figure.value:.2f}" + (f" ({figure.low:.2f} to {figure.high:.2f})" if figure.low is not None else "")


def _row(item: Item, own: ItemFigures | None) -> list:
    label = f"{item.item}: " + ", ".join(f"{count} {name}" for name, count in item.counts.items() if count)
    wrong = [f"{escape(words(verdict))} ×{count}" for verdict, count in item.slips]
    if item.counts["other answer"]:
        wrong.append(f"others ×{item.counts['other answer']}")
    easy, apart = (own.difficulty, own.discrimination) if own else (Figure(None), Figure(None))
    return [
        f'<code id="item-{escape(item.item)}">{escape(item.item)}</code>',
        (pictures.stack_bar(item.counts, label), item.counts["right"]),
        (_plot(easy, f"{item.item}: difficulty", 0.0), easy.value if easy.value is not None else ""),
        (_plot(apart, f"{item.item}: discrimination", -1.0), apart.value if apart.value is not None else ""),
        " · ".join(wrong),
    ]


def _plot(figure: Figure, name: str, low: float) -> str:
    return f"{plots.interval(figure, f'{name} {_said(figure)}', low=low)} <small>{_said(figure)}</small>"

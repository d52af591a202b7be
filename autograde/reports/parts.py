"""The small parts that every section of the report is made of."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from autograde.reports.facts import Facts, Row

__all__ = [
    "csv_link",
    "item_names",
    "learner_name",
    "learner_names",
    "lesson_name",
    "many",
    "points",
    "section",
    "sums",
    "table",
]


def section(title: str, body: str, *, lead: str = "", name: str = "") -> str:
    """One section under a heading of its own; ``lead`` is HTML."""
    lead = f'<p class="lead">{lead}</p>' if lead else ""
    return f'<section id="{name}" aria-labelledby="{name}-title"><h2 id="{name}-title">{escape(title)}</h2>{lead}{body}</section>'


def table(heads: Sequence[str], rows: Iterable[Sequence], style: str = "", *, name: str) -> str:
    """A table that the page's script makes sortable; a cell is HTML, or ``(HTML, what to sort by)``."""
    top = "".join(f'<th scope="col">{head}</th>' for head in heads)
    body = "".join(f"<tr>{_cell(row[0], 'th')}{''.join(_cell(cell, 'td') for cell in row[1:])}</tr>" for row in rows)
    return (
        f'<div class="scroll" role="region" tabindex="0" aria-label="{escape(name)}">'
        f'<table class="{style}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>'
    )


def _cell(cell, tag: str) -> str:
    shown, key = cell if isinstance(cell, tuple) else (cell, None)
    sort = "" if key is None else f' data-sort="{escape(str(key))}"'
    scope = ' scope="row"' if tag == "th" else ""
    return f"<{tag}{scope}{sort}>{shown}</{tag}>"


def csv_link(name: str, text: str) -> str:
    """A link that saves the figures of a picture or table as a CSV file; they are inside the page."""
    data = base64.b64encode(text.encode("utf-8-sig")).decode()
    return f'<p class="save"><a download="{name}" href="data:text/csv;charset=utf-8;base64,{data}">Save these figures as {name}</a></p>'


def many(count: int, one: str) -> str:
    """A count with its word.

    >>> many(1, "learner"), many(2, "learner")
    ('1 learner', '2 learners')
    """
    return f"{count} {one}{'' if count == 1 else 's'}"


def learner_name(facts: Facts, learner: str) -> str:
    """A learner's name as HTML."""
    return escape(facts.learners[learner].name if learner in facts.learners else learner)


def learner_names(facts: Facts, learners: Iterable[str]) -> str:
    """Several names as HTML."""
    return ", ".join(learner_name(facts, each) for each in learners)


def lesson_name(lesson: str) -> str:
    """A lesson's number and title as HTML."""
    return escape(f"{lesson[:2]} {lesson[3:].replace('_', ' ')}".strip())


def item_names(items: Iterable[str]) -> str:
    """Several items as HTML."""
    return ", ".join(f'<span class="item">{escape(item)}</span>' for item in items)


def points(value: float) -> str:
    """Points without needless noughts.

    >>> points(2.0), points(0.25)
    ('2', '0.25')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".")


def sums(rows: Iterable[Row]) -> tuple[float, float]:
    """Points earned and possible, without what a person has still to mark."""
    counted = [row for row in rows if not row.waits]
    return sum(row.points for row in counted), sum(row.most for row in counted)

"""The report as one HTML page: nothing fetched, one script of its own that only sorts tables, every word of a learner's escaped."""

from __future__ import annotations

import base64
import hashlib
from datetime import datetime
from html import escape
from importlib import resources

from autograde.reports.analysis import analyse
from autograde.reports.facts import Facts, words
from autograde.reports.hours_section import hours
from autograde.reports.item_sections import items, needs_a_look, new_traps
from autograde.reports.parts import many, section, sums
from autograde.reports.people_sections import glance, misconceptions, persons, stuck, twins, waiting
from autograde.reports.planned import planted
from autograde.reports.tables import tables

__all__ = ["page"]

_SOURCES = (
    (
        "Discrimination (point-biserial)",
        "Lord and Novick, Statistical Theories of Mental Test Scores, 1968, section 15.5",
    ),
    ("An item against the other items of its lesson", "Henrysson, Psychometrika 28, 1963, pages 211 to 218"),
    ("Alpha", "Cronbach, Psychometrika 16, 1951, pages 297 to 334"),
    (
        "Difficulty as the mean share of the points",
        "Crocker and Algina, Introduction to Classical and Modern Test Theory, 1986, chapter 14",
    ),
    (
        "Intervals: 95 %, percentiles of 2000 resamples of the learners, always the same ones",
        "Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13",
    ),
    ("Colours", "Okabe and Ito, Color Universal Design, 2008"),
)


def page(facts: Facts, *, now: datetime) -> str:
    """The whole report on ``facts``, made at ``now``."""
    figures, files = analyse(facts), tables(facts)
    sections = [
        glance(facts, files),
        stuck(facts),
        misconceptions(facts, files),
        needs_a_look(figures),
        new_traps(facts, files),
        items(facts, figures, files),
        twins(facts, files),
        hours(facts, files),
        waiting(facts),
        persons(facts),
        planted(facts, files),
        _sources(figures),
    ]
    style, script = (resources.files(__package__).joinpath(name).read_text() for name in ("page.css", "sort.js"))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(script)}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(facts.course)}: report</title><style>{style}</style></head>"
        f"<body><main>{_head(facts, now)}{''.join(sections)}{_foot(facts)}</main><script>{script}</script></body></html>\n"
    )


def _policy(script: str) -> str:
    """Nothing may be fetched, and no script may run but exactly this one."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'"


def _head(facts: Facts, now: datetime) -> str:
    earned, most = sums(facts.rows)
    ranked = facts.misconceptions()
    marked = len({(row.learner, row.lesson) for row in facts.rows})
    tiles = [
        (str(len(facts.learners)), "learners enrolled"),
        (f"{marked} of {len(facts.learners) * len(facts.lessons)}", "hand-ins marked"),
        (f"{100 * earned / most:.0f} %" if most else "–", "of the points, over all hand-ins"),
        (str(len(facts.stuck())), "may be stuck"),
        (str(sum(bool(each.person) for each in facts.hand_ins)), "need a person"),
    ]
    if left := sum(row.waits for row in facts.rows):
        tiles.append((str(left), "to mark by hand"))
    body = "".join(f"<li><b>{escape(number)}</b> {escape(what)}</li>" for number, what in tiles)
    top = ""
    if ranked:
        verdict, who, _ = ranked[0]
        top = f'<p class="lead">Most common slip: <b>{escape(words(verdict))}</b>, {many(len(who), "learner")}.</p>'
    when = f"{now:%d %B %Y, %H:%M} UTC".lstrip("0")
    return (
        f'<header><p class="when">{when}</p><h1>{escape(facts.course)}</h1>{top}<ul class="tiles">{body}</ul></header>'
    )


def _sources(figures) -> str:
    if not figures:
        return ""
    rows = "".join(f"<dt>{escape(what)}</dt><dd>{escape(where)}</dd>" for what, where in _SOURCES)
    lead = "Published sources, cited from memory. Hand-ins of nothing but blanks and texts marked by hand are left out of the figures."
    return section("Where the figures come from", f"<dl>{rows}</dl>", lead=lead, name="sources")


def _foot(facts: Facts) -> str:
    versions = "; ".join(escape(each) for each in facts.versions)
    beside = "Every single mark is beside this page in <code>marks.csv</code>; the other figures are in the page itself and beside it too."
    return f"<footer><p>{beside}</p><p>{versions}</p></footer>"

"""The section of a rehearsal: what the invented learners were made to do, and what the marking found."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from autograde.reports.facts import Facts, kind, words
from autograde.reports.parts import csv_link, learner_name, section, table

__all__ = ["planted"]


def planted(facts: Facts, files: Mapping[str, str]) -> str:
    if not facts.planted:
        return ""
    agree = sum(each.agrees for each in facts.planted)
    lead = f"This course is a rehearsal with invented learners. The marking found what was planted in {agree} of {len(facts.planted)} items."
    rows = [_planted_row(facts, learner) for learner in facts.learners]
    misses = [
        [learner_name(facts, each.learner), escape(each.item), escape(words(each.planted)), escape(words(each.found))]
        for each in facts.planted
        if not each.agrees
    ]
    heads = ["Learner", "Stated understanding", "Planted", "Found"]
    body = table(heads, [row for row in rows if row], "planted", name="Planted and found")
    body = csv_link("planted.csv", files["planted.csv"]) + body
    if misses:
        body += "<h3>Where they differ</h3>" + table(
            ["Learner", "Item", "Planted", "Found"], misses, "plain", name="Where they differ"
        )
    return section("Planted and found", body, lead=lead, name="planted")


def _planted_row(facts: Facts, learner: str) -> list[str]:
    own = [each for each in facts.planted if each.learner == learner]
    if not own:
        return []
    said = escape(facts.understanding.get(learner, ""))
    if all(each.agrees for each in own):
        found = '<span class="yes">✓ the same</span>'
    else:
        found = f'<span class="no">✗ differs</span><br>{_tally(each.found for each in own)}'
    return [learner_name(facts, learner), said, _tally(each.planted for each in own), found]


def _tally(verdicts) -> str:
    counts: dict[str, int] = {}
    for verdict in verdicts:
        counts[verdict] = counts.get(verdict, 0) + 1
    order = sorted(counts, key=lambda verdict: (kind(verdict) == "right", -counts[verdict]))
    return "<br>".join(f"{escape(words(verdict))} ×{counts[verdict]}" for verdict in order)

"""The sections that are about people: the cohort at a glance, who is stuck, misconceptions, what a person must see."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from autograde.reports import pictures, plots
from autograde.reports.facts import Facts, words
from autograde.reports.parts import (
    csv_link,
    item_names,
    learner_name,
    learner_names,
    lesson_name,
    many,
    points,
    section,
    sums,
    table,
)

__all__ = ["glance", "misconceptions", "persons", "stuck", "twins", "waiting"]


def glance(facts: Facts, files: Mapping[str, str]) -> str:
    """Every lesson's marks as a picture, then every learner's as a table."""
    if not facts.hand_ins:
        return section("The cohort at a glance", "<p>Nothing has been marked yet.</p>", name="glance")
    heads = ["Learner", "All", *(_glance_head(lesson) for lesson in facts.lessons)]
    rows = [_glance_row(facts, learner) for learner in facts.learners]
    lead = "Each dot is one learner’s share of a lesson’s points, in per cent."
    body = _strips(facts) + csv_link("glance.csv", files["glance.csv"]) + table(heads, rows, "glance", name="Marks")
    return section("The cohort at a glance", body, lead=lead, name="glance")


def _strips(facts: Facts) -> str:
    rows, said = [], []
    for lesson in facts.lessons:
        found = [sums(facts.of(learner, lesson)) for learner in facts.learners]
        shares = sorted(100 * earned / most for earned, most in found if most)
        if shares:
            rows.append((f"lesson {lesson[:2]}", shares, None))
            said.append(
                f"lesson {lesson[:2]}: {many(len(shares), 'learner')}, lowest {shares[0]:.0f}, middle {shares[len(shares) // 2]:.0f}, highest {shares[-1]:.0f}"
            )
    return (
        plots.strips(rows, most=100, unit="per cent", label=f"Share of the points in per cent. {'; '.join(said)}")
        if rows
        else ""
    )


def _glance_head(lesson: str) -> str:
    return f"{escape(lesson[:2])}<span> {escape(lesson[3:].replace('_', ' '))}</span>"


def _glance_row(facts: Facts, learner: str) -> list:
    cells = [_glance_cell(facts, learner, lesson) for lesson in facts.lessons]
    whole = f'<span class="all">{_bar(facts, learner, facts.of(learner))}</span>'
    return [learner_name(facts, learner), (whole, _share(facts.of(learner))), *cells]


def _share(rows) -> float | str:
    earned, most = sums(rows)
    return round(earned / most, 6) if most else ""


def _bar(facts: Facts, learner: str, rows) -> str:
    earned, most = sums(rows)
    if not most:
        return "–"
    label = f"{facts.learners[learner].name}: {points(earned)} of {points(most)} points"
    return f"{pictures.marks_bar(earned / most, label)} <small>{points(earned)}<i>/{points(most)}</i></small>"


def _glance_cell(facts: Facts, learner: str, lesson: str) -> tuple:
    hand_in, rows = facts.hand_in(learner, lesson), facts.of(learner, lesson)
    if not rows:
        return ('<em class="tag">not graded</em>' if hand_in else '<em class="none">none</em>', "")
    tags = []
    if all(row.verdict == "no answer" for row in rows):
        tags.append("blank")
    if hand_in and hand_in.late:
        tags.append("late")
    if hand_in and hand_in.kept > 1:
        tags.append(f"{hand_in.kept} sent")
    if any(row.waits for row in rows):
        tags.append("to mark")
    if hand_in and hand_in.person:
        tags.append("look")
    return _bar(facts, learner, rows) + "".join(f' <em class="tag">{tag}</em>' for tag in tags), _share(rows)


def stuck(facts: Facts) -> str:
    found = facts.stuck()
    if not found:
        return ""
    rows = [[learner_name(facts, learner), escape("; ".join(why))] for learner, why in found]
    return section("Who may be stuck", table(["Learner", "Why"], rows, "plain", name="Who may be stuck"), name="stuck")


def misconceptions(facts: Facts, files: Mapping[str, str]) -> str:
    ranked = facts.misconceptions()
    if not ranked:
        return ""
    blocks = []
    for verdict, who, items in ranked:
        label = f"{words(verdict)}: {len(who)} of {len(facts.learners)} learners"
        hint = escape(facts.hints.get(verdict, ""))
        blocks.append(
            f'<li><h3>{escape(_heading(verdict))} <span class="n">{len(who)} of {len(facts.learners)}</span></h3>'
            f"{pictures.count_bar(len(who), len(facts.learners), label)}"
            f"<p><b>{learner_names(facts, who)}</b><br><small>in {item_names(items)}</small></p>"
            + (f'<p class="hint">{hint}</p>' if hint else "")
            + "</li>"
        )
    return section(
        "Misconceptions, most learners first",
        f'<ol class="slips">{"".join(blocks)}</ol>' + csv_link("misconceptions.csv", files["misconceptions.csv"]),
        name="misconceptions",
    )


def _heading(verdict: str) -> str:
    """A slip as a heading; rms, ac and dc keep their small letters."""
    said = words(verdict)
    return said if said.split()[0] in ("rms", "ac", "dc") else said[:1].upper() + said[1:]


def waiting(facts: Facts) -> str:
    rows = [
        [f"<code>{escape(item)}</code>", lesson_name(lesson), f"{len(who)}: {learner_names(facts, who)}"]
        for lesson, item, who in facts.waiting()
    ]
    if not rows:
        return ""
    lead = "Texts have no key. Mark them with <code>autograde review</code>; until then they count neither for nor against anyone."
    return section(
        "To be marked by hand",
        table(["Item", "Lesson", "Learners"], rows, "plain", name="To be marked by hand"),
        lead=lead,
        name="by-hand",
    )


def persons(facts: Facts) -> str:
    rows = [
        [learner_name(facts, each.learner), lesson_name(each.lesson), "<br>".join(escape(why) for why in each.person)]
        for each in facts.hand_ins
        if each.person
    ]
    if not rows:
        return ""
    lead = "The marking does not decide these. Open them with <code>autograde review</code>."
    return section(
        "For a person to look at",
        table(["Learner", "Lesson", "Why"], rows, "plain", name="For a person"),
        lead=lead,
        name="person",
    )


def twins(facts: Facts, files: Mapping[str, str]) -> str:
    pairs = facts.twins()
    if not pairs:
        return ""
    rows = [
        [learner_name(facts, learner), learner_name(facts, other), f"{len(items)}: {item_names(items)}"]
        for learner, other, items in pairs
    ]
    lead = "Flagged, not punished: one item may agree by chance, and learners may work together. Many items are worth a talk. Single ones stand in marks.csv."
    heads = ["Answers of", "Fit the circuit of", "Items"]
    return section(
        "Answers that fit another learner’s circuit",
        csv_link("twins.csv", files["twins.csv"])
        + table(heads, rows, "plain", name="Answers that fit another circuit"),
        lead=lead,
        name="twins",
    )

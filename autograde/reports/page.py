"""The report as one HTML page: no script, nothing fetched, every word of a learner's escaped."""

from __future__ import annotations

from datetime import datetime
from html import escape
from importlib import resources

from autograde.reports import pictures
from autograde.reports.facts import Facts, Item, kind, words

__all__ = ["page"]


def page(facts: Facts, *, now: datetime) -> str:
    """The whole report on ``facts``, made at ``now``."""
    sections = [
        _glance(facts),
        _misconceptions(facts),
        _stuck(facts),
        _waiting(facts),
        _persons(facts),
        _twins(facts),
        _planted(facts),
        _items(facts),
    ]
    style = resources.files(__package__).joinpath("page.css").read_text()
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(facts.course)}: report</title><style>{style}</style></head>"
        f"<body><main>{_head(facts, now)}{''.join(sections)}{_foot(facts)}</main></body></html>\n"
    )


def _section(title: str, body: str, *, lead: str = "", name: str = "") -> str:
    lead = f'<p class="lead">{lead}</p>' if lead else ""
    return f'<section id="{name}"><h2>{escape(title)}</h2>{lead}{body}</section>'


def _table(heads: list[str], rows: list[list[str]], name: str = "") -> str:
    top = "".join(f'<th scope="col">{head}</th>' for head in heads)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>{"".join(f"<td>{cell}</td>" for cell in row[1:])}</tr>' for row in rows
    )
    return f'<div class="scroll"><table class="{name}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>'


def _many(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _name(facts: Facts, learner: str) -> str:
    return escape(facts.learners[learner].name if learner in facts.learners else learner)


def _names(facts: Facts, learners) -> str:
    return ", ".join(_name(facts, each) for each in learners)


def _lesson(lesson: str) -> str:
    return escape(f"{lesson[:2]} {lesson[3:].replace('_', ' ')}".strip())


def _points(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _head(facts: Facts, now: datetime) -> str:
    earned, most = _sums(facts.rows)
    ranked, stuck = facts.misconceptions(), facts.stuck()
    tiles = [
        (str(len(facts.learners)), "learners enrolled"),
        (
            f"{len({(row.learner, row.lesson) for row in facts.rows})} of {len(facts.learners) * len(facts.lessons)}",
            "hand-ins marked",
        ),
        (f"{100 * earned / most:.0f} %" if most else "–", "of the points, over all hand-ins"),
        (str(len(stuck)), "may be stuck"),
        (str(sum(bool(each.person) for each in facts.hand_ins)), "need a person"),
    ]
    if waiting := sum(row.waits for row in facts.rows):
        tiles.append((str(waiting), "to mark by hand"))
    body = "".join(f"<li><b>{escape(number)}</b> {escape(what)}</li>" for number, what in tiles)
    top = ""
    if ranked:
        verdict, who, _ = ranked[0]
        top = f'<p class="lead">Most common slip: <b>{escape(words(verdict))}</b>, {_many(len(who), "learner")}.</p>'
    when = f"{now:%d %B %Y, %H:%M} UTC".lstrip("0")
    return (
        f'<header><p class="when">{when}</p><h1>{escape(facts.course)}</h1>{top}<ul class="tiles">{body}</ul></header>'
    )


def _glance(facts: Facts) -> str:
    if not facts.hand_ins:
        return _section("The cohort at a glance", "<p>Nothing has been marked yet.</p>", name="glance")
    heads = ["Learner", "All", *(_glance_head(lesson) for lesson in facts.lessons)]
    rows = [_glance_row(facts, learner) for learner in facts.learners]
    return _section("The cohort at a glance", _table(heads, rows, "glance"), name="glance")


def _glance_head(lesson: str) -> str:
    return f"{escape(lesson[:2])}<span> {escape(lesson[3:].replace('_', ' '))}</span>"


def _glance_row(facts: Facts, learner: str) -> list[str]:
    cells = [_glance_cell(facts, learner, lesson) for lesson in facts.lessons]
    return [_name(facts, learner), f'<span class="all">{_bar(facts, learner, facts.of(learner))}</span>', *cells]


def _sums(rows) -> tuple[float, float]:
    """Points earned and possible, without what a person has still to mark."""
    counted = [row for row in rows if not row.waits]
    return sum(row.points for row in counted), sum(row.most for row in counted)


def _bar(facts: Facts, learner: str, rows) -> str:
    earned, most = _sums(rows)
    if not most:
        return "–"
    label = f"{facts.learners[learner].name}: {_points(earned)} of {_points(most)} points"
    return f"{pictures.marks_bar(earned / most, label)} <small>{_points(earned)}<i>/{_points(most)}</i></small>"


def _glance_cell(facts: Facts, learner: str, lesson: str) -> str:
    hand_in, rows = facts.hand_in(learner, lesson), facts.of(learner, lesson)
    if not rows:
        return '<em class="tag">not graded</em>' if hand_in else '<em class="none">none</em>'
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
    return _bar(facts, learner, rows) + "".join(f' <em class="tag">{tag}</em>' for tag in tags)


def _stuck(facts: Facts) -> str:
    found = facts.stuck()
    if not found:
        return ""
    rows = [[_name(facts, learner), escape("; ".join(why))] for learner, why in found]
    return _section("Who may be stuck", _table(["Learner", "Why"], rows, "plain"), name="stuck")


def _misconceptions(facts: Facts) -> str:
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
            f"<p><b>{_names(facts, who)}</b><br><small>in {_item_names(items)}</small></p>"
            + (f'<p class="hint">{hint}</p>' if hint else "")
            + "</li>"
        )
    return _section(
        "Misconceptions, most learners first", f'<ol class="slips">{"".join(blocks)}</ol>', name="misconceptions"
    )


def _heading(verdict: str) -> str:
    """A slip as a heading; rms, ac and dc keep their small letters."""
    said = words(verdict)
    return said if said.split()[0] in ("rms", "ac", "dc") else said[:1].upper() + said[1:]


def _item_names(items) -> str:
    return ", ".join(f'<span class="item">{escape(item)}</span>' for item in items)


def _items(facts: Facts) -> str:
    blocks = []
    for lesson in facts.lessons:
        items = [item for item in facts.items() if item.lesson == lesson]
        if items:
            rows = [_item_row(item) for item in items]
            blocks.append(f"<h3>{_lesson(lesson)}</h3>{_table(['Item', 'Answers', 'What went wrong'], rows, 'items')}")
    return _section("Each item", pictures.legend() + "".join(blocks), name="items") if blocks else ""


def _item_row(item: Item) -> list[str]:
    label = f"{item.item}: " + ", ".join(f"{count} {name}" for name, count in item.counts.items() if count)
    wrong = [f"{escape(words(verdict))} ×{count}" for verdict, count in item.slips]
    if item.counts["other answer"]:
        wrong.append(f"others ×{item.counts['other answer']}")
    return [f"<code>{escape(item.item)}</code>", pictures.stack_bar(item.counts, label), " · ".join(wrong)]


def _waiting(facts: Facts) -> str:
    rows = [
        [f"<code>{escape(item)}</code>", _lesson(lesson), f"{len(who)}: {_names(facts, who)}"]
        for lesson, item, who in facts.waiting()
    ]
    if not rows:
        return ""
    lead = "Texts have no key. Mark them with <code>autograde review</code>; until then they count neither for nor against anyone."
    return _section(
        "To be marked by hand", _table(["Item", "Lesson", "Learners"], rows, "plain"), lead=lead, name="by-hand"
    )


def _persons(facts: Facts) -> str:
    rows = [
        [_name(facts, each.learner), _lesson(each.lesson), "<br>".join(escape(why) for why in each.person)]
        for each in facts.hand_ins
        if each.person
    ]
    if not rows:
        return ""
    lead = "The marking does not decide these. Open them with <code>autograde review</code>."
    return _section(
        "For a person to look at", _table(["Learner", "Lesson", "Why"], rows, "plain"), lead=lead, name="person"
    )


def _twins(facts: Facts) -> str:
    pairs = facts.twins()
    if not pairs:
        return ""
    rows = [
        [_name(facts, learner), _name(facts, other), f"{len(items)}: {_item_names(items)}"]
        for learner, other, items in pairs
    ]
    lead = "Flagged, not punished: one item may agree by chance, and learners may work together. Many items are worth a talk. Single ones stand in marks.csv."
    heads = ["Answers of", "Fit the circuit of", "Items"]
    return _section("Answers that fit another learner’s circuit", _table(heads, rows, "plain"), lead=lead, name="twins")


def _planted(facts: Facts) -> str:
    if not facts.planted:
        return ""
    agree = sum(each.agrees for each in facts.planted)
    lead = f"This course is a rehearsal with invented learners. The marking found what was planted in {agree} of {len(facts.planted)} items."
    rows = [_planted_row(facts, learner) for learner in facts.learners]
    misses = [
        [_name(facts, each.learner), escape(each.item), escape(words(each.planted)), escape(words(each.found))]
        for each in facts.planted
        if not each.agrees
    ]
    heads = ["Learner", "Stated understanding", "Planted", "Found"]
    body = _table(heads, [row for row in rows if row], "planted")
    if misses:
        body += "<h3>Where they differ</h3>" + _table(["Learner", "Item", "Planted", "Found"], misses, "plain")
    return _section("Planted and found", body, lead=lead, name="planted")


def _planted_row(facts: Facts, learner: str) -> list[str]:
    own = [each for each in facts.planted if each.learner == learner]
    if not own:
        return []
    said = escape(facts.understanding.get(learner, ""))
    if all(each.agrees for each in own):
        found = '<span class="yes">✓ the same</span>'
    else:
        found = f'<span class="no">✗ differs</span><br>{_tally(each.found for each in own)}'
    return [_name(facts, learner), said, _tally(each.planted for each in own), found]


def _tally(verdicts) -> str:
    counts: dict[str, int] = {}
    for verdict in verdicts:
        counts[verdict] = counts.get(verdict, 0) + 1
    order = sorted(counts, key=lambda verdict: (kind(verdict) == "right", -counts[verdict]))
    return "<br>".join(f"{escape(words(verdict))} ×{counts[verdict]}" for verdict in order)


def _foot(facts: Facts) -> str:
    versions = "; ".join(escape(each) for each in facts.versions)
    tables = "Beside this page: <code>marks.csv</code>, <code>misconceptions.csv</code>, <code>items.csv</code>."
    return f"<footer><p>{tables}</p><p>{versions}</p></footer>"

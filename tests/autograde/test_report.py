"""The report: what it counts, that it says it all in one safe page, and that its tables open safely."""

import base64
import csv
import hashlib
import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

from autograde.reports.analysis import analyse, clusters
from autograde.reports.facts import Facts, HandedIn, Planted, Row, kind, words
from autograde.reports.page import page
from autograde.reports.tables import tables
from autograde.roster import Learner

NOW = datetime(2026, 3, 3, 8, 5, tzinfo=UTC)
ONE, THREE = "01_what_24_volts_means", "03_one_diode"
NASTY = '<script>alert(1)</script>"><img src=x onerror=alert(2)>'


def row(learner, lesson, item, verdict, *, twins=(), value=1.0):
    points = {"right": 2.0, "known slip": 0.5}.get(kind(verdict), 0.0)
    return Row(learner, lesson, item, points, 2.0, verdict, "a hint", value, "V", twins)


@pytest.fixture
def facts():
    people = [Learner("amara", "Amara", "Okafor"), Learner("ben", "Ben", "Lindqvist"), Learner("chen", "Wei", "Chen")]
    rows = [
        row("amara", ONE, "01-peak", "right"),
        row("amara", ONE, "01-period", "right"),
        row("amara", THREE, "03-mean", "right"),
        row("ben", ONE, "01-peak", "trap:rms-for-peak"),
        row("ben", ONE, "01-period", "scale:1000"),
        row("ben", THREE, "03-mean", "trap:rms-for-peak"),
        row("chen", ONE, "01-peak", "wrong", twins=("amara",)),
        row("chen", ONE, "01-period", "no answer", value=None),
    ]
    hand_ins = [
        HandedIn("amara", ONE, NOW),
        HandedIn("amara", THREE, NOW),
        HandedIn("ben", ONE, NOW, late=True),
        HandedIn("ben", THREE, NOW, kept=2),
        HandedIn("chen", ONE, NOW, person=("Item 01-peak was handed in 2 times by one cell.",)),
    ]
    return Facts(
        "Fennel Street Library",
        {each.id: each for each in people},
        (ONE, THREE),
        tuple(rows),
        tuple(hand_ins),
        {"trap:rms-for-peak": "The rms value is not the peak."},
    )


def test_misconceptions_are_ranked_by_learners(facts):
    assert facts.misconceptions() == [
        ("trap:rms-for-peak", ["ben"], ["01-peak", "03-mean"]),
        ("scale:1000", ["ben"], ["01-period"]),
    ]


def test_items_count_every_answer_once(facts):
    peak, period, mean = facts.items()
    assert dict(peak.counts) == {"right": 1, "known slip": 1, "other answer": 1, "no answer": 0}
    assert period.slips == (("scale:1000", 1),)
    assert (mean.lesson, sum(mean.counts.values())) == (THREE, 2)


def test_who_is_stuck_and_why(facts):
    assert dict(facts.stuck()) == {
        "ben": [
            "under half the points in lessons 01 and 03",
            "“rms for peak” in lessons 01 and 03",
        ],
        "chen": ["under half the points in lesson 01", "did not hand in lesson 03"],
    }


@pytest.mark.parametrize(
    "verdict", ["right", "trap:x-y", "scale:1000", "scale:0.000001", "polarity", "wrong", "wrong unit"]
)
def test_every_verdict_has_a_kind_and_words(verdict):
    assert kind(verdict) and words(verdict) and ":" not in words(verdict)


class Reader(HTMLParser):
    """Collects what a browser would act on."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.open = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in ("meta", "br", "img"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def own_script(text):
    """The page's only script; the page's policy lets exactly this one run, known by its hash (CSP Level 3, section 2.3.1)."""
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'\"" in text and "default-src 'none'" in text
    return script


def test_the_page_needs_nothing_from_outside_and_runs_nothing_of_a_stranger_s(facts):
    text = page(facts, now=NOW)
    reader = Reader(text)
    assert not reader.open
    assert not {"link", "img", "iframe", "object"} & set(reader.tags) and reader.tags.count("script") == 1
    own_script(text)
    places = [value for _, name, value in reader.attributes if name in ("src", "href")]
    assert places and all(value.startswith(("#", "data:text/csv;charset=utf-8;base64,")) for value in places)
    assert not [each for each in reader.attributes if each[1].startswith("on")]
    assert "http:" not in text and "https:" not in text


def test_every_figure_can_be_saved_as_it_lies_beside_the_page(facts):
    text = page(facts, now=NOW)
    saved = re.findall(r'download="([^"]+)" href="data:text/csv;charset=utf-8;base64,([^"]+)"', text)
    assert {"glance.csv", "misconceptions.csv", "items.csv"} <= {name for name, _ in saved}
    for name, data in saved:
        assert base64.b64decode(data).decode("utf-8-sig") == tables(facts)[name]


def test_the_page_says_what_there_is_to_say(facts):
    text = page(facts, now=NOW)
    for said in ("Fennel Street Library", "Amara Okafor", "rms for peak", "handed in 2 times", "2 sent", ">late<"):
        assert said in text
    assert "The rms value is not the peak." in text
    assert "1 right, 1 known slip, 1 other answer" in text, "a picture says its numbers in words"
    assert "Planted and found" not in text, "only a rehearsal has anything planted"


def test_an_empty_course_has_a_report_too():
    assert "Nothing has been marked yet" in page(Facts("New course", {}, (), (), ()), now=NOW)


@pytest.mark.parametrize("where", ["first", "last", "verdict", "item", "hint", "person", "course"])
def test_a_stranger_s_text_is_only_text(facts, where):
    people = dict(facts.learners)
    changes = {"learners": people}
    if where in ("first", "last"):
        people["ben"] = Learner("ben", **{where: NASTY})
    elif where == "verdict":
        changes["rows"] = (*facts.rows, row("ben", ONE, "01-x", f"trap:{NASTY}"))
    elif where == "item":
        changes["rows"] = (*facts.rows, row("ben", ONE, NASTY, "right", twins=("amara",)))
    elif where == "hint":
        changes["hints"] = {"trap:rms-for-peak": NASTY}
    elif where == "person":
        changes["hand_ins"] = (*facts.hand_ins, HandedIn("ben", THREE, person=(NASTY,)))
    else:
        changes["course"] = NASTY
    text = page(replace(facts, **changes), now=NOW)
    reader = Reader(text)
    assert reader.tags.count("script") == 1 and "img" not in reader.tags and "alert" not in own_script(text)
    assert not [each for each in reader.attributes if each[1].startswith("on")]
    assert "&lt;script&gt;" in text


def test_the_planted_table_shows_each_difference(facts):
    planted = (
        Planted("ben", ONE, "01-peak", "trap:rms-for-peak", "trap:rms-for-peak", True),
        Planted("ben", ONE, "01-period", "right", "scale:1000", False),
    )
    text = page(replace(facts, planted=planted), now=NOW)
    assert "in 1 of 2 items" in text and "✗ differs" in text and "Where they differ" in text
    good = page(replace(facts, planted=planted[:1]), now=NOW)
    assert "in 1 of 1 items" in good and "✓ the same" in good and "Where they differ" not in good


def test_the_tables_hold_every_row_and_no_formula(facts):
    people = {**facts.learners, "ben": Learner("ben", '=HYPERLINK("x")', "+1")}
    files = tables(replace(facts, learners=people))
    assert sorted(files) == [
        "glance.csv", "hours.csv", "items.csv", "marks.csv", "misconceptions.csv", "twins.csv", "unexplained.csv"]  # fmt: skip
    marks = list(csv.DictReader(io.StringIO(files["marks.csv"])))
    assert len(marks) == len(facts.rows)
    assert marks[3] == {
        "learner": "ben", "first": "'=HYPERLINK(\"x\")", "last": "'+1", "group": "", "lesson": ONE, "item": "01-peak",
        "points": "0.5", "of": "2.0", "verdict": "trap:rms-for-peak", "value": "1.0", "unit": "V", "fits": "", "late": "True",
    }  # fmt: skip
    assert not re.search(r"(^|,)\"?[=+@]", files["marks.csv"], re.MULTILINE)
    (first, *_) = csv.DictReader(io.StringIO(files["misconceptions.csv"]))
    assert (first["in words"], first["learners"], first["items"]) == ("rms for peak", "1", "01-peak 03-mean")


def test_a_hand_in_without_marks_asks_for_a_person(tmp_path):
    from autograde.new import new, opened
    from autograde.reports import write

    new(tmp_path / "course")
    course = tmp_path / "course"
    (course / "roster.csv").write_text("id,first\namara,Amara\nben,Ben\nchen,Wei\n")
    for place in ("release", "submitted/amara", "submitted/ben"):
        (course / place / THREE).mkdir(parents=True)
    (course / "release" / THREE / f"{THREE}.ipynb").write_text("{}")
    (course / "submitted" / "amara" / THREE / f"{THREE}.ipynb").write_text("{")
    with opened(course) as gradebook:
        text = write(course, gradebook).read_text(encoding="utf-8")
    assert "is not a readable notebook" in text and "holds no notebook" in text and text.count(">not graded<") == 2


def cohort(learners=12):
    """One lesson of three items: 03-a tells the able apart, 03-b is right where 03-a is wrong, nobody has 03-c right."""
    rows = []
    for n in range(learners):
        able = n % 2 == 0
        rows.append(row(f"l{n}", THREE, "03-a", "right" if able else "trap:x"))
        rows.append(row(f"l{n}", THREE, "03-b", "trap:y" if able and n else "right"))
        rows.append(replace(row(f"l{n}", THREE, "03-c", "wrong"), ratio=(1.5, -1.0, 0.3)[n % 3] * (1 + 0.001 * n)))
    people = {f"l{n}": Learner(f"l{n}") for n in range(learners)}
    hand_ins = tuple(HandedIn(name, THREE, NOW) for name in people)
    return Facts("Fennel Street Library", people, (THREE,), tuple(rows), hand_ins, planned={THREE: 0.75})


def test_items_that_need_a_look_are_found_and_named():
    (lesson,) = analyse(cohort())
    assert lesson.items["03-c"].reasons == (
        "nobody has it right: look at the key and at the question", "12 of 12 wrong answers fit no known slip")  # fmt: skip
    assert "does badly here" in lesson.items["03-b"].reasons[0] and lesson.items["03-b"].discrimination.value < 0
    assert lesson.items["03-c"].discrimination.value is None, "where nobody is right, nothing can be told apart"
    text = page(cohort(), now=NOW)
    assert 'id="look"' in text and "12 of 12 wrong answers fit no known slip" in text


def test_blanks_and_texts_do_not_count_in_the_figures():
    facts = cohort()
    blank = tuple(row("blank", THREE, item, "no answer", value=None) for item in ("03-a", "03-b", "03-c"))
    text = replace(row("l1", THREE, "03-text", "right"), by_hand=True)
    assert analyse(replace(facts, rows=(*facts.rows, *blank, text))) == analyse(facts)


def test_a_small_cohort_is_warned_of_and_a_large_one_is_not():
    assert "Too few to say: under 30 learners" in page(cohort(29), now=NOW)
    assert "Too few to say" not in page(cohort(30), now=NOW)


def test_a_new_trap_can_be_seen_and_is_named_by_its_factor():
    facts = cohort()
    text = page(facts, now=NOW)
    found = clusters([each for each in facts.rows if each.ratio is not None])
    assert [(round(one.ratio, 1), len(one.learners)) for one in found] == [(-1.0, 4), (0.3, 4), (1.5, 4)]
    assert "1.509 × the key" in text and 'aria-label="Unexplained answers over their keys. 03-c: ' in text
    plot = text[text.index('aria-label="Unexplained') : text.index("</svg>", text.index('aria-label="Unexplained'))]
    assert plot.count("<circle") == 8 and plot.count("<rect") == 4, "wrong signs are squares"


def test_hours_stand_against_the_plan_and_are_never_made_up():
    facts = cohort()
    assert "No hours have been signed for yet; planned are 0.75 h for 1 lesson" in page(facts, now=NOW)
    text = page(replace(facts, spent={("l0", THREE): 0.5, ("l1", THREE): 1.5}), now=NOW)
    assert "lesson 03: middle 1 of 2 learners, planned 0.75" in text
    assert "<td>0.5</td><td>1</td><td>1.5</td><td>1</td>" in text


def test_the_page_names_the_source_of_every_figure():
    text = page(cohort(), now=NOW)
    for source in (
        "Lord and Novick",
        "Henrysson, Psychometrika 28",
        "Cronbach, Psychometrika 16",
        "Efron and Tibshirani",
    ):
        assert source in text


def test_the_ratio_of_an_unexplained_answer_is_to_the_learner_s_own_key():
    from autograde.marking import load
    from autograde.reports.gather import _ratio
    from halfcycle.variants import circuit

    keys, _ = load(THREE)
    item, key = next(
        (item, key) for item, key in keys.items() if isinstance(key.first(circuit("c", THREE, "amara")), float)
    )
    record = {"course": "c", "lesson": THREE, "learner": "amara"}
    value = 1.3 * key.first(circuit("c", THREE, "amara"))
    assert _ratio(record, item, {"verdict": "wrong", "value": value}) == pytest.approx(1.3)
    for verdict, other in (("right", value), ("wrong", [0, 1]), ("wrong", None)):
        assert _ratio(record, item, {"verdict": verdict, "value": other}) is None
    assert _ratio(record, "03-gone", {"verdict": "wrong", "value": value}) is None

"""The report: what it counts, that it says it all in one safe page, and that its tables open safely."""

import csv
import io
import re
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

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


def test_the_page_needs_nothing_from_outside_and_runs_nothing(facts):
    reader = Reader(page(facts, now=NOW))
    assert not reader.open
    assert not {"script", "link", "img", "iframe", "object"} & set(reader.tags)
    assert not [each for each in reader.attributes if each[1] in ("src", "href") or each[1].startswith("on")]
    assert "http:" not in page(facts, now=NOW) and "https:" not in page(facts, now=NOW)


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
    text = page(Facts(**{**facts.__dict__, **changes}), now=NOW)
    reader = Reader(text)
    assert not {"script", "img"} & set(reader.tags)
    assert not [each for each in reader.attributes if each[1].startswith("on")]
    assert "&lt;script&gt;" in text


def test_the_planted_table_shows_each_difference(facts):
    planted = (
        Planted("ben", ONE, "01-peak", "trap:rms-for-peak", "trap:rms-for-peak", True),
        Planted("ben", ONE, "01-period", "right", "scale:1000", False),
    )
    text = page(Facts(**{**facts.__dict__, "planted": planted}), now=NOW)
    assert "in 1 of 2 items" in text and "✗ differs" in text and "Where they differ" in text
    good = page(Facts(**{**facts.__dict__, "planted": planted[:1]}), now=NOW)
    assert "in 1 of 1 items" in good and "✓ the same" in good and "Where they differ" not in good


def test_the_tables_hold_every_row_and_no_formula(facts):
    people = {**facts.learners, "ben": Learner("ben", '=HYPERLINK("x")', "+1")}
    files = tables(Facts(**{**facts.__dict__, "learners": people}))
    assert sorted(files) == ["items.csv", "marks.csv", "misconceptions.csv"]
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

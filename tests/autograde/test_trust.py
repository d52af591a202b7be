"""For any mark: where it came from, who changed it, and whose total a corrected key moves before anything is written."""

import copy
import json
import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write

from autograde import hand_log, marking
from autograde.cli import main
from autograde.course import DEFAULT_COURSE
from autograde.fence import why_no_fence
from autograde.new import opened
from halfcycle.variants import circuit

assert not why_no_fence(), why_no_fence()
LESSON, ITEM = "03_one_diode", "03-dc"
LEARNERS = ("amara", "ben", "dalia")


@pytest.fixture(scope="module")
def graded(tmp_path_factory):
    """Amara has all right; Ben's answer to one item falls into a trap; Dalia's is out by 3 %. Only read."""
    course = tmp_path_factory.mktemp("trust") / "course"
    roster = course.parent / "list.csv"
    roster.write_text("id,first,last\n" + "".join(f"{name},{name.title()},X{name}\n" for name in LEARNERS))
    assert main(["new", str(course)]) == main(["enrol", str(course), str(roster)]) == 0
    assert main(["release", str(course), "--lesson", "03"]) == 0
    released = nbformat.read(course / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    keys, traps = marking.load(LESSON)
    trap = next(trap for trap in traps[ITEM] if trap.name == "drop-forgotten")
    for learner in LEARNERS:
        own = circuit(DEFAULT_COURSE, LESSON, learner)
        given = right_answers("03", own)
        given |= {"ben": {ITEM: trap.value(own)}, "dalia": {ITEM: 1.03 * keys[ITEM].first(own)}}.get(learner, {})
        write(course / "submitted" / learner / LESSON / f"{LESSON}.ipynb", fill(copy.deepcopy(released), given))
    assert main(["grade", str(course)]) == 0
    return course


@pytest.fixture
def course(graded, tmp_path):
    return shutil.copytree(graded, tmp_path / "course")


def run(capsys, *argv):
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def state(course):
    """Every file's content; of the gradebook what it holds, for opening it may touch its bytes."""
    with opened(course) as book:
        scores = [(one.student.id, one.assignment.name, one.score) for one in book.assignment_submissions(LESSON)]
    files = {path: path.read_bytes() for path in course.rglob("*") if path.is_file() and path.name != "gradebook.db"}
    return scores, files


@pytest.fixture
def wider(monkeypatch):
    """The key of one item corrected: it takes 5 % now."""
    keys, traps = marking.load(LESSON)
    corrected = {**keys, ITEM: replace(keys[ITEM], rel_tol=0.05, version=keys[ITEM].version + 1)}

    def load(lesson, room="autograde"):
        return (corrected, traps)

    for module in ("marking", "explain", "neighbours", "preprocessors.mark_slips"):
        monkeypatch.setattr(f"autograde.{module}.load", load)


def test_a_corrected_key_is_shown_before_it_is_written_and_only_then_written(course, wider, capsys):
    before = state(course)
    possible = marking.load(LESSON)[0][ITEM].points
    code, out, _ = run(capsys, "remark", course)
    assert code == 1 and "Nothing has been written" in out and state(course) == before
    (line,) = [line for line in out.splitlines() if line.startswith("dalia")]
    old, new = map(float, re.search(r"([\d.]+) → ([\d.]+) points", line).groups())
    assert new - old == possible and f"{ITEM} 0 → {possible:g}" in line
    assert run(capsys, "remark", course, "--dry-run")[0] == 0 and state(course) == before
    code, out, _ = run(capsys, "remark", course, "--yes")
    assert code == 0 and line in out and "3 hand-ins marked again" in out
    scores = {learner: score for learner, _, score in state(course)[0]}
    assert scores["dalia"] == new and scores["amara"] == {one[0]: one[2] for one in before[0]}["amara"]
    code, out, _ = run(capsys, "remark", course)
    assert code == 0 and "0 totals moved" in out
    said = run(capsys, "explain", course, "dalia", ITEM)[1]
    assert re.search(rf"Marked again \S+: from 0 to {possible:g} points", said) and "within 5 %" in said


def test_a_person_at_a_terminal_is_asked(course, wider, capsys, monkeypatch):
    before = state(course)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: "n")
    assert run(capsys, "remark", course)[0] == 1 and state(course) == before
    monkeypatch.setattr("builtins.input", lambda _: "y")
    assert run(capsys, "remark", course)[0] == 0 and state(course)[0] != before[0]


def test_what_is_shown_counts_marks_by_hand(course, wider, capsys):
    with opened(course) as book:
        book.find_grade(ITEM, LESSON, LESSON, "dalia").manual_score = 1.0
        book.db.commit()
    before = state(course)
    out = run(capsys, "remark", course, "--yes")[1]
    assert not [line for line in out.splitlines() if line.startswith("dalia")]
    assert [one for one in state(course)[0] if one[0] == "dalia"] == [one for one in before[0] if one[0] == "dalia"]


def numbers(text):
    return [float(found) for found in re.findall(r"road \(.*\): ([\d.]+) V", text)]


def test_explain_says_everything_that_led_to_a_mark(graded, capsys):
    own, (keys, traps) = circuit(DEFAULT_COURSE, LESSON, "ben"), marking.load(LESSON)
    said = run(capsys, "explain", graded, "ben", ITEM)[1]
    for words, _, _ in own.rows():
        assert words in said
    assert numbers(said) == pytest.approx([keys[ITEM].first(own), keys[ITEM].second(own)], rel=1e-4)
    assert "within 1 %" in said and f"version {keys[ITEM].version}" in said and "library version" in said
    for trap in traps[ITEM]:
        assert f"trap:{trap.name}: {trap.value(own):.6g} V" in said
    (fits,) = [line for line in said.splitlines() if line.endswith("← fits")]
    assert "trap:drop-forgotten" in fits and "Verdict: trap:drop-forgotten" in said
    assert "The hand-in marked is the one of" in said and "as they are today" in said
    assert re.search(r"Marked 20\d\d-\d\d-\d\dT\S+ by key version", said) and "Changed by hand" not in said


def test_every_change_by_hand_is_kept_and_told(course, capsys):
    for points, comment in ((1.0, None), (1.5, "Showed it at the bench."), (None, None)):
        with opened(course) as book:
            book.find_grade(ITEM, LESSON, LESSON, "ben").manual_score = points
            book.find_comment(f"{ITEM}-answer", LESSON, LESSON, "ben").manual_comment = comment
            book.db.commit()
        said = run(capsys, "explain", course, "ben", ITEM)[1]
    log = [line.partition(": ")[2] for line in said.splitlines() if line.startswith("By hand, seen")]
    assert log == [
        "points from none to 1.0",
        "points from 1.0 to 1.5",
        "comment from none to Showed it at the bench.",
        "points from 1.5 to none",
        "comment from Showed it at the bench. to none",
    ]
    assert run(capsys, "explain", course, "amara", ITEM)[1].count("By hand") == 0


def test_looking_twice_notes_a_change_once(course):
    with opened(course) as book:
        book.find_grade(ITEM, LESSON, LESSON, "ben").extra_credit = 0.5
        book.db.commit()
        assert len(hand_log.note(course, book)) == 1 and hand_log.note(course, book) == []
    (line,) = (course / hand_log.NAME).read_text().splitlines()
    assert json.loads(line) | {"seen": ""} == {
        "seen": "", "learner": "ben", "lesson": LESSON, "cell": ITEM, "what": "extra credit", "before": None, "after": 0.5,
    }  # fmt: skip


def test_a_change_of_the_keys_since_the_marking_is_said(course, capsys, monkeypatch):
    monkeypatch.setattr("autograde.explain.key_stamp", lambda lesson: "other")
    assert "which have changed since; run: autograde remark" in run(capsys, "explain", course, "ben", ITEM)[1]

"""What is seen and written while a grading runs, and what its end says: a line, a journal, an exit code."""

import copy
import io
import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write
from made_course import COURSE, new_course

from autograde import journal
from autograde.cli import main
from autograde.fence import why_no_fence
from autograde.grading import grade
from autograde.progress import GradingBar
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
NUMBER, LEARNERS = "03", ("amara", "bo", "chen")


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture(scope="module")
def graded(tmp_path_factory):
    """A course with two good hand-ins and a broken one, after one grading: ``(course, lesson, summary, what was seen)``."""
    course, lesson, released = new_course(tmp_path_factory.mktemp("seen"), NUMBER, LEARNERS)
    (course / "nbgrader_config.py").write_text(
        "from autograde.course import configure\nconfigure(get_config(), __file__)\n"
    )
    for learner in LEARNERS:
        nb = fill(copy.deepcopy(released), right_answers(NUMBER, circuit(COURSE, lesson, learner)))
        nb.cells[2].source = "import time; time.sleep(0.5)"
        write(course / "submitted" / learner / lesson / f"{lesson}.ipynb", nb)
    (course / "submitted" / "bo" / lesson / f"{lesson}.ipynb").write_text("{")
    seen = Terminal()
    bar = GradingBar(seen)
    summary = grade(course, progress=bar, told=bar.told)
    return course, lesson, summary, seen.getvalue()


def test_the_line_says_done_failed_remaining_and_who_is_running(graded):
    _, _, _, seen = graded
    for words in ("0/3 done", "3/3 done", "to go]", "running: amara", "running: chen", "1 not graded"):
        assert words in seen


def test_a_broken_hand_in_is_named_in_the_summary_and_nobody_else(graded):
    _, lesson, summary, _ = graded
    (said,) = summary.person
    assert said.startswith(f"bo, {lesson}: ") and "not a readable notebook" in said
    assert summary.exit_status == 1


def test_the_journal_tells_a_program_all_of_it(graded):
    course, lesson, _, _ = graded
    lines = [json.loads(line) for line in (course / journal.NAME).read_text(encoding="utf-8").splitlines()]
    assert all({"when", "event"} <= set(line) for line in lines)
    assert (lines[0]["event"], lines[0]["submissions"], lines[0]["workers"]) == ("begin", 3, 1)
    assert [line["learner"] for line in lines if line["event"] == "executing"] == ["amara", "chen"]
    assert all(line["seconds"] >= 0.5 and line["lesson"] == lesson for line in lines if line["event"] == "executed")
    outcomes = {line["learner"]: line for line in lines if line["event"] == "outcome"}
    assert {name: line["status"] for name, line in outcomes.items()} == {
        "amara": "graded",
        "bo": "not graded",
        "chen": "graded",
    }
    assert outcomes["amara"]["points"] == outcomes["amara"]["possible"] and len(outcomes["bo"]["person"]) == 1
    end = {key: value for key, value in lines[-1].items() if key != "when"}
    assert end == {"event": "end", "graded": 2, "unchanged": 0, "not_graded": 1, "person": 1, "exit": 1}


def test_the_exit_code_is_one_while_somebody_is_needed_and_nought_when_not(graded, capsys):
    course, lesson, _, _ = graded
    assert main(["grade", str(course)]) == 1
    told = capsys.readouterr()
    assert f"bo, {lesson}: " in told.out and "1 matter left for a person" in told.err
    assert main(["grade", str(course), "--learner", "amara"]) == 0
    assert "1 unchanged" in capsys.readouterr().out


def test_the_exit_code_is_two_when_it_could_not_run(graded, capsys, monkeypatch):
    course, _, _, _ = graded
    monkeypatch.setattr("autograde.fence.shutil.which", lambda name: None)
    assert main(["grade", str(course)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_many_names_are_cut_short():
    bar = GradingBar(io.StringIO())
    for name in "abcdef":
        bar.told("executing", learner=name, lesson="01")
    assert bar.words() == "0 not graded; running: a, b, c, d, 2 more"

"""Grading a whole course: what is done again and what is not, what needs a person, and what marking again changes."""

import copy
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write
from made_course import COURSE, new_course

from autograde import course as courses
from autograde import marking
from autograde.alone import alone
from autograde.fence import why_no_fence
from autograde.grading import GRADED, NOT_GRADED, UNCHANGED, grade, remark
from autograde.records import marks_path, read, slips_path
from autograde.trouble import Trouble
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
NUMBER = "03"
LEARNERS = ("amara", "bo", "chen")


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A released course in which amara and bo have handed in right answers and were graded."""
    place = tmp_path_factory.mktemp("template")
    course, lesson, released = new_course(place, NUMBER, LEARNERS)
    for learner in LEARNERS[:2]:
        _hand_in(course, lesson, released, learner)
    summary = grade(course)
    assert [one.status for one in summary.outcomes] == [GRADED, GRADED]
    return course, lesson, released


@pytest.fixture
def course(template, tmp_path):
    """A copy of that course to spoil."""
    shutil.copytree(template[0], tmp_path / "course", symlinks=True)
    return tmp_path / "course"


@pytest.fixture
def lesson(template):
    return template[1]


@pytest.fixture
def released(template):
    return template[2]


def _hand_in(course, lesson, released, learner, answers=None, name=None):
    right = right_answers(NUMBER, circuit(COURSE, lesson, learner))
    nb = fill(copy.deepcopy(released), {**right, **(answers or {})})
    path = course / "submitted" / learner / lesson / f"{name or lesson}.ipynb"
    write(path, nb)
    return path


def _status(summary):
    return {one.learner: one.status for one in summary.outcomes}


def _score(course, lesson, learner):
    with courses.gradebook(course) as book:
        return book.find_submission(lesson, learner).score


def _full():
    return float(sum(key.points for key in marking.load(NUMBER)[0].values()))


def test_right_answers_earn_everything_in_the_gradebook(course, lesson):
    assert _score(course, lesson, "amara") == _full()


def test_what_is_unchanged_is_not_graded_again(course):
    before = (course / "marks" / "amara").stat().st_mtime_ns, read(next((course / "marks").glob("*/*.json")))["when"]
    summary = grade(course)
    assert _status(summary) == {"amara": UNCHANGED, "bo": UNCHANGED}
    assert summary.exit_status == 0
    assert summary.outcomes[0].points == _full()
    assert before == (
        (course / "marks" / "amara").stat().st_mtime_ns,
        read(next((course / "marks").glob("*/*.json")))["when"],
    )


def test_a_resubmission_is_graded_again_and_the_others_are_not(course, lesson, released):
    _hand_in(course, lesson, released, "bo", answers=dict.fromkeys(list(marking.load(NUMBER)[0])[:1], -1.5))
    assert _status(grade(course)) == {"amara": UNCHANGED, "bo": GRADED}
    assert _score(course, lesson, "bo") < _full()


def test_a_new_key_a_new_release_and_a_lost_result_are_each_graded_again(course, lesson, monkeypatch):
    shutil.rmtree(course / "autograded" / "amara")
    assert _status(grade(course))["amara"] == GRADED
    release = course / "release" / lesson / f"{lesson}.ipynb"
    release.write_text(release.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert set(_status(grade(course)).values()) == {GRADED}
    monkeypatch.setattr("autograde.stamps.key_stamp", lambda lesson, room="autograde": "another key")
    assert set(_status(grade(course)).values()) == {GRADED}


def test_force_grades_again(course):
    assert _status(grade(course, learner="amara", force=True)) == {"amara": GRADED}


def test_two_workers_do_what_one_does(course, lesson, released):
    _hand_in(course, lesson, released, "chen")
    summary = grade(course, workers=2, force=True)
    assert set(_status(summary).values()) == {GRADED}
    assert {one.points for one in summary.outcomes} == {_full()}


def test_progress_sees_every_submission(course):
    seen = []

    def bar(submissions):
        for one in submissions:
            seen.append(one.learner)
            yield one

    grade(course, progress=bar)
    assert seen == ["amara", "bo"]


def test_killed_at_any_moment_it_is_made_good_by_running_again(course, lesson, released):
    """The command is killed outright after half a second, one second and so on; nothing is lost or counted twice."""
    _hand_in(course, lesson, released, "chen")
    code = f"from autograde.grading import grade; grade({str(course)!r}, force=True)"
    for delay in (1.0, 2.5, 3.5, 4.5):
        with subprocess.Popen([sys.executable, "-c", code], start_new_session=True) as process:
            time.sleep(delay)
            os.killpg(process.pid, signal.SIGKILL)
        for path in (course / "marks").glob("*/*.json"):
            json.loads(path.read_text(encoding="utf-8"))
    assert set(_status(grade(course)).values()) <= {GRADED, UNCHANGED}
    assert [_score(course, lesson, learner) for learner in LEARNERS] == [_full()] * 3
    assert set(_status(grade(course)).values()) == {UNCHANGED}


def test_a_second_grading_at_the_same_time_waits_its_turn(course):
    with alone(course), pytest.raises(Trouble, match="being graded already"):
        grade(course)


def test_a_manual_mark_stays_through_grading_and_remarking(course, lesson):
    item = next(iter(marking.load(NUMBER)[0]))
    with courses.gradebook(course) as book:
        book.find_grade(item, lesson, lesson, "amara").manual_score = 0.25
        book.db.commit()
    before = _score(course, lesson, "amara")
    grade(course, learner="amara", force=True)
    assert _score(course, lesson, "amara") == before < _full()
    remark(course)
    assert _score(course, lesson, "amara") == before


# Only what is in order is graded, and one sentence says why something is not


def _only_person(summary, learner):
    (one,) = [one for one in summary.outcomes if one.learner == learner]
    assert one.status == NOT_GRADED
    assert len(one.person) == 1
    assert summary.exit_status == 1
    return one.person[0]


def test_a_renamed_notebook(course, lesson, released):
    _hand_in(course, lesson, released, "chen", name="my homework (1)")
    summary = grade(course)
    assert "my homework (1).ipynb" in _only_person(summary, "chen")
    assert _status(summary)["amara"] == UNCHANGED


def test_an_empty_folder(course, lesson):
    (course / "submitted" / "chen" / lesson).mkdir(parents=True)
    assert "no notebook" in _only_person(grade(course), "chen")


@pytest.mark.parametrize("what", ["notebook", "file beside it", "folder beside it"])
def test_a_link_is_never_followed(course, lesson, released, what, tmp_path):
    mine = course / "submitted" / "chen" / lesson
    theirs = course / "submitted" / "amara" / lesson / f"{lesson}.ipynb"
    if what == "notebook":
        mine.mkdir(parents=True)
        (mine / f"{lesson}.ipynb").symlink_to(theirs)
    else:
        _hand_in(course, lesson, released, "chen")
        (mine / "beside").symlink_to(theirs if what.startswith("file") else theirs.parent)
    assert "link" in _only_person(grade(course), "chen")
    assert not (course / "autograded" / "chen").exists()


@pytest.mark.parametrize("level", ["learner", "lesson"])
def test_a_linked_folder_is_no_submission(course, lesson, level):
    theirs = course / "submitted" / "amara"
    if level == "learner":
        (course / "submitted" / "chen").symlink_to(theirs)
    else:
        (course / "submitted" / "chen").mkdir()
        (course / "submitted" / "chen" / lesson).symlink_to(theirs / lesson)
    summary = grade(course)
    assert "chen" not in _status(summary)
    assert len(summary.strays) == 1
    assert "link" in summary.strays[0]
    assert summary.exit_status == 1


def test_a_folder_of_nobody_on_the_roster(course, lesson, released):
    (course / "submitted" / "chem" / lesson).mkdir(parents=True)
    summary = grade(course)
    assert "did you mean chen?" in summary.strays[0]
    with courses.gradebook(course) as book:
        assert "chem" not in {student.id for student in book.students}


def test_a_lesson_that_was_never_released(course):
    (course / "submitted" / "chen" / "03_made_for_test").mkdir(parents=True)
    assert "did you mean 03_made_for_tests?" in grade(course).strays[0]


def test_a_file_where_a_folder_belongs(course):
    (course / "submitted" / "notes.txt").write_text("x")
    assert "notes.txt" in grade(course).strays[0]


def test_a_time_that_is_none(course, lesson, released):
    path = _hand_in(course, lesson, released, "chen")
    (path.parent / "timestamp.txt").write_text("last Tuesday")
    assert "timestamp.txt" in _only_person(grade(course), "chen")


def test_a_broken_notebook_stops_nobody_and_is_graded_once_mended(course, lesson, released):
    path = _hand_in(course, lesson, released, "chen")
    good = path.read_bytes()
    path.write_bytes(good[:1000])
    _hand_in(course, lesson, released, "bo", answers={next(iter(marking.load(NUMBER)[0])): -1.5})
    summary = grade(course)
    assert str(path) in _only_person(summary, "chen")
    assert _status(summary) == {"amara": UNCHANGED, "bo": GRADED, "chen": NOT_GRADED}
    path.write_bytes(good)
    assert _status(grade(course))["chen"] == GRADED


@pytest.mark.parametrize(
    ("options", "said"), [({"learner": "nobody"}, "roster"), ({"lesson": "03_made_for_test"}, "did you mean 03_made")]
)
def test_a_wrong_choice_is_one_sentence(course, options, said):
    with pytest.raises(Trouble, match=said):
        grade(course, **options)


def test_a_course_that_is_none(tmp_path):
    with pytest.raises(Trouble, match="no course folder"):
        grade(tmp_path / "nowhere")
    with pytest.raises(Trouble, match="Nobody is enrolled"):
        grade(tmp_path)


# Flags and marking again


def test_an_answer_for_a_neighbours_circuit_is_flagged_and_not_punished(course, lesson, released):
    theirs = right_answers(NUMBER, circuit(COURSE, lesson, "bo"))
    _hand_in(course, lesson, released, "chen", answers=theirs)
    grade(course)
    marks = read(marks_path(course, "chen", lesson))
    flagged = {flag["item"]: flag["learners"] for flag in marks["flags"]}
    wrong = {item for item, one in marks["items"].items() if one["verdict"] == "wrong"}
    assert wrong
    assert set(flagged) == wrong
    assert all("bo" in names for names in flagged.values())
    assert read(marks_path(course, "amara", lesson))["flags"] == []


@pytest.fixture
def harder(monkeypatch):
    """Keys under which every first item is worth nothing: its key has moved."""
    load = marking.load

    def loaded(lesson, room="autograde"):
        keys, traps = load(lesson, room)
        item = next(iter(keys))
        keys[item] = replace(keys[item], first=lambda c: 1e12, version=2)
        return keys, {**traps, item: ()}

    for place in ("autograde.preprocessors.mark_slips.load", "autograde.neighbours.load"):
        monkeypatch.setattr(place, loaded)
    return next(iter(load(NUMBER)[0].values()))


def test_marking_again_moves_totals_without_executing(course, lesson, harder, monkeypatch):
    monkeypatch.setattr("autograde.preprocessors.FencedExecute.preprocess", lambda *a: pytest.fail("it executed"))
    done = remark(course)
    assert (done.count, done.troubles) == (2, ())
    assert {one.learner: (one.before, one.after) for one in done.moved} == dict.fromkeys(
        ("amara", "bo"), (_full(), _full() - harder.points)
    )
    assert _score(course, lesson, "amara") == _full() - harder.points
    assert read(marks_path(course, "amara", lesson))["items"][harder.item]["verdict"] == "wrong"
    assert remark(course).moved == ()


def test_marking_again_changes_the_feedback_too(course, lesson, harder):
    remark(course)
    nb = nbformat.read(course / "autograded" / "amara" / lesson / f"{lesson}.ipynb", as_version=4)
    cell = next(cell for cell in nb.cells if cell.id == harder.item)
    assert cell.outputs[0].data["text/plain"] == "0.0"


def test_marking_again_by_the_same_keys_moves_nobody(course):
    assert remark(course).moved == ()
    assert set(_status(grade(course)).values()) == {UNCHANGED}


def test_damaged_slips_are_one_sentence_and_stop_nobody(course, lesson):
    slips_path(course, "amara", lesson).write_text("{", encoding="utf-8")
    done = remark(course)
    assert done.count == 1
    assert len(done.troubles) == 1
    assert "amara" in done.troubles[0]


# Stock nbgrader in that folder


def _nbgrader(course, *arguments):
    (course / "nbgrader_config.py").write_text(
        "from autograde.course import configure\nconfigure(get_config(), __file__)\n"
    )
    command = [sys.executable, "-m", "nbgrader", *arguments]
    environment = {**os.environ, "PATH": "/usr/bin:/bin"}
    return subprocess.run(
        command, cwd=course, env=environment, capture_output=True, text=True, timeout=180, check=False
    )


def test_stock_autograde_marks_by_our_keys(course, lesson, released):
    _hand_in(course, lesson, released, "chen", answers={next(iter(marking.load(NUMBER)[0])): -1.5})
    with courses.gradebook(course) as book:
        book.add_student("chen")
    done = _nbgrader(course, "autograde", lesson, "--student", "chen")
    assert done.returncode == 0, done.stderr
    assert 0 < _score(course, lesson, "chen") < _full()


def _rows(course, lesson, learner):
    with courses.gradebook(course) as book:
        submission = book.find_submission(lesson, learner)
        (notebook,) = submission.notebooks
        grades = [(one.name, one.auto_score, one.manual_score, one.needs_manual_grade) for one in notebook.grades]
        comments = [(one.name, one.auto_comment, one.manual_comment) for one in notebook.comments]
        return submission.timestamp, notebook.late_submission_penalty, sorted(grades), sorted(comments)


@pytest.mark.parametrize("first", ["ours", "stock"])
def test_stock_autograde_comes_to_the_same_end(course, lesson, released, first):
    """By files and in memory: the same rows in the gradebook, the same notebook, the same files beside it; also one over the other."""
    answers = {next(iter(marking.load(NUMBER)[0])): -1.5}
    path = _hand_in(course, lesson, released, "chen", answers=answers)
    (path.parent / "timestamp.txt").write_text("2026-03-02 18:00:00 UTC\n")
    (path.parent / "notes").mkdir()
    (path.parent / "notes" / "mine.txt").write_text("kept")
    with courses.gradebook(course) as book:
        book.add_student("chen")
    graded, found = course / "autograded" / "chen" / lesson, {}
    for road in (first, {"ours": "stock", "stock": "ours"}[first]):
        if road == "ours":
            grade(course, learner="chen", force=True)
        else:
            assert _nbgrader(course, "autograde", lesson, "--student", "chen", "--force").returncode == 0
        files = {str(one.relative_to(graded)): one.stat().st_mode for one in sorted(graded.rglob("*")) if one.is_file()}
        nb = nbformat.read(graded / f"{lesson}.ipynb", as_version=4)
        nb.metadata.pop("language_info", None)
        found[road] = _rows(course, lesson, "chen"), files, nb
    assert found["ours"][:2] == found["stock"][:2]
    assert found["ours"][2] == found["stock"][2]
    assert len(found["ours"][1]) == 3


@pytest.mark.parametrize("flag", ["--no-execute", "--FencedExecute.enabled=False"])
def test_stock_autograde_pays_nothing_for_what_it_did_not_execute(course, lesson, flag):
    done = _nbgrader(course, "autograde", lesson, "--student", "amara", "--force", flag)
    assert done.returncode == 0, done.stderr
    assert _score(course, lesson, "amara") == 0


def test_stock_autograde_pays_nothing_where_nothing_marks(course, lesson):
    done = _nbgrader(course, "autograde", lesson, "--student", "amara", "--force", "--MarkSlips.enabled=False")
    assert done.returncode == 0, done.stderr
    assert _score(course, lesson, "amara") == 0


def test_stock_export_and_feedback_work(course, lesson):
    assert _nbgrader(course, "export").returncode == 0
    assert "amara" in (course / "grades.csv").read_text(encoding="utf-8")
    done = _nbgrader(course, "generate_feedback", lesson)
    assert done.returncode == 0, done.stderr
    page = (course / "feedback" / "amara" / lesson / f"{lesson}.html").read_text(encoding="utf-8")
    assert "Handed in:" in page

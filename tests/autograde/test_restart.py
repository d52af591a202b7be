"""Grading killed outright at twenty moments and started again: the end is as if nobody had touched it."""

import contextlib
import copy
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write
from made_course import COURSE, new_course

from autograde import course as courses
from autograde import journal, leftovers, marking
from autograde.fence import why_no_fence
from autograde.grading import GRADED, UNCHANGED, grade
from autograde.records import all_marks, read
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
NUMBER, LEARNERS, KILLS, CHANCE = "03", ("amara", "bo", "chen", "dalia"), 20, random.Random(20)
STARTER = """
import os, sys
from pathlib import Path
import autograde.writer
from autograde.grading import grade
from autograde.kept import library_hash
library_hash()  # the same for all of them, even while somebody edits the library
for line in sys.stdin:
    pid = os.fork()
    if pid == 0:
        os.setsid()
        grade(Path(line.strip()), workers=2)
        os._exit(0)
    print(pid, flush=True)
    print(os.waitpid(pid, 0)[1], flush=True)
"""


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    """A process that forks a grading for every course folder it is told; its temporary folder is its own."""
    place = tmp_path_factory.mktemp("temporary")
    with subprocess.Popen(
        [sys.executable, "-c", STARTER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"TMPDIR": str(place)},
    ) as process:
        process.place = place
        yield process
        process.stdin.close()


def _grade(starter, course, kill_after=None):
    """Grade ``course``, or kill that after so many seconds; return ``(seconds that it took, whether it was killed)``."""
    print(course, file=starter.stdin, flush=True)
    pid, began, killed = int(starter.stdout.readline()), time.monotonic(), False
    if kill_after is not None:
        time.sleep(kill_after)
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    killed = starter.stdout.readline() != "0\n"
    return time.monotonic() - began, killed


def _hand_in(course, lesson, released, version):
    for learner in LEARNERS:
        nb = fill(copy.deepcopy(released), right_answers(NUMBER, circuit(COURSE, lesson, learner)))
        nb.cells[2].source = f"spare = {version}\nspare"
        write(course / "submitted" / learner / lesson / f"{lesson}.ipynb", nb)


def _executions(course):
    """``(learner, version)`` of every execution that ended, from the journal; beginning one again that ended fails here."""
    ended, version = Counter(), 0
    for line in (course / journal.NAME).read_text(encoding="utf-8").splitlines():
        told = json.loads(line)
        version += told["event"] == "version"
        if told["event"] == "executing":
            assert not ended[told["learner"], version], f"{told['learner']} was executed twice"
        if told["event"] == "executed":
            ended[told["learner"], version] += 1
    return ended


def _new_version(course, lesson, released, version):
    _hand_in(course, lesson, released, version)
    with (course / journal.NAME).open("a", encoding="utf-8") as file:
        file.write('{"event": "version"}\n')


def _all_graded(course, lesson, version):
    for learner in LEARNERS:
        path = course / "autograded" / learner / lesson / f"{lesson}.ipynb"
        marks = read(course / "marks" / learner / f"{lesson}.json")
        if not path.is_file() or not marks or not marks.get("stamp") or f"spare = {version}" not in path.read_text():
            return False
    return True


def _book(course):
    """The gradebook as plain rows, without what names only the order in which rows were made."""
    with courses.gradebook(course) as book:
        return [
            (one.student.id, grade.name, grade.auto_score, grade.manual_score, grade.needs_manual_grade)
            for one in sorted(book.assignment_submissions(f"{NUMBER}_made_for_tests"), key=lambda one: one.student.id)
            for notebook in one.notebooks
            for grade in sorted(notebook.grades, key=lambda grade: grade.name)
        ]


def _files(course):
    """Everything that is kept of the marking, without the time of day."""
    found = {str(path.relative_to(course)): {**read(path), "when": ""} for path in all_marks(course)}
    for path in sorted((course / "autograded").rglob("*.ipynb")):
        found[str(path.relative_to(course))] = nbformat.read(path, as_version=4)
    for path in sorted((course / "executed").rglob("*.json")):
        found[str(path.relative_to(course))] = json.loads(path.read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def courses_(tmp_path_factory, starter):
    """Two equal courses, graded once and with one mark given by hand: ``(disturbed, undisturbed, lesson, released, seconds)``."""
    place = tmp_path_factory.mktemp("restart")
    course, lesson, released = new_course(place, NUMBER, LEARNERS)
    _hand_in(course, lesson, released, 0)
    seconds, _ = _grade(starter, course)
    item = next(iter(marking.load(NUMBER)[0]))
    with courses.gradebook(course) as book:
        book.find_grade(item, lesson, lesson, "amara").manual_score = 0.25
        book.db.commit()
    shutil.copytree(course, place / "undisturbed" / "course")
    return course, place / "undisturbed" / "course", lesson, released, seconds


@pytest.fixture(scope="module")
def killed(courses_, starter):
    """The disturbed course after twenty kills and one grading that was left alone, the other after that one alone."""
    disturbed, undisturbed, lesson, released, seconds = courses_
    version, kills = 1, 0
    _new_version(disturbed, lesson, released, version)
    while kills < KILLS:
        if _all_graded(disturbed, lesson, version):
            version += 1
            _new_version(disturbed, lesson, released, version)
        took, hit = _grade(starter, disturbed, kill_after=CHANCE.uniform(0.0, seconds))
        kills, seconds = kills + hit, seconds if hit else min(seconds, took)
        _executions(disturbed)
    _grade(starter, disturbed)
    _hand_in(undisturbed, lesson, released, version)
    _grade(starter, undisturbed)
    return disturbed, undisturbed, lesson, version


def test_the_gradebook_is_that_of_an_undisturbed_grading(killed):
    disturbed, undisturbed, lesson, version = killed
    assert _all_graded(disturbed, lesson, version)
    assert _book(disturbed) == _book(undisturbed)
    assert [row[3] for row in _book(disturbed) if row[3] is not None] == [0.25]


def test_every_file_is_whole_and_as_undisturbed(killed):
    disturbed, undisturbed, _, _ = killed
    assert _files(disturbed) == _files(undisturbed)


def test_what_was_finished_was_not_executed_twice(killed):
    disturbed, _, _, version = killed
    ended = _executions(disturbed)
    assert max(ended.values()) == 1
    assert version >= 1 and len(ended) >= len(LEARNERS)


def test_nothing_is_left_lying_about(killed, starter):
    disturbed, _, _, _ = killed
    assert not list(disturbed.rglob(".part-*"))
    assert not list(starter.place.iterdir())


def test_the_database_is_not_locked(killed):
    disturbed, _, _, _ = killed
    assert not list(disturbed.glob("gradebook.db-*"))
    with sqlite3.connect(disturbed / "gradebook.db", timeout=0.1) as book:
        book.execute("BEGIN IMMEDIATE")
        assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        book.rollback()


def test_after_it_all_there_is_nothing_left_to_do(killed):
    disturbed, _, _, _ = killed
    assert {one.status for one in grade(disturbed).outcomes} == {UNCHANGED}


def test_a_lost_result_is_executed_again_and_a_damaged_one_too(killed):
    _, undisturbed, lesson, _ = killed
    kept = undisturbed / "executed" / "bo" / f"{lesson}.json"
    for spoil in (kept.unlink, lambda: kept.write_text('{"content": 1'), lambda: kept.write_text('{"result": {}}')):
        spoil()
        shutil.rmtree(undisturbed / "autograded" / "bo")
        assert {one.learner: one.status for one in grade(undisturbed).outcomes}["bo"] == GRADED
        assert json.loads(kept.read_text(encoding="utf-8"))["result"]["cells"]


def test_a_result_that_is_kept_is_not_executed_again(killed, monkeypatch):
    _, undisturbed, _, _ = killed
    grade(undisturbed, learner="chen", force=True)
    shutil.rmtree(undisturbed / "autograded" / "chen")
    monkeypatch.setattr("autograde.executing.Executor.run", lambda *a: pytest.fail("it was executed"))
    assert {one.learner: one.status for one in grade(undisturbed).outcomes}["chen"] == GRADED


def test_leftovers_of_the_living_stay(tmp_path, monkeypatch):
    monkeypatch.setattr(leftovers.tempfile, "gettempdir", lambda: str(tmp_path))
    for name in (f"hc-{os.getpid()}-abc", "hc-4194999-abc", "hc-other", "else"):
        (tmp_path / name).mkdir()
    leftovers.sweep(tmp_path / "course")
    assert {path.name for path in tmp_path.iterdir()} == {f"hc-{os.getpid()}-abc", "hc-other", "else"}

"""Every real lesson through the real road: stock release, right answers, a blank, and graded behind the fence."""

import copy
import os
import subprocess
import sys

import nbformat
import pytest
from lesson import fill, right_answers, write

from autograde import course as courses
from autograde.fence import why_no_fence
from autograde.grading import grade
from autograde.marking import load
from autograde.records import marks_path, read
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
LESSONS = sorted(path.stem for path in courses.LESSONS.glob("[0-9][0-9]_*/*.ipynb") if path.stem == path.parent.name)


def _nbgrader(course, *arguments):
    command = [sys.executable, "-m", "nbgrader", *arguments]
    environment = {**os.environ, "PATH": "/usr/bin:/bin"}
    return subprocess.run(
        command, cwd=course, env=environment, capture_output=True, text=True, timeout=180, check=False
    )


@pytest.fixture(scope="module", params=LESSONS)
def graded(request, tmp_path_factory):
    """``(lesson, {learner: marks})`` after a release by stock nbgrader and one grading."""
    lesson, course = request.param, tmp_path_factory.mktemp(request.param) / "course"
    course.mkdir()
    (course / "nbgrader_config.py").write_text(
        "from autograde.course import configure\nconfigure(get_config(), __file__)\n"
    )
    (course / "roster.csv").write_text("id\nperfect\nblank\n")
    done = _nbgrader(course, "generate_assignment", lesson)
    assert done.returncode == 0, done.stderr
    released = nbformat.read(course / "release" / lesson / f"{lesson}.ipynb", as_version=4)
    own = circuit(courses.DEFAULT_COURSE, lesson, "perfect")
    perfect = fill(copy.deepcopy(released), right_answers(lesson[:2], own))
    for learner, nb in (("perfect", perfect), ("blank", released)):
        write(course / "submitted" / learner / lesson / f"{lesson}.ipynb", nb)
    summary = grade(course)
    assert summary.person == []
    return lesson, {learner: read(marks_path(course, learner, lesson)) for learner in ("perfect", "blank")}


def test_right_answers_earn_everything(graded):
    lesson, marks = graded
    assert {item: one["verdict"] for item, one in marks["perfect"]["items"].items()} == dict.fromkeys(
        load(lesson)[0], "right"
    )
    assert marks["perfect"]["points"] == marks["perfect"]["possible"]


def test_a_blank_earns_nothing(graded):
    _, marks = graded
    assert {one["verdict"] for one in marks["blank"]["items"].values()} == {"no answer"}
    assert marks["blank"]["points"] == 0


def test_there_are_lessons():
    assert LESSONS

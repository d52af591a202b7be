"""A command that is killed at any moment loses nothing, leaves nothing half-written, and is made good by starting it again."""

import os
import random
import shutil
import signal
import time
import zipfile
from datetime import UTC, datetime

import nbformat
import pytest

from autograde.cli import main
from autograde.files import PART
from autograde.new import opened
from autograde.release import due_dates

LESSON = "03_one_diode"
WHEN = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
MOMENTS = 5


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A course with two learners and a lesson, one hand-in collected; a longer list and more hand-ins beside it."""
    place = tmp_path_factory.mktemp("stops")
    (place / "list.csv").write_text("id,first,last\namara,Amara,Okafor\nben,Ben,Lindqvist\n")
    more = "".join(f"l{n:03},First{n},Last{n}\n" for n in range(200))
    (place / "more.csv").write_text("id,first,last\namara,Amara,Okafor-Lake\nben,Ben,Lindqvist\n" + more)
    course = place / "course"
    assert main(["new", str(course)]) == main(["enrol", str(course), str(place / "list.csv")]) == 0
    assert main(["release", str(course), "--lesson", "03"]) == 0
    for number in range(40):
        for learner in ("amara", "ben"):
            hand_in(course, place / "inbox" / f"{learner}_{number}" / f"{learner}_{LESSON}.ipynb", number)
    hand_in(course, place / "first" / f"amara_{LESSON}.ipynb", 1000)
    assert main(["collect", str(course), str(place / "first")]) == 0
    return place


def hand_in(course, path, number):
    book = nbformat.read(course / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    book.cells.append(nbformat.v4.new_markdown_cell(f"Number {number}", id="own-words"))
    path.parent.mkdir(parents=True, exist_ok=True)
    nbformat.write(book, path)
    os.utime(path, (WHEN + number, WHEN + number))


def arguments(command, place):
    course = str(place / "course")
    return {
        "enrol": ["enrol", course, str(place / "more.csv")],
        "release": ["release", course, "--lesson", "03", "--lesson", "01", "--due", "03=2026-03-02"],
        "collect": ["collect", course, str(place / "inbox")],
    }[command]


def killed(argv, after):
    """Run a command in a child of its own, killed after so many seconds; its exit code, or less than 0."""
    child = os.fork()
    if child == 0:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, after)
        os._exit(main(argv))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def state(course):
    """What the course holds: every file but the gradebook's, the packs' and the lock, and what the gradebook says."""
    left_out = (course / "gradebook.db", course / "packs", course / ".grading")
    files = {
        str(path.relative_to(course)): path.read_bytes()
        for path in course.rglob("*")
        if path.is_file() and not any(path.is_relative_to(each) for each in left_out)
    }
    with opened(course) as book:
        students = sorted((each.id, each.first_name, each.last_name) for each in book.students)
        cells = sorted(cell.name for each in book.assignments for one in each.notebooks for cell in one.grade_cells)
        return files, students, due_dates(book), cells


def whole(course):
    """Every notebook, list and pack that is there reads from its first to its last byte."""
    for path in course.rglob("*.ipynb"):
        nbformat.validate(nbformat.read(path, as_version=4))
    for path in course.rglob("*.zip"):
        with zipfile.ZipFile(path) as box:
            assert box.testzip() is None
    assert (course / "roster.csv").read_text().endswith("\n")


def kept(before, course):
    """What was collected, enrolled and released before the stop is there after it."""
    names = {str(path.relative_to(course)) for path in course.rglob("*") if path.is_file()}
    lost = {name for name in before if not name.startswith("submitted")} - names
    assert not lost and f"submitted/amara/{LESSON}/{LESSON}.ipynb" in names
    assert {"amara", "ben"} <= {line.split(",")[0] for line in (course / "roster.csv").read_text().splitlines()}


@pytest.fixture(scope="module", params=["enrol", "release", "collect"])
def undisturbed(request, template, tmp_path_factory):
    """``(command, how long it takes, what it leaves)`` when nothing stops it."""
    took = []
    for _ in range(2):  # the first run also loads what the others find loaded
        place = shutil.copytree(template, tmp_path_factory.mktemp(request.param) / "place")
        began = time.monotonic()
        assert killed(arguments(request.param, place), 600) == 0
        took.append(time.monotonic() - began)
    return request.param, min(took), state(place / "course")


@pytest.mark.parametrize("moment", range(MOMENTS))
def test_a_stop_loses_nothing_and_starting_again_makes_it_good(undisturbed, template, tmp_path, moment):
    command, seconds, wanted = undisturbed
    place = shutil.copytree(template, tmp_path / "place")
    before = state(place / "course")[0]
    share = random.Random(f"{command} {moment}").uniform(moment, moment + 1) / MOMENTS
    ended = killed(arguments(command, place), share * seconds)
    assert ended in (0, -signal.SIGALRM)
    assert moment or ended, "it was over before it could be stopped"
    whole(place / "course")
    kept(before, place / "course")
    assert main(arguments(command, place)) == 0
    assert state(place / "course") == wanted
    assert not list((place / "course").rglob(f"{PART}*"))


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["enrol", "COURSE", "nowhere.csv"], "no roster file"),
        (["enrol", "COURSE", "LIST", "--id", "badge"], "names no id column"),
        (["enrol", "COURSE", "LIST", "--class", "Blue"], "has no classes"),
        (["enrol", "COURSE", "inbox"], "no users.csv"),
        (["remark", "COURSE", "--lesson", "99_nothing"], "no released lesson 99_nothing"),
        (["forget", "COURSE", "nobody"], "nothing of 'nobody'"),
        (["explain", "COURSE", "amara", "03-dc"], "autograde grade"),
    ],
)
def test_bad_input_is_one_sentence_and_changes_nothing(template, tmp_path, capsys, monkeypatch, argv, words):
    place = shutil.copytree(template, tmp_path / "place")
    monkeypatch.chdir(place)
    before = state(place / "course")
    capsys.readouterr()
    code = main([{"COURSE": "course", "LIST": "list.csv"}.get(each, each) for each in argv])
    said = capsys.readouterr().err
    assert code == 2 and said.count("\n") == 1 and words in said
    assert state(place / "course") == before

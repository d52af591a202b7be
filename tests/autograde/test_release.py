"""Releasing: what a learner gets is clean, equals what `halfcycle study` makes, and a bad source changes nothing."""

import copy
import shutil
from datetime import UTC, datetime

import nbformat
import pytest
from nbformat import v4

from autograde import course as courses
from autograde import release as releasing
from autograde.new import new, opened
from autograde.trouble import Trouble
from halfcycle.release import strip

THREE = "03_one_diode"
SOURCE = courses.LESSONS / THREE / f"{THREE}.ipynb"


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("released") / "course"
    new(folder)
    releasing.release(folder, THREE)
    return folder


@pytest.fixture
def course(template, tmp_path):
    return shutil.copytree(template, tmp_path / "course")


@pytest.fixture
def lessons(tmp_path, monkeypatch):
    """A copy of lesson 03's source to spoil, in place of the checkout's lessons."""
    place = tmp_path / "lessons"
    shutil.copytree(SOURCE.parent, place / THREE)
    monkeypatch.setattr(courses, "LESSONS", place)
    return place


def spoil(lessons, change):
    path = lessons / THREE / f"{THREE}.ipynb"
    book = nbformat.read(path, as_version=4)
    change(book)
    nbformat.write(book, path)


def graded(book):
    return next(cell for cell in book.cells if cell.metadata.get("nbgrader", {}).get("grade"))


def answer(book):
    return next(cell for cell in book.cells if cell.metadata.get("nbgrader", {}).get("solution"))


def test_every_lesson_of_the_checkout_is_a_source():
    assert releasing.sources() == sorted(path.name for path in courses.LESSONS.iterdir() if path.is_dir())
    assert releasing.sources(["03"]) == [THREE] == releasing.sources([THREE])
    with pytest.raises(Trouble, match="no lesson '77'"):
        releasing.sources(["77"])


def test_a_release_is_the_notebook_alone_and_equals_what_study_makes(template):
    folder = template / "release" / THREE
    assert [path.name for path in folder.iterdir()] == [f"{THREE}.ipynb"]
    released = nbformat.read(folder / f"{THREE}.ipynb", as_version=4)
    assert released.cells == strip(nbformat.read(SOURCE, as_version=4)).cells
    assert not [path.name for path in template.iterdir() if path.name.startswith(".release")]


def test_nothing_of_the_instructor_is_in_it(template):
    text = (template / "release" / THREE / f"{THREE}.ipynb").read_text(encoding="utf-8")
    for word in ("SOLUTION", "HIDDEN", "assert ", "autograde", "rms-for-peak", "drop-forgotten", "second_road"):
        assert word not in text


LEAKS = {
    "a solution region": lambda book: setattr(answer(book), "source", "### BEGIN SOLUTION\nx=1"),
    "a hidden test": lambda book: setattr(graded(book), "source", "### BEGIN HIDDEN TESTS"),
    "an output": lambda book: book.cells[1].update(outputs=[v4.new_output("stream", text="33.9")]),
    "a trap": lambda book: setattr(book.cells[0], "source", "beware of drop-forgotten"),
    "the grading room": lambda book: setattr(book.cells[0], "source", "see autograde/keys"),
    "a check in the graded cell": lambda book: setattr(graded(book), "source", 'hand_in("x", x, "V")\nassert x == 3'),
}


@pytest.mark.parametrize("what", LEAKS)
def test_each_kind_of_leak_is_found(template, what):
    source = nbformat.read(SOURCE, as_version=4)
    clean = nbformat.read(template / "release" / THREE / f"{THREE}.ipynb", as_version=4)
    assert releasing.leaks(source, clean, THREE) == []
    book = copy.deepcopy(clean)
    if what == "an output":
        book.cells = [next(cell for cell in book.cells if cell.cell_type == "code")] * 2
    LEAKS[what](book)
    assert releasing.leaks(source, book, THREE)


def test_a_line_of_the_solution_left_behind_is_found(template):
    source = nbformat.read(SOURCE, as_version=4)
    book = nbformat.read(template / "release" / THREE / f"{THREE}.ipynb", as_version=4)
    region = answer(source).source.split("### BEGIN SOLUTION\n")[1].splitlines()[0]
    answer(book).source += region
    assert any("line of the solution" in said for said in releasing.leaks(source, book, THREE))


def test_a_leaky_source_is_refused_and_the_old_release_stays(course, lessons):
    before = (course / "release" / THREE / f"{THREE}.ipynb").read_bytes()
    spoil(lessons, lambda book: setattr(book.cells[0], "source", "beware of drop-forgotten"))
    with pytest.raises(Trouble, match=r"not released, because the cell .* names the trap drop-forgotten"):
        releasing.release(course, THREE)
    assert (course / "release" / THREE / f"{THREE}.ipynb").read_bytes() == before
    assert not list(course.glob(".release*"))


def test_a_stray_file_beside_the_source_is_refused(course, lessons):
    (lessons / THREE / "answers.txt").write_text("33.9")
    with pytest.raises(Trouble, match=r"answers\.txt lies beside"):
        releasing.release(course, THREE)
    assert [path.name for path in (course / "release" / THREE).iterdir()] == [f"{THREE}.ipynb"]


def test_a_lesson_whose_items_have_no_key_is_refused(course, lessons):
    def rename(book):
        cell = graded(book)
        cell.metadata.nbgrader.grade_id = "03-unknown"

    spoil(lessons, rename)
    with pytest.raises(Trouble, match="03-unknown"):
        releasing.release(course, THREE)


@pytest.mark.parametrize("text", ["", "{", '{"cells": []}'])
def test_a_broken_source_is_one_sentence(course, lessons, text):
    (lessons / THREE / f"{THREE}.ipynb").write_text(text)
    with pytest.raises(Trouble, match=THREE) as trouble:
        releasing.release(course, THREE)
    assert "\n" not in str(trouble.value)
    assert (course / "release" / THREE / f"{THREE}.ipynb").stat().st_size > 1000


def test_a_course_folder_that_refuses_keeps_its_release(course, monkeypatch):
    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("autograde.release._swap", refuse)
    with pytest.raises(Trouble, match=r"read-only file system"):
        releasing.release(course, THREE)
    assert (course / "release" / THREE / f"{THREE}.ipynb").is_file()


def test_due_dates_are_kept_in_the_gradebook(course):
    lesson, when = releasing.parse_due("03=2026-03-02T18:00+01:00")
    assert (lesson, when) == ("03", datetime(2026, 3, 2, 17, tzinfo=UTC))
    with opened(course) as gradebook:
        assert releasing.due_dates(gradebook) == {THREE: None}
        releasing.set_due(gradebook, THREE, when)
    with opened(course) as gradebook:
        assert releasing.due_dates(gradebook) == {THREE: when}


def test_a_day_counts_to_its_end():
    local = releasing.parse_due("03=2026-03-02")[1].astimezone()
    assert (local.day, local.hour, local.minute) == (2, 23, 59)


@pytest.mark.parametrize("text", ["03", "03=soon", "x=2026-03-02", "=", "03=2026-13-02"])
def test_a_bad_due_date_is_one_sentence(text):
    with pytest.raises(Trouble, match="LESSON=WHEN"):
        releasing.parse_due(text)

"""A learner's folder: made, gone on with, never written over, and never half made."""

import json
import os

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from halfcycle import server, study
from halfcycle.release import released
from halfcycle.trouble import Trouble

NAME = "01_a_lesson"


def nbgrader(grade_id, **more):
    about = {
        "grade": False,
        "solution": False,
        "locked": False,
        "task": False,
        "schema_version": 3,
        "cell_type": "code",
    }
    return {"nbgrader": {**about, "grade_id": grade_id, **more}}


def source_lesson():
    answer = "# 01-peak: your answer.\npeak_volts = ...\n### BEGIN SOLUTION\npeak_volts = 33.9\n### END SOLUTION"
    return new_notebook(
        cells=[
            new_markdown_cell("# A lesson", id="01-title"),
            new_code_cell("bench('x', 1)", id="01-bench", metadata={"jupyter": {"source_hidden": True}}),
            new_code_cell("1 + 1", id="01-example"),
            new_code_cell(answer, id="01-peak-answer", metadata=nbgrader("01-peak-answer", solution=True)),
            new_code_cell(
                'hand_in("01-peak", peak_volts, "V")',
                id="01-peak",
                metadata=nbgrader("01-peak", grade=True, locked=True, points=2),
            ),
        ],
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
    )


def put_lesson(folder, name=NAME, notebook=None):
    path = folder / name / f"{name}.ipynb"
    path.parent.mkdir(parents=True, exist_ok=True)
    nbformat.write(notebook or source_lesson(), path)
    return path


@pytest.fixture
def pack(tmp_path):
    put_lesson(tmp_path / "pack")
    return tmp_path / "pack"


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "study"


def files(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_folder_holds_the_released_lessons_and_who_it_is(folder, pack):
    assert study.prepare(folder, learner="ana", course="autumn", lessons=pack) == [NAME]
    notebooks = {name for name in files(folder) if not name.startswith("captures")}
    assert notebooks == {".halfcycle.json", f"{NAME}/{NAME}.ipynb"}
    assert json.loads((folder / ".halfcycle.json").read_text()) == {"course": "autumn", "learner": "ana"}


def test_a_released_lesson_has_no_answer_keeps_its_ids_and_holds_its_cells(folder, pack):
    study.prepare(folder, lessons=pack)
    text = (folder / NAME / f"{NAME}.ipynb").read_text()
    assert "SOLUTION" not in text and "33.9" not in text
    cells = {cell.id: cell for cell in nbformat.reads(text, 4).cells}
    assert list(cells) == ["01-title", "01-bench", "01-example", "01-peak-answer", "01-peak"]
    assert cells["01-peak-answer"].source == "# 01-peak: your answer.\npeak_volts = ...\n"
    held = {name: (cell.metadata.get("deletable"), cell.metadata.get("editable")) for name, cell in cells.items()}
    assert held["01-bench"] == held["01-peak"] == (False, False)
    assert held["01-peak-answer"] == (False, None) and held["01-example"] == (None, None)


def test_stock_nbgrader_releases_the_same(tmp_path, pack):
    """nbgrader's own generate_assignment, told the same list: what study makes is what a course folder releases."""
    from nbgrader.apps import NbGraderAPI
    from nbgrader.coursedir import CourseDirectory
    from traitlets.config import Config
    from traitlets.utils.importstring import import_item

    config = Config(study.RELEASE_CONFIG)
    config.CourseDirectory.root = str(tmp_path / "course")
    config.CourseDirectory.source_directory = str(pack)
    config.GenerateAssignment.preprocessors = [import_item(name) for name in study.RELEASE_STEPS]
    (tmp_path / "course").mkdir()
    done = NbGraderAPI(CourseDirectory(config=config), config=config).generate_assignment(NAME)
    assert done["success"], done["log"]
    stock = nbformat.read(tmp_path / "course" / "release" / NAME / f"{NAME}.ipynb", 4)
    assert stock.cells == nbformat.reads(released(pack / NAME / f"{NAME}.ipynb"), 4).cells


def test_started_again_nothing_typed_is_lost_and_new_lessons_are_added(folder, pack):
    study.prepare(folder, learner="ana", lessons=pack)
    mine = folder / NAME / f"{NAME}.ipynb"
    mine.write_text("what I typed")
    put_lesson(pack, "03_another")
    assert study.prepare(folder, lessons=pack) == ["03_another"]
    assert mine.read_text() == "what I typed"
    before = files(folder)
    assert study.prepare(folder, learner="ana", lessons=pack) == []
    assert files(folder) == before


def test_an_already_released_pack_is_copied_as_it_is(folder, pack, tmp_path):
    study.prepare(folder, lessons=pack)
    study.prepare(tmp_path / "second", lessons=folder)
    name = f"{NAME}/{NAME}.ipynb"
    assert nbformat.read(tmp_path / "second" / name, 4) == nbformat.read(folder / name, 4)


def test_nothing_but_the_notebook_is_taken_from_a_lesson(folder, pack):
    (pack / NAME / "key.txt").write_text("33.9")
    (pack / "key.ipynb").write_text("33.9")
    study.prepare(folder, lessons=pack)
    assert not [name for name in files(folder) if "key" in name]


def test_without_a_terminal_the_learner_is_guest(folder, pack):
    study.prepare(folder, lessons=pack)
    assert json.loads((folder / ".halfcycle.json").read_text()) == {"course": "half-cycle", "learner": "guest"}


@pytest.mark.parametrize("typed, learner", [(["ana"], "ana"), ([""], "guest"), (["a/b", " ben "], "ben")])
def test_on_a_terminal_the_learner_is_asked_once(folder, pack, monkeypatch, typed, learner):
    answers = iter(typed)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    study.prepare(folder, lessons=pack)
    study.prepare(folder, lessons=pack)  # would end in StopIteration if it asked again
    assert json.loads((folder / ".halfcycle.json").read_text())["learner"] == learner


def sentence(**options):
    with pytest.raises(Trouble) as trouble:
        study.prepare(**options)
    text = str(trouble.value)
    assert "\n" not in text and text.endswith(".")
    return text


def test_another_learner_does_not_get_this_folder(folder, pack):
    study.prepare(folder, learner="ana", lessons=pack)
    assert "belongs to learner ana" in sentence(folder=folder, learner="ben", lessons=pack)
    assert "belongs to course half-cycle" in sentence(folder=folder, course="autumn", lessons=pack)
    assert json.loads((folder / ".halfcycle.json").read_text())["learner"] == "ana"


@pytest.mark.parametrize("name", ["", "../ana", "a b", "a|b", "x" * 65, ".", "\u202eana"])
def test_an_odd_id_is_refused(folder, pack, name):
    assert "cannot be a learner id" in sentence(folder=folder, learner=name, lessons=pack)
    assert not folder.exists()


def test_a_file_in_the_folders_place(tmp_path, pack):
    (tmp_path / "study").write_text("mine")
    assert "is a file" in sentence(folder=tmp_path / "study", lessons=pack)
    assert "cannot be written" in sentence(folder=tmp_path / "study" / "below", lessons=pack)
    assert (tmp_path / "study").read_text() == "mine"


def test_no_such_lessons(folder, tmp_path):
    assert "There is no folder of lessons" in sentence(folder=folder, lessons=tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    assert "There are no lessons in" in sentence(folder=folder, lessons=tmp_path / "empty")
    assert not folder.exists()


def test_installed_without_a_checkout_it_needs_a_pack_or_goes_on(folder, pack, monkeypatch):
    monkeypatch.setattr(study, "checkout", lambda: None)
    assert "--lessons" in sentence(folder=folder)
    study.prepare(folder, lessons=pack)
    assert study.prepare(folder) == []


BROKEN = {
    "empty": b"",
    "no json": b"{",
    "not a notebook": b"[]",
    "binary": bytes(range(256)),
    "no cells": b'{"nbformat": 4, "nbformat_minor": 5, "metadata": {}}',
}


@pytest.mark.parametrize("content", BROKEN.values(), ids=BROKEN)
def test_a_broken_lesson_is_named_and_nothing_is_written(folder, pack, content):
    broken = pack / "03_broken" / "03_broken.ipynb"
    broken.parent.mkdir()
    broken.write_bytes(content)
    assert str(broken) in sentence(folder=folder, lessons=pack)
    assert not folder.exists()


def test_a_region_that_is_never_closed_is_not_released(folder, pack):
    notebook = source_lesson()
    notebook.cells[3].source = "peak_volts = ...\n### BEGIN SOLUTION\npeak_volts = 33.9"
    path = put_lesson(pack, notebook=notebook)
    assert str(path) in sentence(folder=folder, lessons=pack)
    assert not folder.exists()


def test_without_nbgrader_a_source_is_not_released(folder, pack, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "nbgrader.preprocessors", None)
    assert "nbgrader" in sentence(folder=folder, lessons=pack)


def test_a_broken_who_file_is_named(folder, pack):
    folder.mkdir()
    (folder / ".halfcycle.json").write_text("{")
    assert ".halfcycle.json" in sentence(folder=folder, lessons=pack)


def test_a_folder_that_refuses_is_named_and_holds_no_half_file(folder, pack, monkeypatch):
    """As root no permission refuses, so the refusal is put where the operating system would make it."""
    study.prepare(folder, learner="ana", lessons=pack)
    put_lesson(pack, "03_another")
    before = files(folder)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    assert f"{folder} cannot be written (permission denied)" in sentence(folder=folder, lessons=pack)
    assert files(folder) == before


def test_the_checkout_itself_is_no_learners_folder(course_checkout, pack):
    for place in (course_checkout, course_checkout / "lessons", course_checkout / "lessons" / "mine"):
        assert "belongs to the checkout" in sentence(folder=place, lessons=pack)
    assert not (course_checkout / "lessons" / "mine").exists()


def test_captures_come_along_once(folder, pack, tmp_path, monkeypatch):
    root = tmp_path / "checkout"
    (root / "datasets" / "bus").mkdir(parents=True)
    (root / "datasets" / "bus" / "spikes.csv").write_text("seconds,volts\n")
    (root / "datasets" / "datapackage.json").write_text("{}")
    monkeypatch.setattr(study, "checkout", lambda: root)
    study.prepare(folder, lessons=pack)
    assert [name for name in files(folder) if "captures" in name] == ["captures/bus/spikes.csv"]
    (folder / "captures" / "bus" / "spikes.csv").write_text("mine")
    study.prepare(folder, lessons=pack)
    assert (folder / "captures" / "bus" / "spikes.csv").read_text() == "mine"


def test_it_starts_with_the_first_lesson_and_then_where_the_learner_was(folder, pack):
    put_lesson(pack, "00_before")
    put_lesson(pack, "03_another")
    study.prepare(folder, lessons=pack)
    assert study._start(folder) == "00_before/00_before.ipynb"
    spaces = folder / ".halfcycle" / "workspaces"
    spaces.mkdir(parents=True)
    space = spaces / "default-37a8.jupyterlab-workspace"
    for current, expected in (("03_another/03_another.ipynb", "03_another"), ("gone.ipynb", "00_before")):
        layout = {"main": {"current": f"notebook:{current}"}}
        space.write_text(json.dumps({"data": {"layout-restorer:data": layout}, "metadata": {"id": "default"}}))
        assert study._start(folder) == f"{expected}/{expected}.ipynb"
    space.write_text("{")
    assert study._start(folder) == "00_before/00_before.ipynb"


def test_the_server_listens_to_this_computer_only_and_shows_lessons_only(folder):
    command = server._command(folder, 8888)
    assert "--ServerApp.ip=127.0.0.1" in command and "--ServerApp.terminals_enabled=False" in command
    server.write_settings(folder)
    switched_off = json.loads((folder / "config" / "labconfig" / "page_config.json").read_text())["disabledExtensions"]
    assert {"@jupyter/nbgrader", "@jupyterlab/apputils-extension:announcements"} <= set(switched_off)
    parts = json.loads((folder / "config" / "jupyter_server_config.json").read_text())["ServerApp"][
        "jpserver_extensions"
    ]
    assert not any(parts.values()) and "nbgrader.server_extensions.formgrader" in parts
    settings = json.loads((folder / "settings" / "overrides.json").read_text())
    assert settings["@jupyterlab/apputils-extension:notification"] == {"checkForUpdates": False, "fetchNews": "false"}


def test_the_token_stays_out_of_the_list_of_processes(folder):
    assert server._environment(folder, "secret")["JUPYTER_TOKEN"] == "secret"
    assert "secret" not in " ".join(server._command(folder, 8888))


def test_the_folder_says_who_whatever_the_shell_had_set(folder, monkeypatch):
    monkeypatch.setenv("HALFCYCLE_LEARNER", "somebody-else")
    assert "HALFCYCLE_LEARNER" not in server._environment(folder, "secret")

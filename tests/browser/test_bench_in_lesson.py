"""The benches in a lesson, in JupyterLab: moved by keyboard, kept in place, the same numbers, this computer alone."""

from dataclasses import replace

import nbformat
import pytest
from demo_page import as_shown, readings, until_shown
from nbformat.v4 import new_code_cell, new_notebook
from playwright.sync_api import expect
from study_page import Study

from halfcycle.benches import NAMES, module

LESSON = "01_every_bench"
LOCKED = {"deletable": False, "editable": False, "jupyter": {"source_hidden": True}}  # as in the lessons


@pytest.fixture(scope="module")
def lessons(tmp_path_factory):
    """A folder with a small lesson: every bench, and one whose cell may be deleted."""
    cells = [new_code_cell("from halfcycle.benches import bench", id="begin")]
    cells += [new_code_cell(f'bench("{name}")', id=f"bench-{name}", metadata=LOCKED) for name in NAMES]
    cells += [new_code_cell('bench("supply")', id="bench-loose")]
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    folder = tmp_path_factory.mktemp("lessons")
    (folder / LESSON).mkdir()
    nbformat.write(new_notebook(cells=cells, metadata=kernel), folder / LESSON / f"{LESSON}.ipynb")
    return folder


@pytest.fixture(scope="module")
def study(lessons, tmp_path_factory, shared_screen):
    with Study(
        tmp_path_factory.mktemp("learner") / "study", shared_screen, LESSON, "--lessons", str(lessons)
    ) as running:
        running.run("begin")
        yield running


def shown(study, name):
    """The bench's output in the page, run and scrolled into sight."""
    study.run(f"bench-{name}")
    cell = study.cell(f"bench-{name}")
    expect(cell.locator(".hc-scope")).to_be_visible(timeout=60_000)
    expect(cell.locator('[role="slider"][aria-label]').first).to_be_visible(timeout=60_000)
    return cell


@pytest.mark.parametrize("name", NAMES)
def test_each_bench_is_moved_by_keyboard_and_reads_what_the_library_reads(study, name):
    bench, cell = module(name), shown(study, name)
    begun = bench.start()
    assert readings(cell) == as_shown(bench.state(begun))
    study.screen.shot(f"lesson-bench-{name}")
    control = bench.CONTROLS[-2]
    handle = cell.get_by_role("slider", name=control.label, exact=True)
    at = control.choices.index(getattr(begun, control.name))
    last = at == len(control.choices) - 1
    handle.press("ArrowLeft" if last else "ArrowRight")
    state = bench.state(replace(begun, **{control.name: control.choices[at - 1 if last else at + 1]}), begun)
    until_shown(cell, state)
    assert readings(cell) == as_shown(state)
    handle.press("d")  # a focused slider passes its keys on to the notebook, where these two delete a cell
    handle.press("d")
    cell.get_by_role("button", name="Reset", exact=True).press("Enter")
    until_shown(cell, bench.state(begun))
    assert f"bench-{name}" in [one.id for one in study.save().cells]


def test_d_d_on_a_slider_deletes_a_cell_that_is_not_locked(study):
    """So that the test above proves something: without the lock the same keys do delete the bench."""
    handle = shown(study, "loose").locator('[role="slider"]').first
    handle.press("d")
    handle.press("d")
    study.wait_until_gone("bench-loose")


def test_nothing_is_asked_of_another_computer_and_nothing_goes_wrong(study):
    assert study.screen.refused == []
    assert study.screen.errors() == []
    assert study.page.locator("[data-mime-type='application/vnd.jupyter.stderr']").count() == 0

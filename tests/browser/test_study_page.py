"""An apprentice's first minutes in a real browser: from `halfcycle study` to the first recorded answer in lesson 00."""

import json

import pytest
from playwright.sync_api import expect
from study_page import Study

LESSON = "00_before_you_open_the_panel"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("learner") / "study"


@pytest.fixture
def study(folder, screen):
    """A first start."""
    with Study(folder, screen, LESSON) as running:
        yield running


@pytest.fixture(scope="module")
def again(folder, shared_screen):
    """A second start of the same folder, with a browser that knows nothing of the first."""
    with Study(folder, shared_screen, LESSON) as running:
        yield running


def test_from_the_first_start_to_the_first_recorded_answer(study, screen):
    screen.shot("study-first-page")
    begun = study.run("00-begin")
    expect(begun.get_by_text("Learner ana, course half-cycle, lesson 00")).to_be_visible(timeout=60_000)
    expect(begun.get_by_role("rowheader").first).to_be_visible()
    screen.shot("study-own-circuit")

    handed = study.answer("00-start-volts", "start_volts = 24 * 2**0.5")
    expect(handed.get_by_role("status")).to_have_text("Recorded: 33.9411 V for 00-start-volts.", timeout=60_000)
    screen.shot("study-recorded")

    for typed, advice in {
        "start_volts = 33.9 V": "leave the unit out",
        "start_volts = 33,9": "decimal sign as a point",
        "start_volts = 24 / 0": "divides by zero",
        "start_volts = ": "three dots",
    }.items():
        handed = study.answer("00-start-volts", typed)
        expect(handed.get_by_role("status")).to_contain_text("No answer yet for 00-start-volts", timeout=60_000)
        expect(handed.get_by_role("status")).to_contain_text(advice)
    screen.shot("study-no-answer")

    handed = study.answer("00-start-volts", "start_volts = 33.9")
    expect(handed.get_by_role("status")).to_have_text("Recorded: 33.9 V for 00-start-volts.", timeout=60_000)
    slips = [output.data for cell in study.save().cells if cell.id == "00-start-volts" for output in cell.outputs]
    assert [slip["application/vnd.halfcycle.slip+json"]["value"] for slip in slips] == [33.9]
    assert screen.page.locator(".jp-RenderedText[data-mime-type='application/vnd.jupyter.stderr']").count() == 0
    assert screen.refused == [], "the page asked for something beyond this computer"
    assert screen.errors() == []


def test_started_again_what_was_typed_is_still_there(again, folder):
    """The second start of the same folder: the page opens on the lesson with the answer in it."""
    assert f"/lab/tree/{LESSON}/" in again.address
    expect(again.cell("00-start-volts-answer")).to_contain_text("start_volts = 33.9")
    expect(again.cell("00-start-volts").get_by_role("status")).to_have_text("Recorded: 33.9 V for 00-start-volts.")
    assert json.loads((folder / ".halfcycle.json").read_text())["learner"] == "ana"


def test_d_d_deletes_neither_a_bench_nor_a_graded_cell(again):
    """Two presses of d on a cell that is selected delete it in a notebook; a focused slider passes its keys on."""
    names = [cell.id for cell in again.save().cells]
    bench = next(cell.id for cell in again.save().cells if 'bench("' in cell.source)
    for name in (bench, "00-start-volts", "00-start-volts-answer"):
        again.press_d_d(name)
    assert [cell.id for cell in again.save().cells] == names
    again.press_d_d("00-title")  # so that the lines above prove something: here the same keys do delete
    again.wait_until_gone("00-title")
    assert "00-title" not in [cell.id for cell in again.save().cells]


def test_only_the_lesson_is_on_the_screen(again):
    page = again.page
    expect(page.get_by_role("menuitem", name="Nbgrader")).to_have_count(0)
    expect(page.get_by_role("menuitem", name="File", exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Notebook")).to_have_count(0)
    assert page.locator(".Toastify__toast, .jp-Dialog").count() == 0
    text = page.locator("body").inner_text()
    assert "Formgrader" not in text and "Jupyter news" not in text
    assert again.screen.refused == []

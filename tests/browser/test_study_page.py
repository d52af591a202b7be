"""An apprentice's first minutes in a real browser: from `halfcycle study` to the first recorded answer in lesson 00."""

import json
import re
import shutil
import signal
import subprocess

import nbformat
import pytest
from playwright.sync_api import expect

LESSON = "00_before_you_open_the_panel"
CONNECTED = """() => {
  const session = window.jupyterapp?.shell.currentWidget?.context?.sessionContext?.session;
  return session?.kernel?.connectionStatus === 'connected' && session.kernel.status === 'idle';
}"""

TAKES_KEYS = """name => {
  const book = window.jupyterapp.shell.currentWidget.content;
  return book.mode === 'command' && book.activeCell.model.id === name && book.node.contains(document.activeElement);
}"""
GONE = "name => window.jupyterapp.shell.currentWidget.content.widgets.every(one => one.model.id !== name)"


class Study:
    """`halfcycle study` on ``folder``, and its lesson on the ``screen``."""

    def __init__(self, folder, screen):
        self.folder, self.screen, self.page = folder, screen, screen.page
        config = folder / ".halfcycle" / "config"  # so that a test can ask whether the kernel is connected
        config.mkdir(parents=True, exist_ok=True)
        (config / "jupyter_lab_config.json").write_text('{"LabApp": {"expose_app_in_browser": true}}')

    def __enter__(self):
        command = [shutil.which("halfcycle"), "study", str(self.folder), "--no-browser", "--learner", "ana"]
        self.process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True)
        self.address = next(found[0] for line in self.process.stdout if (found := re.search(r"http://\S+", line)))
        self.page.goto(self.address)
        self.page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=120_000)
        self.page.wait_for_function(CONNECTED, timeout=120_000)  # a key pressed before that is dropped
        return self

    def __exit__(self, *_):
        self.process.send_signal(signal.SIGTERM)
        self.process.stdout.close()
        self.process.wait(timeout=60)

    def cell(self, name):
        """The cell with the id ``name``, scrolled into sight and selected."""
        find = "name => window.jupyterapp.shell.currentWidget.content.widgets.findIndex(one => one.model.id === name)"
        at = self.page.evaluate(find, name)
        assert at >= 0, f"there is no cell {name}"
        self.page.evaluate(
            """at => { const book = window.jupyterapp.shell.currentWidget.content;
                       book.activeCellIndex = at; book.mode = 'command'; return book.scrollToItem(at, 'center'); }""",
            at,
        )
        found = self.page.locator(f'.jp-Notebook .jp-Cell[data-windowed-list-index="{at}"]')
        expect(found).to_be_visible()
        return found

    def run(self, name):
        """Press Shift+Enter on the cell with the id ``name``, as a learner does."""
        cell = self.cell(name)
        self.page.locator(".jp-Notebook").focus()
        self.page.keyboard.press("Shift+Enter")
        return cell

    def answer(self, item, typed):
        """Replace the line under the comment of ``item``'s answer cell by ``typed``, then Shift+Enter twice."""
        cell = self.cell(f"{item}-answer")
        cell.locator(".cm-line").nth(1).click()
        self.page.keyboard.press("Home")
        self.page.keyboard.press("Shift+End")
        self.page.keyboard.type(typed)
        self.page.keyboard.press("Shift+Enter")
        self.page.keyboard.press("Shift+Enter")
        return self.cell(item)

    def save(self):
        # JupyterLab calls a notebook clean before its file is written: wait for the writing itself
        self.page.evaluate("() => window.jupyterapp.shell.currentWidget.context.save()")
        return nbformat.read(self.folder / LESSON / f"{LESSON}.ipynb", as_version=4)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("learner") / "study"


@pytest.fixture
def study(folder, screen):
    """A first start."""
    with Study(folder, screen) as running:
        yield running


@pytest.fixture(scope="module")
def again(folder, shared_screen):
    """A second start of the same folder, with a browser that knows nothing of the first."""
    with Study(folder, shared_screen) as running:
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
        press_d_d(again, name)
    assert [cell.id for cell in again.save().cells] == names
    press_d_d(again, "00-title")  # so that the lines above prove something: here the same keys do delete
    again.page.wait_for_function(GONE, arg="00-title", timeout=20_000)
    assert "00-title" not in [cell.id for cell in again.save().cells]


def press_d_d(again, name):
    again.cell(name)
    again.page.locator(".jp-Notebook").focus()
    again.page.wait_for_function(TAKES_KEYS, arg=name)
    again.page.keyboard.press("d")
    again.page.keyboard.press("d")


def test_only_the_lesson_is_on_the_screen(again):
    page = again.page
    expect(page.get_by_role("menuitem", name="Nbgrader")).to_have_count(0)
    expect(page.get_by_role("menuitem", name="File", exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Notebook")).to_have_count(0)
    assert page.locator(".Toastify__toast, .jp-Dialog").count() == 0
    text = page.locator("body").inner_text()
    assert "Formgrader" not in text and "Jupyter news" not in text
    assert again.screen.refused == []

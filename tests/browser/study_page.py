"""Driving a lesson in JupyterLab as `halfcycle study` shows it: run a cell, type an answer, save."""

import re
import shutil
import signal
import subprocess

import nbformat
from playwright.sync_api import expect

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
    """`halfcycle study` on ``folder``, and its ``lesson`` on the ``screen``; ``options`` go to the command."""

    def __init__(self, folder, screen, lesson, *options):
        self.folder, self.screen, self.page = folder, screen, screen.page
        self.lesson, self.options = lesson, options
        config = folder / ".halfcycle" / "config"  # so that a test can ask whether the kernel is connected
        config.mkdir(parents=True, exist_ok=True)
        (config / "jupyter_lab_config.json").write_text('{"LabApp": {"expose_app_in_browser": true}}')

    def __enter__(self):
        command = [
            shutil.which("halfcycle"),
            "study",
            str(self.folder),
            "--no-browser",
            "--learner",
            "ana",
            *self.options,
        ]
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
        return nbformat.read(self.folder / self.lesson / f"{self.lesson}.ipynb", as_version=4)

    def press_d_d(self, name):
        """Press d twice on the selected cell with the id ``name``: in a notebook this deletes a cell that may be deleted."""
        self.cell(name)
        self.page.locator(".jp-Notebook").focus()
        self.page.wait_for_function(TAKES_KEYS, arg=name)
        self.page.keyboard.press("d")
        self.page.keyboard.press("d")

    def wait_until_gone(self, name):
        """Wait until there is no cell with the id ``name``."""
        self.page.wait_for_function(GONE, arg=name, timeout=20_000)

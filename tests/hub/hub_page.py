"""A person at the hub in Chromium: log in, fetch, work, hand in, type into a terminal, run code on the own server."""

import json
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import expect
from school import LESSON, PASSWORD, PATIENCE_SECONDS

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))
from study_page import CONNECTED, Study

MILLISECONDS = PATIENCE_SECONDS * 1000
RUN = """async code => {
  window.asked ??= await window.jupyterapp.serviceManager.kernels.startNew({name: 'python3'});
  const said = [], future = window.asked.requestExecute({code});
  future.onIOPub = message => {
    if (message.header.msg_type === 'stream') said.push(message.content.text);
    if (message.header.msg_type === 'error') said.push(message.content.ename);
  };
  await future.done;
  return said.join('').trim();
}"""


class Person(Study):
    """``name`` on a page of ``context`` of their own; ``refused`` holds what the pages asked of other computers."""

    def __init__(self, school, context, name):
        self.school, self.context, self.name, self.lesson = school, context, name, LESSON
        self.folder, self.refused = school.machine.homes.get(name), []
        context.route("**/*", self._own_computer_only)
        self.page = context.new_page()

    def log_in(self):
        """Log in; the own server starts."""
        self.page.goto(self.school.address)
        self.page.fill("#username_input", self.name)
        self.page.fill("#password_input", PASSWORD)
        self.page.click("#login_submit")

    def enter(self):
        """Log in, until JupyterLab appears."""
        self.log_in()
        self.page.wait_for_selector(".jp-LabShell .jp-Launcher", timeout=MILLISECONDS)
        return self

    def assignments(self):
        """The list of assignments, opened from the menu or brought to the front."""
        self.page.get_by_role("menuitem", name="Nbgrader").click()
        self.page.get_by_role("menuitem", name="Assignment List").click()
        found = self.page.locator("#nbgrader-assignment-list")
        expect(found.get_by_text("fennel-street").first).to_be_visible(timeout=MILLISECONDS)
        return found

    def fetch(self):
        """Fetch the lesson and open it by its link, until its kernel is there."""
        rows = self.assignments()
        rows.get_by_role("button", name="Fetch").click()
        expect(rows.get_by_role("button", name="Submit")).to_be_visible(timeout=MILLISECONDS)
        fetched = rows.locator("#fetched_assignments_list")
        fetched.locator(".assignment-notebooks-link").click()
        fetched.locator(".nested_list_item a").click()
        self.page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=MILLISECONDS)
        self.page.wait_for_function(CONNECTED, timeout=MILLISECONDS)
        return self

    def submit(self):
        """Hand the saved lesson in."""
        rows = self.assignments()
        rows.get_by_role("button", name="Submit").click()
        expect(rows.locator("#submitted_assignments_list").get_by_text(LESSON).first).to_be_visible(
            timeout=MILLISECONDS
        )

    def feedback(self):
        """Fetch the feedback and open its page, with the clicks that it takes; return the page's frame."""
        rows = self.assignments()
        with self.page.expect_response("**/assignments/fetch_feedback*", timeout=MILLISECONDS):
            rows.get_by_role("button", name="Fetch Feedback").click()
        rows.get_by_text("view feedback").click(timeout=MILLISECONDS)
        self.page.locator(".jp-DirListing-item", has_text=f"{LESSON}.html").dblclick(timeout=MILLISECONDS)
        return self.page.frame_locator(".jp-HTMLViewer iframe")

    def terminal(self):
        """Open a terminal from the launcher."""
        self.page.locator(".jp-LauncherCard", has_text="Terminal").click()
        self.page.wait_for_selector(".jp-Terminal .xterm-rows, .jp-Terminal .xterm-screen", timeout=MILLISECONDS)
        self.page.wait_for_timeout(1000)  # the shell drops what is typed before its prompt
        return self

    def run_code(self, code):
        """Run ``code`` in a kernel of the own server; return what it printed, or the name of its error."""
        return self.page.evaluate(RUN, code)

    def type_in_terminal(self, command):
        """Type ``command`` into the terminal in front and wait for its end; return its exit code."""
        done = self.folder / f"done-{time.monotonic_ns()}"
        self.page.keyboard.type(f"{command}; echo $? > {done}.part && mv {done}.part {done}\n")
        end = time.monotonic() + PATIENCE_SECONDS
        while not done.exists():
            assert time.monotonic() < end, f"{command} does not end"
            self.page.wait_for_timeout(100)
        return int(done.read_text())

    def _own_computer_only(self, route):
        address = urlsplit(route.request.url)
        if address.scheme in {"data", "blob", "about"} or address.hostname == "127.0.0.1":
            route.continue_()
        else:
            self.refused.append(json.dumps(route.request.url))
            route.abort()

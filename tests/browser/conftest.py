"""A real Chromium for the tests in this folder: `screen.page` to drive, `screen.shot(name)` to look at afterwards.

Requests to anything but this computer are refused and kept in `screen.refused`; whatever the page says on its console
is kept in `screen.console`. Pictures go to artefacts/, which git ignores.
"""

import contextlib
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from demo_page import running_demo

ARTEFACTS = Path(__file__).resolve().parents[2] / "artefacts"
OWN_HOSTS = {"127.0.0.1", "localhost", "[::1]", "::1"}


@dataclass
class Screen:
    """One browser page and what went on in it."""

    page: object
    refused: list = field(default_factory=list)
    console: list = field(default_factory=list)

    def shot(self, name, **options):
        """Keep a picture of the page as artefacts/NAME.png and return its path."""
        ARTEFACTS.mkdir(exist_ok=True)
        path = ARTEFACTS / f"{name}.png"
        self.page.screenshot(path=path, **options)
        return path

    def errors(self):
        """The error messages among what the page said on its console."""
        return [text for kind, text in self.console if kind == "error"]


@pytest.fixture
def screen(chromium):
    """A fresh page, 1280 by 900, that can reach this computer only."""
    with opened(chromium) as own:
        yield own


@pytest.fixture(scope="module")
def shared_screen(chromium):
    """As `screen`, one page for all tests of a file that only look."""
    with opened(chromium) as own:
        yield own


@pytest.fixture(scope="session")
def address():
    """The demo's address; it runs until the tests of this worker are done."""
    with running_demo() as found:
        yield found


@contextlib.contextmanager
def opened(chromium):
    """A `Screen` on a page of its own in the browser ``chromium``, closed again at the end."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    own = Screen(page)
    context.route("**/*", lambda route: _pass_or_refuse(route, own.refused))
    page.on("console", lambda message: own.console.append((message.type, message.text)))
    page.on("pageerror", lambda error: own.console.append(("error", str(error))))
    yield own
    context.close()


def _pass_or_refuse(route, refused):
    address = urlsplit(route.request.url)
    if address.scheme in {"data", "blob", "about"} or address.hostname in OWN_HOSTS:
        route.continue_()
    else:
        refused.append(route.request.url)
        route.abort()

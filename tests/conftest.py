"""What all tests share: programs of this environment found first, the root of the checkout, and one Chromium a worker."""

import os
import shutil
import sys
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[1]
os.environ["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)])
for name in ("PYTHONDONTWRITEBYTECODE", "UV_COMPILE_BYTECODE"):
    os.environ.pop(name, None)
sys.dont_write_bytecode = False
"""The tests start some hundred programs: none is to compile again what has been compiled, nor more than it needs."""

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium, driven by Playwright; started once a worker, for Playwright's loop runs only once at a time."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("Chromium is missing; install it with: sudo apt-get install -y --no-install-recommends chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def course_checkout():
    """The root of the checkout, where lessons/, shared_lib/ and autograde/ stand."""
    return ROOT


@pytest.fixture(autouse=True)
def _nobody_in_particular(monkeypatch):
    """No learner of the surrounding shell leaks into a test."""
    monkeypatch.delenv("HALFCYCLE_COURSE", raising=False)
    monkeypatch.delenv("HALFCYCLE_LEARNER", raising=False)


hypothesis.settings.register_profile("same every time", derandomize=True, deadline=None)
hypothesis.settings.load_profile("same every time")

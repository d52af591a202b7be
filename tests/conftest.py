"""What all tests share: programs of this environment found first, and the root of the checkout."""

import os
import sys
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[1]
os.environ["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)])


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

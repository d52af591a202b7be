"""ruff's lint and format, in the test command."""

import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("arguments", [["check"], ["format", "--check"]], ids=["lint", "format"])
def test_ruff_finds_nothing(arguments):
    ruff = Path(sys.executable).with_name("ruff")
    done = subprocess.run([ruff, *arguments, "--no-cache", "."], cwd=CHECKOUT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr

"""What can begin before nbgrader is loaded, which takes as long as getting warm does."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

from autograde import executing
from autograde.fence import fence
from autograde.trouble import Trouble

__all__ = ["start"]


def start(course, force=False):
    """Begin to warm up for the grading of ``course``, unless nothing in it looks new; what is wrong is told later."""
    _leave_out_grammars()
    course = Path(course).resolve()
    if force or _looks_new(course):
        with contextlib.suppress(Trouble, OSError):
            executing.ahead(fence(hidden=(str(course),)))


def _leave_out_grammars():
    """jsonschema builds a grammar of web addresses when it is loaded, if it can, which takes a second; no notebook needs it."""
    sys.modules.setdefault("rfc3987_syntax", None)


def _looks_new(course):
    """Whether a notebook was handed in after it was marked last, by the times of the files."""
    return any(
        _when(path) > _when(course / "marks" / path.parts[-3] / f"{path.stem}.json")
        for path in (course / "submitted").glob("*/*/*.ipynb")
    )


def _when(path):
    try:
        return os.lstat(path).st_mtime_ns
    except OSError:
        return 0

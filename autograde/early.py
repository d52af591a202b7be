"""What can begin before nbgrader is loaded, which takes as long as getting warm does."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

from autograde import executing
from autograde.fence import fence
from autograde.trouble import Trouble

__all__ = ["new_lessons", "start"]


def start(course, lesson=None, force=False):
    """Begin to warm up for the grading of ``course``, unless nothing in it looks new; what is wrong is told later."""
    _leave_out_grammars()
    course = Path(course).resolve()
    if lessons := new_lessons(course, lesson, force):
        with contextlib.suppress(Trouble, OSError):
            executing.ahead(fence(hidden=(str(course),)), lessons)


def new_lessons(course, lesson=None, force=False):
    """Return the released notebooks of ``course`` (a path) for which a notebook was handed in after it was marked last.

    By the times of the files, so it says what is worth getting ready for and decides nothing. ``lesson`` chooses;
    ``force`` takes what is marked already as well.
    """
    found = {
        path.stem
        for path in (course / "submitted").glob(f"*/{lesson or '*'}/*.ipynb")
        if force or _when(path) > _when(course / "marks" / path.parts[-3] / f"{path.stem}.json")
    }
    places = (course / "release" / name / f"{name}.ipynb" for name in sorted(found))
    return [place for place in places if place.is_file()]


def _leave_out_grammars():
    """jsonschema builds a grammar of web addresses when it is loaded, if it can, which takes a second; no notebook needs it."""
    sys.modules.setdefault("rfc3987_syntax", None)


def _when(path):
    try:
        return os.lstat(path).st_mtime_ns
    except OSError:
        return 0

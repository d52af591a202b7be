"""What a command that was killed may leave behind, swept away by the next one."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from pathlib import Path

from autograde.files import sweep_parts
from autograde.kernel_run import FOLDERS

__all__ = ["sweep"]

_WRITTEN = ("executed", "marks", "slips", "autograded")


def sweep(course):
    """Remove half-written files from ``course``, and folders for kernels whose grading has ended, from this computer."""
    sweep_parts(course, _WRITTEN)
    for folder in Path(tempfile.gettempdir()).glob(f"{FOLDERS}*-*"):
        found = re.fullmatch(rf"{FOLDERS}(\d+)-.*", folder.name)
        if found and folder.is_dir() and not folder.is_symlink() and not _lives(int(found[1])):
            shutil.rmtree(folder, ignore_errors=True)


def _lives(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True

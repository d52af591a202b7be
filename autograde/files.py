"""Writing files so that a stop half-way, or a folder that refuses, never leaves half a file behind."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from autograde.trouble import Trouble, reason

__all__ = ["PART", "make_folder", "sweep_parts", "write_whole"]

PART = ".part-"  # how the name of a file begins that is being written


def make_folder(folder: Path) -> Path:
    """Make ``folder`` with its parents, or end in one sentence that names it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Trouble(f"The folder {folder} cannot be made ({reason(error)}); make its parent writable.") from error
    return folder


def write_whole(path: Path, content: str | bytes, mode: int = 0o644) -> None:
    """Write ``content`` to ``path`` all at once: readers see the old file or the new one, never a part."""
    make_folder(path.parent)
    data = content.encode() if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=PART)
        try:
            with os.fdopen(handle, "wb") as part:
                part.write(data)
            os.chmod(name, mode)
            os.replace(name, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise
    except OSError as error:
        raise Trouble(f"{path} cannot be written ({reason(error)}); make that folder writable.") from error


def sweep_parts(course, places=()) -> None:
    """Remove what a command that was killed left half-written in these ``places`` of ``course``, and in that folder itself."""
    folders = [Path(course) / place for place in places]
    for part in [*Path(course).glob(f"{PART}*"), *(each for one in folders for each in one.rglob(f"{PART}*"))]:
        with contextlib.suppress(OSError):
            part.unlink()

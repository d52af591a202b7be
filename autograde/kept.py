"""Results of executions, kept by content in ``COURSE/executed/LEARNER/LESSON.json`` together with what they belong to.

What was executed, whose it was, the bounds, the library and this Python together make the content: as long as they
are the same, nothing is executed twice.
"""

from __future__ import annotations

import functools
import hashlib
import json
import sys
from dataclasses import asdict
from pathlib import Path

import halfcycle
from autograde.files import write_whole
from autograde.results import is_plain

__all__ = ["Kept", "content_of", "library_hash"]


class Kept:
    """The one result that is kept of ``learner`` for ``lesson`` under ``folder``; no folder keeps nothing."""

    def __init__(self, folder, learner, lesson):
        self._path = Path(folder) / learner / f"{lesson}.json" if folder else None

    def read(self, task, limits):
        """Return the result of exactly this ``task`` within these ``limits``, or None."""
        try:
            found = json.loads(self._path.read_text(encoding="utf-8")) if self._path else None
        except (OSError, ValueError):  # not there, or not whole: it is executed again
            return None
        if not isinstance(found, dict) or found.get("content") != content_of(task, limits):
            return None
        return found["result"] if is_plain(found.get("result")) else None

    def write(self, task, limits, result):
        """Keep ``result``, all at once and in place of any older one."""
        if self._path:
            write_whole(self._path, json.dumps({"content": content_of(task, limits), "result": result}))


def content_of(task, limits):
    """Return the hash of all that an execution depends on."""
    told = [task, asdict(limits), library_hash(), sys.version]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()


@functools.cache
def library_hash():
    """Return the hash of the library as it is, not as its version number says: while it is being written, that stays the same."""
    digest = hashlib.sha256()
    for path in sorted(Path(halfcycle.__file__).parent.rglob("*.py")):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()

"""What a grading did, one JSON object a line, in ``COURSE/grading.jsonl``: for programs, and for whoever asks later.

Every line has ``when`` (UTC) and ``event``: ``begin`` (submissions, workers), ``executing`` and ``executed`` (learner,
lesson; seconds, stopped), ``outcome`` (learner, lesson, status, points, possible, person), ``stray`` (said), ``end``
(how many graded, unchanged, not graded, for a person), and ``remarked`` (learner, lesson, before, after, items) for a
total that marking again has moved.
"""

from __future__ import annotations

import contextlib
import json
import os
from datetime import UTC, datetime
from pathlib import Path

from autograde.trouble import Trouble

__all__ = ["NAME", "Journal", "told"]

NAME = "grading.jsonl"


class Journal:
    """Open for one grading; a line is written in one piece, so that no reader ever sees half of one."""

    def __init__(self, course, told=None):
        try:
            self._file = os.open(course / NAME, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        except OSError as error:
            raise Trouble(f"{course / NAME} cannot be written; make it writable.") from error
        self._told = told or (lambda **_: None)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.close(self._file)

    def tell(self, event, **facts):
        """Write one line, and tell whoever shows progress the same."""
        when = datetime.now(UTC).isoformat(timespec="milliseconds")
        line = json.dumps({"when": when, "event": event, **facts}, ensure_ascii=False) + "\n"
        os.write(self._file, line.encode("utf-8", "replace"))
        self._told(event=event, **facts)


def told(course, event) -> list[dict]:
    """Return every line about ``event`` in the journal of ``course``, oldest first; a damaged line is passed over."""
    found, path = [], Path(course) / NAME
    for line in path.read_text(encoding="utf-8").splitlines() if path.is_file() else []:
        with contextlib.suppress(ValueError):
            found.append(json.loads(line))
    return [one for one in found if isinstance(one, dict) and one.get("event") == event]

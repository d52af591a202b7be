"""Has this very submission been graded already, against this release and these keys? Its stamp says so."""

from __future__ import annotations

import hashlib
import importlib.util
from pathlib import Path

from autograde import records
from halfcycle.variants import lesson_number

__all__ = ["forget", "is_current", "keep", "key_stamp", "stamp"]


def stamp(course, submission, room="autograde"):
    """Return what is graded, as hashes: the submission with its time, the released lesson, the keys and traps."""
    released = Path(course) / "release" / submission.lesson / f"{submission.lesson}.ipynb"
    return {
        "submission": _hash(submission.notebook, submission.folder / "timestamp.txt"),
        "lesson": _hash(released),
        "key": key_stamp(submission.lesson, room),
    }


def key_stamp(lesson, room="autograde"):
    """Return the hash of the keys and traps of ``lesson``."""
    number = lesson_number(lesson)
    return _hash(*(_origin(f"{room}.{part}.lesson_{number}") for part in ("keys", "traps")))


def is_current(course, submission, fresh):
    """Return whether the kept marks have the stamp ``fresh`` and the graded notebook is still there."""
    graded = Path(course) / "autograded" / submission.learner / submission.lesson / submission.notebook.name
    kept = records.read(records.marks_path(course, submission.learner, submission.lesson))
    return bool(kept) and kept.get("stamp") == fresh and graded.is_file()


def keep(course, submission, fresh):
    """Put the stamp ``fresh`` on the marks: the last thing done for a submission."""
    path = records.marks_path(course, submission.learner, submission.lesson)
    records.write(path, {**records.read(path), "stamp": fresh})


def forget(course, submission):
    """Take the stamp away: the first thing done, so that a grading that is stopped is done again."""
    path = records.marks_path(course, submission.learner, submission.lesson)
    if kept := records.read(path):
        records.write(path, {**kept, "stamp": None})


def _hash(*paths):
    digest = hashlib.sha256()
    for path in paths:
        data = path.read_bytes() if path is not None and path.is_file() else b""
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


def _origin(name):
    try:
        spec = importlib.util.find_spec(name)
    except ModuleNotFoundError:
        return None
    return Path(spec.origin) if spec and spec.origin else None

"""Which submissions are there, and which are not what they should be: one sentence for each that needs a person."""

from __future__ import annotations

import difflib
import os
import warnings
from dataclasses import dataclass
from pathlib import Path

from autograde.trouble import Trouble, reason
from autograde.whose import notebook

__all__ = ["Submission", "beside", "look_inside", "submissions"]

_LARGEST_NOTEBOOK = 20 * 2**20


@dataclass(frozen=True)
class Submission:
    """One learner's folder for one lesson under ``submitted/``."""

    learner: str
    lesson: str
    folder: Path

    @property
    def notebook(self) -> Path:
        """The file that is graded."""
        return self.folder / f"{self.lesson}.ipynb"


def submissions(course, known, lesson=None, learner=None):
    """Return ``(submissions, sentences)`` of ``course`` for the learners ``known``; a sentence for everything that is no submission.

    Links are never followed. ``lesson`` and ``learner`` choose; an unknown lesson is a `Trouble`.
    """
    lessons = [
        path.parent.name for path in sorted((course / "release").glob("*/*.ipynb")) if path.stem == path.parent.name
    ]
    if not lessons:
        raise Trouble(f"Nothing has been released from {course} yet; run: autograde release {course}")
    if lesson is not None and lesson not in lessons:
        raise Trouble(
            f"There is no released lesson {lesson} in {course}{_guess(lesson, lessons)}; there are: {', '.join(lessons)}."
        )
    found, strays = [], []
    for place in _folders(course / "submitted", strays):
        if place.name not in known:
            strays.append(
                f"{place} belongs to nobody on the roster{_guess(place.name, known)}; rename it or enrol that learner."
            )
        elif learner in (None, place.name):
            found += _of_learner(place, lessons, lesson, strays)
    return found, strays


def look_inside(submission):
    """Return the notebook in the submission; one sentence when it cannot be graded as it lies there."""
    for place, folders, files in os.walk(submission.folder):
        for name in (*folders, *files):
            _refuse_link(Path(place, name))
    path = submission.notebook
    if path.is_dir():
        raise Trouble(f"{path} is a folder where the notebook belongs; ask for the notebook itself.")
    if not path.is_file():
        raise Trouble(_missing(submission))
    if path.stat().st_size > _LARGEST_NOTEBOOK:
        raise Trouble(f"{path} is larger than {_LARGEST_NOTEBOOK // 2**20} MB; ask for it with its outputs cleared.")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error
    if not data.strip():
        raise Trouble(f"{path} is empty; ask for it to be handed in again.")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about ids, which are put right later
        found = notebook(data, path)
    _check_time(submission.folder / "timestamp.txt")
    return found


def beside(submission):
    """Return one sentence when there are other notebooks beside the one that is graded, else ""."""
    others = sorted(path.name for path in submission.folder.glob("*.ipynb") if path != submission.notebook)
    if not others:
        return ""
    return f"{submission.folder} holds {', '.join(others)} beside it; only {submission.notebook.name} was graded."


def _folders(place, strays):
    """The plain folders directly under ``place``; a sentence for everything else that is no hidden file."""
    found = []
    for path in sorted(place.iterdir()) if place.is_dir() else []:
        if path.is_symlink():
            strays.append(f"{path} is a link, and links are not followed; ask for the files themselves.")
        elif path.is_dir():
            found.append(path)
        elif not path.name.startswith("."):
            strays.append(f"{path} lies where only folders of learners and lessons belong; collect it or delete it.")
    return found


def _of_learner(place, lessons, lesson, strays):
    found = []
    for folder in _folders(place, strays):
        if folder.name in lessons and lesson in (None, folder.name):
            found.append(Submission(place.name, folder.name, folder))
        elif folder.name not in lessons:
            strays.append(
                f"{folder} is no released lesson{_guess(folder.name, lessons)}; rename it or release that lesson."
            )
    return found


def _missing(submission):
    others = sorted(path.name for path in submission.folder.glob("*.ipynb"))
    if others:
        return f"{submission.folder} holds {', '.join(others)} but no {submission.notebook.name}; collect it again or rename it."
    return f"{submission.folder} holds no notebook; ask for {submission.notebook.name}."


def _check_time(path):
    from nbgrader.utils import parse_utc

    try:
        if path.is_file() and (text := path.read_text(encoding="utf-8").strip()):
            parse_utc(text)
    except (OSError, ValueError, OverflowError) as error:
        raise Trouble(f"{path} does not hold a time; collect the notebook again.") from error


def _refuse_link(path):
    if path.is_symlink():
        raise Trouble(f"{path} is a link, and links are not followed; ask for the file itself.")


def _guess(name, names):
    close = difflib.get_close_matches(name, list(names), n=1)
    return f" (did you mean {close[0]}?)" if close else ""

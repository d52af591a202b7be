"""Lessons out, hand-ins in, feedback back, through the folders of nbgrader's exchange.

A hand-in's folder belongs to the learner who may change it at any moment. So nothing is followed and nothing there is
believed: each file is opened once, must be an ordinary file of the folder's owner, and is as old as the system says.
"""

from __future__ import annotations

import hashlib
import logging
import os
import pwd
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from nbgrader.coursedir import CourseDirectory
from nbgrader.exchange import ExchangeError
from nbgrader.exchange.default import ExchangeReleaseAssignment
from nbgrader.utils import notebook_hash

from autograde import course as courses
from autograde.collect import history
from autograde.files import write_whole
from autograde.inbox import LARGEST_BYTES, Found, parse_time
from autograde.trouble import Trouble, reason

__all__ = ["HandedIn", "hand_back", "hand_out", "handed_in", "waiting"]

_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW
_FILE = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK


@dataclass(frozen=True)
class HandedIn:
    """One notebook in the exchange: whose it is by the owner of its folder, what it holds, and the ``secret`` that names its feedback."""

    learner: str
    found: Found
    secret: str = ""


def hand_out(course: Path) -> list[str]:
    """Put every released lesson into the exchange, where learners fetch it; return their names."""
    lessons = sorted(path.name for path in (course / "release").glob("*") if (path / f"{path.name}.ipynb").is_file())
    if not lessons:
        raise Trouble(f"Nothing has been released from {course} yet; run: autograde release {course}")
    _place(course, "outbound")
    for lesson in lessons:
        config = courses.config(course)
        config.CourseDirectory.assignment_id = lesson
        config.ExchangeReleaseAssignment.force = True
        step = ExchangeReleaseAssignment(coursedir=CourseDirectory(config=config), config=config)
        step.log = logging.getLogger("autograde.exchange")
        try:
            step.start()
        except (ExchangeError, OSError) as error:
            raise Trouble(f"{lesson} could not be put into the exchange ({error}); look at its permissions.") from error
    return lessons


def waiting(course: Path) -> Iterator[Found]:
    """Every notebook handed in through the exchange, or a sentence why it is not taken."""
    return (each.found for each in handed_in(course))


def handed_in(course: Path) -> Iterator[HandedIn]:
    """Every hand-in in the exchange of ``course``, in order of name."""
    inbound = _place(course, "inbound")
    try:
        names = sorted(os.listdir(inbound))
    except OSError as error:
        raise Trouble(f"{inbound} cannot be read ({reason(error)}); only instructors may.") from error
    for name in names:
        try:
            yield from _folder(inbound, name)
        except (OSError, Trouble) as error:
            why = str(error) if isinstance(error, Trouble) else f"{name} cannot be read ({reason(error)}) and was left"
            yield HandedIn("", Found(PurePosixPath(name), trouble=f"{why}; ask for it to be handed in again."))


def hand_back(course: Path) -> list[str]:
    """Put the feedback page of every graded hand-in where only the one who handed it in can find it; say for whom."""
    place, done = _place(course, "feedback"), []
    for each in handed_in(course):
        lesson = each.found.place.stem
        page = course / "feedback" / each.learner / lesson / f"{lesson}.html"
        if each.secret and page.is_file() and _digest(each.found.data) == _graded(course, each.learner, lesson):
            name = notebook_hash(secret=each.secret, notebook_id=lesson)
            write_whole(place / f"{name}.html", page.read_bytes())
            done.append(f"{each.learner}, {lesson}: handed back")
    return done


def _place(course: Path, part: str) -> Path:
    found = courses.settings(course)
    if not found.exchange:
        raise Trouble(f'{course / "course.json"} names no exchange; add a line such as "exchange": "/srv/exchange".')
    place = Path(found.exchange, found.course, part)
    if not place.is_dir():
        raise Trouble(f"There is no folder {place}; the hub makes it when it starts.")
    return place


def _folder(inbound: Path, name: str) -> Iterator[HandedIn]:
    said = name.rsplit("+", 3)[0]
    folder = os.open(inbound / name, _FOLDER)
    try:
        owner = os.fstat(folder).st_uid
        learner = _name(owner)
        if said != learner:
            raise Trouble(f"{name} says it is of {said}, but {learner} put it there, and it was not taken")
        secret = _read(folder, "submission_secret.txt", owner)[0].decode(errors="replace")
        for file in sorted(each for each in os.listdir(folder) if each.endswith(".ipynb")):
            data, when = _read(folder, file, owner)
            yield HandedIn(learner, Found(PurePosixPath(learner, name, file), when, data), secret)
    finally:
        os.close(folder)


def _read(folder: int, name: str, owner: int) -> tuple[bytes, datetime]:
    """The content of the file ``name`` and when it was last written or put there, which its owner cannot set."""
    with open(os.open(name, _FILE, dir_fd=folder), "rb") as file:
        facts = os.fstat(file.fileno())
        if not stat.S_ISREG(facts.st_mode) or facts.st_uid != owner or facts.st_nlink != 1:
            raise Trouble(f"{name} of {_name(owner)} is not a file of its own and was not taken")
        if facts.st_size > LARGEST_BYTES:
            raise Trouble(f"{name} of {_name(owner)} is over {LARGEST_BYTES // 1_000_000} MB and was not taken")
        return file.read(LARGEST_BYTES + 1), datetime.fromtimestamp(facts.st_ctime, UTC)


def _name(owner: int) -> str:
    try:
        return pwd.getpwuid(owner).pw_name
    except KeyError:
        return f"user {owner}"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:12]


def _graded(course: Path, learner: str, lesson: str) -> str:
    """The digest of the hand-in that was graded: the kept one whose time stands beside the graded notebook."""
    try:
        when = parse_time((course / "autograded" / learner / lesson / "timestamp.txt").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return ""
    return next((each.digest for each in history(course, learner, lesson) if each.when == when), "")

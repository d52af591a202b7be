"""The roster: who is on the course, read from whatever list the office has."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from autograde import office_list, oneroster_list
from autograde.files import sweep_parts, write_whole
from autograde.trouble import Trouble

__all__ = ["Learner", "enrol", "learners", "read", "write"]

_ID = re.compile(
    r"[^\W_]([\w.@-]{0,62}[\w@-])?"
)  # as `halfcycle study` takes it, and no dot at the end: Windows drops it
_RESERVED = re.compile(
    r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE
)  # no folder of Windows can have these names
_SAID = {"first": "first name", "last": "last name", "email": "e-mail", "group": "group"}


@dataclass(frozen=True)
class Learner:
    """One row of the roster; ``id`` is also the name of the learner's folders.

    >>> Learner("amara", "Amara", "Okafor").name
    'Amara Okafor'
    """

    id: str
    first: str = ""
    last: str = ""
    email: str = ""
    group: str = ""

    @property
    def name(self) -> str:
        """First and last name as far as known, else the id."""
        return f"{self.first} {self.last}".strip() or self.id


def _checked(where: str, line: int, learner: Learner, seen: dict[str, int]) -> Learner:
    if not learner.id:
        raise Trouble(
            f"Line {line} of {where} has no id; give {learner.name or 'that learner'} an id or delete the line."
        )
    if not _ID.fullmatch(learner.id) or _RESERVED.fullmatch(learner.id):
        raise Trouble(
            f"Line {line} of {where} has the id {learner.id!r}, which cannot name a folder; "
            "use letters, digits, dots, hyphens or underscores."
        )
    if first := seen.get(learner.id.casefold()):
        raise Trouble(
            f"Line {line} of {where} repeats the id {learner.id!r} of line {first}; give each learner one id."
        )
    seen[learner.id.casefold()] = line
    return learner


def _given(path: Path, id_column: str, only_class: str) -> office_list.Given:
    if oneroster_list.is_one(path):
        return oneroster_list.people(path, id_column, only_class)
    if only_class:
        raise Trouble(f"{path} is one list and has no classes; leave --class out.")
    return office_list.people(path, id_column)


def _people(given: office_list.Given) -> list[tuple[int, Learner]]:
    seen, found = {}, []
    for line, cells in given.people:
        learner = Learner(**{**cells, "id": unicodedata.normalize("NFC", cells["id"])})
        found.append((line, _checked(given.where, line, learner, seen)))
    if not found:
        raise Trouble(f"{_start(given.where)} names no learners; add one line for each.")
    return found


def _start(where: str) -> str:
    return f"The roster {where}" if not where.startswith("users.csv") else where


def read(path: Path, id_column: str = "", only_class: str = "") -> list[tuple[int, Learner]]:
    """The learners of a list with their line numbers, or one sentence about the first line that is wrong.

    ``path`` is a CSV file (see `office_list`), or a OneRoster folder or zip (see `oneroster_list`).
    """
    return _people(_given(path, id_column, only_class))


def learners(course: Path) -> dict[str, Learner]:
    """Everyone enrolled on ``course`` by id, in roster order; empty before the first ``enrol``."""
    roster = course / "roster.csv"
    if not roster.exists():
        return {}
    given = office_list.people(roster)
    return {learner.id: learner for _, learner in (_people(given) if given.people else ())}


def write(course: Path, everyone: Mapping[str, Learner]) -> None:
    """Write the roster of ``course``, all at once."""
    out = io.StringIO(newline="")
    table = csv.DictWriter(out, [field.name for field in fields(Learner)], lineterminator="\n")
    table.writeheader()
    table.writerows(asdict(learner) for learner in everyone.values())
    write_whole(course / "roster.csv", out.getvalue())


def _into_gradebook(gradebook, everyone: dict[str, Learner]) -> None:
    from nbgrader.api import Student

    known = {student.id: student for student in gradebook.students}
    for learner in everyone.values():
        student = known.get(learner.id) or Student(id=learner.id)
        student.first_name, student.last_name, student.email = learner.first, learner.last, learner.email
        gradebook.db.add(student)
    gradebook.db.commit()


def _filled(learner: Learner, old: Learner | None) -> Learner:
    """``learner`` with what an earlier list said where this one says nothing."""
    return Learner(**{key: value or getattr(old, key, "") for key, value in asdict(learner).items()})


def _changes(old: Learner, new: Learner) -> str:
    """What an updated line changes, in words; "" for nothing."""
    told = ((words, getattr(old, key), getattr(new, key)) for key, words in _SAID.items())
    return ", ".join(f"{words} {before or 'none'} → {after}" for words, before, after in told if before != after)


def _is_someone_else(old: Learner, new: Learner) -> bool:
    """Whether a list gives an id to a name that has no word in common with the name enrolled under it."""
    before, after = ({word.casefold() for word in f"{one.first} {one.last}".split()} for one in (old, new))
    return bool(before and after and not before & after)


def _looks_like(learner: Learner, everyone: Mapping[str, Learner]) -> str:
    """A note where somebody else on the roster has the same e-mail or the same whole name: nobody is ever merged."""
    for other in everyone.values():
        same_mail = learner.email and learner.email.casefold() == other.email.casefold()
        same_name = learner.first and learner.last and learner.name.casefold() == other.name.casefold()
        if other.id != learner.id and (same_mail or same_name):
            what = "e-mail" if same_mail else "name"
            return f"; {other.id} has the same {what}, and they stay two learners"
    return ""


def _merged(given: office_list.Given, old: dict[str, Learner], rename: bool) -> tuple[dict[str, Learner], list[str]]:
    everyone, lines, people = dict(old), list(given.notes), _people(given)
    same_letters = {name.casefold(): name for name in old}
    for line, learner in people:
        twin = same_letters.get(learner.id.casefold(), learner.id)
        if twin != learner.id:
            raise Trouble(
                f"Line {line} of {given.where} has the id {learner.id!r}, but {twin!r} is enrolled; use the same letters."
            )
        known = old.get(learner.id)
        learner = _filled(learner, known)
        if known and not rename and _is_someone_else(known, learner):
            raise Trouble(
                f"Line {line} of {given.where} gives the id {learner.id!r} to {learner.name}, but it is {known.name}'s; "
                "give a new id, or add --rename if they are one person."
            )
        everyone[learner.id] = learner
        changes = _changes(known, learner) if known else ""
        did = f"updated ({changes})" if changes else "already enrolled" if known else "enrolled"
        lines.append(f"line {line}: {learner.id} ({learner.name}) {did}{_looks_like(learner, everyone)}")
    missing = set(old) - {learner.id for _, learner in people}
    lines += [f"{name} is not in this list and stays enrolled" for name in old if name in missing]
    return everyone, lines


def enrol(course: Path, path: Path, gradebook, *, id_column="", only_class="", rename=False) -> list[str]:
    """Add the learners of ``path`` to the roster and to ``gradebook`` (an open nbgrader Gradebook); say what was done.

    Nothing is written until every line has been found good. An id that is enrolled under a wholly other name is refused
    unless ``rename``.
    """
    everyone, lines = _merged(_given(path, id_column, only_class), learners(course), rename)
    sweep_parts(course)
    _into_gradebook(gradebook, everyone)
    write(course, everyone)
    return lines

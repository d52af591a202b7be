"""The roster: who is on the course, read from whatever list the office has."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from autograde.files import write_whole
from autograde.trouble import Trouble, reason

__all__ = ["Learner", "enrol", "learners", "read"]

_HEADINGS = {
    "id": {"id", "learner", "learner id", "student", "student id", "number", "username", "user"},
    "first": {"first", "first name", "given name", "forename"},
    "last": {"last", "last name", "surname", "family name"},
    "email": {"email", "e mail", "mail", "email address"},
    "group": {"group", "class", "section", "crew", "cohort"},
}
_ID = re.compile(r"\w[\w.@-]{0,63}")


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


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise Trouble(f"There is no roster file {path}; check the name.") from None
    except OSError as error:
        raise Trouble(
            f"The roster {path} cannot be read ({reason(error)}); check that it is a file you may open."
        ) from error
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _columns(path: Path, heading: list[str]) -> dict[str, int]:
    plain = [re.sub(r"[\s_.-]+", " ", title).strip().casefold() for title in heading]
    found = {field: at for field, names in _HEADINGS.items() for at, title in enumerate(plain) if title in names}
    if "id" not in found:
        seen = ", ".join(filter(None, plain)) or "nothing"
        raise Trouble(f"The first line of {path} names no id column (it has: {seen}); call one column “id”.")
    return found


def _checked(path: Path, line: int, learner: Learner, seen: dict[str, int]) -> Learner:
    if not learner.id:
        raise Trouble(
            f"Line {line} of {path} has no id; give {learner.name or 'that learner'} an id or delete the line."
        )
    if not _ID.fullmatch(learner.id):
        raise Trouble(
            f"Line {line} of {path} has the id {learner.id!r}, which cannot name a folder; "
            "use letters, digits, dots, hyphens or underscores."
        )
    if first := seen.get(learner.id.casefold()):
        raise Trouble(f"Line {line} of {path} repeats the id {learner.id!r} of line {first}; give each learner one id.")
    seen[learner.id.casefold()] = line
    return learner


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    text = _text(path)
    first = next(filter(str.strip, text.splitlines()), "")
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    try:
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except csv.Error as error:
        raise Trouble(
            f"Line {reader.line_num} of {path} is not a line of a CSV file ({error}); save it again as CSV."
        ) from error
    return [(line, row) for line, row in rows if any(row)]


def read(path: Path) -> list[tuple[int, Learner]]:
    """The learners of a CSV file with their line numbers, or one sentence about the first line that is wrong.

    Columns may stand in any order, under common headings, separated by commas, semicolons or tabs.
    """
    rows = _rows(path)
    if not rows:
        raise Trouble(
            f"The roster {path} is empty; its first line names the columns, for example: id,first,last,email."
        )
    columns, seen, found = _columns(path, rows[0][1]), {}, []
    for line, row in rows[1:]:
        if len(row) > len(rows[0][1]) and any(row[len(rows[0][1]) :]):
            raise Trouble(
                f"Line {line} of {path} has more cells than the first line; put quotes round a name with a comma."
            )
        cells = {field: row[at] if at < len(row) else "" for field, at in columns.items()}
        cells["id"] = unicodedata.normalize("NFC", cells["id"])
        found.append((line, _checked(path, line, Learner(**cells), seen)))
    if not found:
        raise Trouble(f"The roster {path} has a heading but no learners; add one line for each.")
    return found


def learners(course: Path) -> dict[str, Learner]:
    """Everyone enrolled on ``course`` by id, in roster order; empty before the first ``enrol``."""
    roster = course / "roster.csv"
    return {learner.id: learner for _, learner in read(roster)} if roster.exists() else {}


def _write(course: Path, everyone: dict[str, Learner]) -> None:
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


def _merged(path: Path, old: dict[str, Learner]) -> tuple[dict[str, Learner], list[str]]:
    everyone, lines, given = dict(old), [], read(path)
    same_letters = {name.casefold(): name for name in old}
    for line, learner in given:
        twin = same_letters.get(learner.id.casefold(), learner.id)
        if twin != learner.id:
            raise Trouble(
                f"Line {line} of {path} has the id {learner.id!r}, but {twin!r} is enrolled; use the same letters."
            )
        learner = _filled(learner, old.get(learner.id))
        did = "already enrolled" if old.get(learner.id) == learner else "updated" if learner.id in old else "enrolled"
        everyone[learner.id] = learner
        lines.append(f"line {line}: {learner.id} ({learner.name}) {did}")
    missing = set(old) - {learner.id for _, learner in given}
    lines += [f"{name} is not in this list and stays enrolled" for name in old if name in missing]
    return everyone, lines


def enrol(course: Path, path: Path, gradebook) -> list[str]:
    """Add the learners of ``path`` to the roster and to ``gradebook`` (an open nbgrader Gradebook); say what was done.

    Nothing is written until every line has been found good.
    """
    everyone, lines = _merged(path, learners(course))
    _into_gradebook(gradebook, everyone)
    _write(course, everyone)
    return lines

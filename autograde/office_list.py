"""A list as an office has it: a CSV file from any program, in any of the usual encodings, under any of the usual headings."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from pathlib import Path

from autograde.trouble import Trouble, reason

__all__ = ["FIELDS", "Given", "data_of", "people", "rows"]

# The usual headings of each column, the likeliest first; letters and digits alone count.
_HEADINGS = {
    "id": (
        "id", "learnerid", "learner", "studentid", "student", "sourcedid", "userid", "username", "user", "loginid",
        "login", "number", "studentnumber", "identifier",
    ),
    "first": ("first", "firstname", "givenname", "given", "forename"),
    "last": ("last", "lastname", "surname", "familyname", "family"),
    "email": ("email", "emailaddress", "mail"),
    "group": ("group", "groupname", "cohort", "class", "classname", "section", "crew"),
    "whole": ("name", "fullname"),
}  # fmt: skip
FIELDS = ("id", "first", "last", "email", "group")
_SEPARATOR_LINE = re.compile(r"sep=.\s*", re.IGNORECASE)


@dataclass
class Given:
    """What a list says: ``people`` as ``(line, {field: text})``, notes about the rest, and where it stands."""

    where: str
    people: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def data_of(path: Path) -> bytes:
    """The bytes of a list, or one sentence."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise Trouble(f"There is no roster file {path}; check the name.") from None
    except OSError as error:
        raise Trouble(
            f"The roster {path} cannot be read ({reason(error)}); check that it is a file you may open."
        ) from error


def rows(data: bytes, where: str) -> list[tuple[int, list[str]]]:
    """The lines of a CSV file that hold something, numbered from 1; separated by commas, semicolons or tabs.

    >>> rows(b"\\xef\\xbb\\xbfid;first\\n\\namara; Amara \\n", "list.csv")
    [(1, ['id', 'first']), (3, ['amara', 'Amara'])]
    """
    lines = _text(data, where).splitlines(keepends=True)
    if lines and _SEPARATOR_LINE.fullmatch(lines[0]):
        lines[0] = "\n"
    first = next(filter(str.strip, lines), "")
    text = io.StringIO("".join(lines), newline="")
    reader = csv.reader(text, delimiter=max(",;\t", key=first.count), skipinitialspace=True)
    try:
        found = [(reader.line_num, [cell.strip() for cell in row]) for row in reader]
    except csv.Error as error:
        raise Trouble(
            f"Line {reader.line_num} of {where} is not a line of a CSV file ({error}); save it again as CSV."
        ) from error
    return [(line, row) for line, row in found if any(row)]


def _text(data: bytes, where: str) -> str:
    """Decoded; a name is never changed by guessing at letters that cannot be read."""
    for encoding in _encodings(data):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Trouble(f"{where} holds letters that cannot be read; save it again as CSV (UTF-8).")


def _encodings(data: bytes) -> tuple[str, ...]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return ("utf-16",)
    if data[1:400:2].count(0) > data[:400].count(0) // 2 > 0:
        return ("utf-16-le",)
    if data[:400:2].count(0) > 0:
        return ("utf-16-be",)
    return ("utf-8-sig", "cp1252")


def people(path: Path, id_column: str = "") -> Given:
    """Everyone in the CSV file ``path``; ``id_column`` names the column of the ids where the usual headings would not."""
    table = rows(data_of(path), str(path))
    if not table:
        raise Trouble(
            f"The roster {path} is empty; its first line names the columns, for example: id,first,last,email."
        )
    columns, notes = _columns(path, table[0][1], id_column)
    found = Given(str(path), notes=notes)
    for line, row in table[1:]:
        if any(row[len(table[0][1]) :]):
            raise Trouble(
                f"Line {line} of {path} has more cells than the first line; put quotes round a name with a comma."
            )
        found.people.append((line, _cells(columns, row)))
    return found


def _cells(columns: dict[str, int], row: list[str]) -> dict[str, str]:
    told = {name: row[at] if at < len(row) else "" for name, at in columns.items()}
    whole = told.pop("whole", "")
    if whole and not (told.get("first") or told.get("last")):
        last, comma, first = whole.partition(",")
        told |= {"first": first.strip(), "last": last.strip()} if comma else {"first": whole}
    return {name: told.get(name, "") for name in FIELDS}


def _columns(path: Path, heading: list[str], id_column: str) -> tuple[dict[str, int], list[str]]:
    plain = [_plain(title) for title in heading]
    known = {**_HEADINGS, "id": (_plain(id_column),)} if id_column else _HEADINGS
    found, notes = {}, []
    for name, titles in known.items():
        places = sorted((titles.index(title), at) for at, title in enumerate(plain) if title in titles)
        if len(places) > 1 and places[0][0] == places[1][0]:
            raise Trouble(f"The first line of {path} names “{heading[places[0][1]]}” twice; rename one of the two.")
        if places:
            found[name] = places[0][1]
            notes += [f"the column “{heading[at]}” is passed over; “{heading[places[0][1]]}” is the {name}" for _, at in places[1:]]  # fmt: skip
    if "id" not in found:
        seen = ", ".join(filter(None, (title.casefold() for title in heading))) or "nothing"
        raise Trouble(
            f"The first line of {path} names no id column (it has: {seen}); call one column “id”, or name it with --id."
        )
    return found, notes


def _plain(title: str) -> str:
    return re.sub(r"[\W_]+", "", title).casefold()

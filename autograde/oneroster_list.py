"""A class as a register exports it: OneRoster 1.2 CSV (1EdTech, an open standard), as a folder or a zip of its files.

Read are ``users.csv`` and, where they are there, ``roles.csv`` (1.2; in 1.1 the role stands in users.csv),
``enrollments.csv`` and ``classes.csv``. Taken are active students alone. Columns are found by name, whatever their order.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path, PurePosixPath

from autograde.office_list import Given, data_of, rows
from autograde.trouble import Trouble, reason

__all__ = ["is_one", "people"]

_FILES = ("users.csv", "roles.csv", "enrollments.csv", "classes.csv")
_LARGEST_BYTES = 50_000_000
_ID = "sourcedid"


def is_one(path: Path) -> bool:
    """Whether ``path`` is to be read as OneRoster rather than as one list."""
    return path.is_dir() or path.suffix.casefold() == ".zip"


def people(path: Path, id_column: str = "", only_class: str = "", today: date | None = None) -> Given:
    """Every active student in ``path``; ``only_class`` (title, code or sourcedId) takes the students of that class alone.

    The group is the title of the class; ``id_column`` (default sourcedId) is the column of users.csv that is the id.
    """
    tables = {name: _table(data, f"{name} in {path}") for name, data in _files(path).items()}
    if "users.csv" not in tables:
        raise Trouble(f"There is no users.csv in {path}; give a CSV list, or the folder or zip of a OneRoster export.")
    today, users = today or date.today(), tables["users.csv"]
    id_name = (id_column or _ID).casefold()
    for name in (_ID, "givenname", "familyname", id_name):
        if users and name not in users[0][1]:
            raise Trouble(f"users.csv in {path} has no column {name!r}; export it again, or name the ids with --id.")
    classes = _classes(tables, today, only_class, path)
    found = Given(f"users.csv in {path}")
    for line, user in users:
        if why := _why_not(user, tables, today, classes if only_class else None):
            found.notes.append(f"line {line}: {user[id_name]} {why}, passed over")
            continue
        titles = classes.get(user[_ID], [])
        if len(titles) > 1:
            found.notes.append(
                f"line {line}: {user[id_name]} is in {len(titles)} classes ({', '.join(titles)}) and gets no group; choose with --class"
            )
        told = {"id": user[id_name], "first": user["givenname"], "last": user["familyname"]}
        group = titles[0] if len(titles) == 1 else ""
        found.people.append((line, {**told, "email": user.get("email", ""), "group": group}))
    return found


def _files(path: Path) -> dict[str, bytes]:
    if path.is_dir():
        there = {each.name.casefold(): each for each in path.iterdir() if each.is_file()}
        return {name: data_of(there[name]) for name in _FILES if name in there}
    if not path.exists():
        data_of(path)
    try:
        with zipfile.ZipFile(path) as box:
            members = {_place(each.filename): each for each in box.infolist() if each.file_size <= _LARGEST_BYTES}
            folder = min((place.parent for place in members if place.name == "users.csv"), default=None)
            return {name: box.read(members[folder / name]) for name in _FILES if folder and folder / name in members}
    except (zipfile.BadZipFile, NotImplementedError, EOFError, RuntimeError, ValueError) as error:
        raise Trouble(f"{path} is not a readable zip file; export it again.") from error
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error


def _place(name: str) -> PurePosixPath:
    return PurePosixPath("/", name.replace("\\", "/").casefold())


def _table(data: bytes, where: str) -> list[tuple[int, dict[str, str]]]:
    """The lines as ``{column in small letters: text}``."""
    table = rows(data, where)
    heading = [title.casefold() for title in table[0][1]] if table else []
    return [(line, {name: row[at] if at < len(row) else "" for at, name in enumerate(heading)}) for line, row in table[1:]]  # fmt: skip


def _active(row: Mapping[str, str], today: date) -> bool:
    """Whether a line counts today: not to be deleted (a bulk file leaves the status empty), begun and not ended."""
    begin, end = row.get("begindate", "")[:10], row.get("enddate", "")[:10]
    return row.get("status", "").casefold() in ("", "active") and begin <= today.isoformat() and (not end or end >= today.isoformat())  # fmt: skip


def _is_student(row: Mapping[str, str]) -> bool:
    return row.get("role", "").casefold() == "student"


def _why_not(user, tables, today: date, classes) -> str:
    """Why a user is not taken; "" for an active student."""
    if not _active(user, today):
        return "is not active"
    if user.get("enableduser", "").casefold() in ("false", "0", "no"):
        return "is not enabled"
    if not _studies(user, tables, today):
        return "is no active student"
    return "is not in that class" if classes is not None and user[_ID] not in classes else ""


def _studies(user, tables, today: date) -> bool:
    if "role" in user:
        return _is_student(user)
    for name in ("roles.csv", "enrollments.csv"):
        if name in tables:
            own = [row for _, row in tables[name] if row.get("usersourcedid") == user[_ID]]
            return any(_is_student(row) and _active(row, today) for row in own)
    return True


def _classes(tables, today: date, only: str, path: Path) -> dict[str, list[str]]:
    """``{sourcedId of a user: [titles of the classes in which it is an active student]}``."""
    known = {row[_ID]: row for _, row in tables.get("classes.csv", []) if _active(row, today) and _ID in row}
    if only:
        wanted = [one for one, row in known.items() if only in (one, row.get("title"), row.get("classcode"))]
        if len(wanted) != 1:
            titles = ", ".join(row.get("title") or one for one, row in known.items()) or "none"
            raise Trouble(f"{len(wanted) or 'No'} classes of {path} are called {only!r}; there are: {titles}.")
        known = {wanted[0]: known[wanted[0]]}
    found: dict[str, list[str]] = {}
    for _, row in tables.get("enrollments.csv", []):
        own = known.get(row.get("classsourcedid", ""))
        if own is not None and _is_student(row) and _active(row, today):
            title, titles = own.get("title") or own[_ID], found.setdefault(row.get("usersourcedid", ""), [])
            titles += [] if title in titles else [title]
    return found

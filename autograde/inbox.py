"""What lies in an inbox: notebooks in a folder or a zip, read as plain bytes and never unpacked or followed."""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from autograde.trouble import Trouble, reason

__all__ = ["LARGEST_BYTES", "Found", "look"]

LARGEST_BYTES = 20_000_000
_MOST_FILES = 20_000
_NOT_WORK = {"__MACOSX", ".ipynb_checkpoints", ".DS_Store", "Thumbs.db"}


@dataclass(frozen=True)
class Found:
    """One notebook of the inbox, or a sentence saying why it could not be taken (``trouble``) or is passed over (``note``).

    ``place`` is the path inside the inbox; ``when`` the time it carries (UTC); ``data`` is empty where there is a sentence.
    """

    place: PurePosixPath
    when: datetime | None = None
    data: bytes = b""
    trouble: str = ""
    note: str = ""


def look(inbox: Path) -> Iterator[Found]:
    """Every notebook under ``inbox`` (a folder, or a zip file), in order of name; links are left alone."""
    if not inbox.exists():
        raise Trouble(f"There is no inbox {inbox}; give the folder or zip file the hand-ins are in.")
    if inbox.is_dir():
        yield from _folder(inbox, PurePosixPath())
    elif inbox.suffix.casefold() == ".zip":
        yield from _zip(_bytes(inbox), PurePosixPath(inbox.name), PurePosixPath())
    else:
        raise Trouble(f"{inbox} is neither a folder nor a zip file; give the folder or zip file the hand-ins are in.")


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        raise Trouble(f"The folder {folder} cannot be read ({reason(error)}); make it readable.") from error


def _folder(folder: Path, place: PurePosixPath) -> Iterator[Found]:
    try:
        entries = _entries(folder)
    except Trouble as trouble:
        if not place.parts:
            raise
        yield Found(place, trouble=str(trouble))
        return
    for path in entries:
        here = place / path.name
        if path.name in _NOT_WORK:
            continue
        if path.is_symlink():
            yield Found(here, trouble=f"{here} is a link and was left alone; put the notebook itself there.")
        elif path.is_dir():
            yield from _folder(path, here)
        elif path.is_file():
            yield from _file(path, here)


def _file(path: Path, place: PurePosixPath) -> Iterator[Found]:
    kind = path.suffix.casefold()
    if kind not in (".ipynb", ".zip"):
        if path.name != "timestamp.txt":
            yield Found(place, note=f"{place}: not a notebook, passed over")
        return
    try:
        facts = path.stat()
        if facts.st_size > LARGEST_BYTES * (10 if kind == ".zip" else 1):
            yield Found(place, trouble=_too_large(place))
            return
        data = path.read_bytes()
    except OSError as error:
        yield Found(place, trouble=f"{place} cannot be read ({reason(error)}); make it readable and collect again.")
        return
    if kind == ".zip":
        yield from _zip(data, place, place.with_suffix(""))
    else:
        yield Found(place, _stamp(path.parent) or datetime.fromtimestamp(facts.st_mtime, UTC), data)


def _too_large(place: PurePosixPath) -> str:
    return f"{place} is over {LARGEST_BYTES // 1_000_000} MB; ask for it again with its outputs cleared."


def _stamp(folder: Path) -> datetime | None:
    path = folder / "timestamp.txt"
    if path.is_symlink() or not path.is_file():
        return None
    try:
        return parse_time(path.read_bytes()[:100].decode())
    except (OSError, ValueError):
        return None


def parse_time(text: str) -> datetime:
    """A time as nbgrader writes it in timestamp.txt; UTC where it names no zone.

    >>> parse_time("2026-03-02 18:00:00 UTC").isoformat()
    '2026-03-02T18:00:00+00:00'
    """
    plain = text.strip().removesuffix("UTC").strip()
    when = datetime.fromisoformat(plain)
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)


def _zip(data: bytes, shown: PurePosixPath, place: PurePosixPath) -> Iterator[Found]:
    """The notebooks of a zip, read in memory: nothing is unpacked, so no name in it can reach outside."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            members = [member for member in box.infolist() if not member.is_dir()]
            if len(members) > _MOST_FILES:
                yield Found(shown, trouble=f"{shown} holds over {_MOST_FILES} files; ask for the notebooks alone.")
                return
            stamps = _zip_stamps(box, members)
            for member in sorted(members, key=lambda each: each.filename):
                yield from _member(box, member, shown, place, stamps)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError):
        yield Found(shown, trouble=f"{shown} is not a readable zip file; ask for it again.")


def _zip_stamps(box: zipfile.ZipFile, members: list[zipfile.ZipInfo]) -> dict[PurePosixPath, datetime]:
    stamps = {}
    for member in members:
        path = PurePosixPath(member.filename)
        if path.name == "timestamp.txt" and member.file_size < 100 and not member.flag_bits & 1:
            try:
                stamps[path.parent] = parse_time(box.read(member).decode())
            except (ValueError, zipfile.BadZipFile):
                continue
    return stamps


def _member(
    box: zipfile.ZipFile, member: zipfile.ZipInfo, shown: PurePosixPath, place: PurePosixPath, stamps: dict
) -> Iterator[Found]:
    inside = PurePosixPath(member.filename.replace("\\", "/"))
    here = shown / str(inside).lstrip("/")
    if _NOT_WORK & set(inside.parts) or inside.name.startswith("._"):
        return
    if inside.is_absolute() or ".." in inside.parts or (inside.parts and ":" in inside.parts[0]):
        yield Found(
            here, trouble=f"{shown} holds a file named {member.filename!r}, which points outside; it was left alone."
        )
    elif stat.S_ISLNK(member.external_attr >> 16):
        yield Found(here, trouble=f"{here} is a link and was left alone; put the notebook itself there.")
    elif inside.suffix.casefold() == ".zip":
        yield Found(here, trouble=f"{here} is a zip inside a zip; unpack it and collect it by itself.")
    elif inside.suffix.casefold() == ".ipynb":
        yield _read_member(box, member, here, place / inside, stamps.get(inside.parent))


def _read_member(
    box: zipfile.ZipFile, member: zipfile.ZipInfo, here: PurePosixPath, place: PurePosixPath, stamp: datetime | None
) -> Found:
    if member.flag_bits & 1:
        return Found(here, trouble=f"{here} is locked with a password; ask for it without one.")
    try:
        with box.open(member) as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError, zlib.error):
        return Found(here, trouble=f"{here} is damaged inside its zip file; ask for it again.")
    if len(data) > LARGEST_BYTES:
        return Found(here, trouble=_too_large(here))
    return Found(place, stamp or _zip_time(member), data)


def _zip_time(member: zipfile.ZipInfo) -> datetime | None:
    try:
        return datetime(*member.date_time).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return None

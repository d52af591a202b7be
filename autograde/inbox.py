"""What lies in an inbox: notebooks in a folder or a zip (of zips), read as plain bytes and never unpacked or followed.

The time of a hand-in is, in this order: what stands in a ``timestamp.txt`` beside it; a time in the name of the file or
of a folder around it (``2026-03-02_18-05-00``; of this computer's zone unless a Z follows); the file's own time.
"""

from __future__ import annotations

import io
import re
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from autograde.trouble import Trouble, reason

__all__ = ["LARGEST_BYTES", "Found", "look", "named_time"]

LARGEST_BYTES = 20_000_000
_MOST_FILES = 20_000
_DEEPEST = 4
_TIME = re.compile(
    r"(?<!\d)(\d{4}-\d\d-\d\d|\d{8})[T_ -]{1,3}(\d\d)[-:.]?(\d\d)(?:[-:.]?(\d\d))?(Z?)(?![\d.]*\d)", re.IGNORECASE
)
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
        when = _stamp(path.parent) or named_time(place) or datetime.fromtimestamp(facts.st_mtime, UTC)
        yield Found(place, when, data)


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


def named_time(place: PurePosixPath) -> datetime | None:
    """The time that a file's name carries, or the nearest folder's around it; None where there is none.

    >>> named_time(PurePosixPath("amara_2026-03-02T18-05-00Z_work.ipynb")).isoformat()
    '2026-03-02T18:05:00+00:00'
    """
    for part in reversed(place.parts):
        for day, hour, minute, second, zone in _TIME.findall(part):
            try:
                when = datetime.fromisoformat(f"{day} {hour}:{minute}:{second or '00'}")
                return when.replace(tzinfo=UTC) if zone else when.astimezone(UTC)
            except (ValueError, OverflowError, OSError):
                continue
    return None


def _zip(data: bytes, shown: PurePosixPath, place: PurePosixPath, depth: int = 1) -> Iterator[Found]:
    """The notebooks of a zip, read in memory: nothing is unpacked, so no name in it can reach outside."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            members = [member for member in box.infolist() if not member.is_dir()]
            if len(members) > _MOST_FILES:
                yield Found(shown, trouble=f"{shown} holds over {_MOST_FILES} files; ask for the notebooks alone.")
                return
            stamps = _zip_stamps(box, members)
            for member in sorted(members, key=lambda each: each.filename):
                yield from _member(box, member, shown, place, stamps, depth)
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
    box: zipfile.ZipFile, member: zipfile.ZipInfo, shown: PurePosixPath, place: PurePosixPath, stamps: dict, depth: int
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
        yield from _zip_in_zip(box, member, here, place / inside.with_suffix(""), depth + 1)
    elif inside.suffix.casefold() == ".ipynb":
        yield _read_member(box, member, here, place / inside, stamps.get(inside.parent))
    elif inside.name != "timestamp.txt":
        yield Found(here, note=f"{here}: not a notebook, passed over")


def _zip_in_zip(box, member, here: PurePosixPath, place: PurePosixPath, depth: int) -> Iterator[Found]:
    if depth > _DEEPEST:
        yield Found(here, trouble=f"{here} is a zip in a zip {depth} deep; unpack it and collect it by itself.")
        return
    read = _read_member(box, member, here, place, None, 10 * LARGEST_BYTES)
    if read.trouble:
        yield read
    else:
        yield from _zip(read.data, here, place, depth)


def _read_member(
    box: zipfile.ZipFile,
    member: zipfile.ZipInfo,
    here: PurePosixPath,
    place: PurePosixPath,
    stamp: datetime | None,
    most: int = 0,
) -> Found:
    if member.flag_bits & 1:
        return Found(here, trouble=f"{here} is locked with a password; ask for it without one.")
    try:
        with box.open(member) as stream:
            data = stream.read((most or LARGEST_BYTES) + 1)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError, zlib.error):
        return Found(here, trouble=f"{here} is damaged inside its zip file; ask for it again.")
    if len(data) > (most or LARGEST_BYTES):
        return Found(here, trouble=_too_large(here))
    return Found(place, stamp or named_time(place) or _zip_time(member), data)


def _zip_time(member: zipfile.ZipInfo) -> datetime | None:
    try:
        return datetime(*member.date_time).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return None

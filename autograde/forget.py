"""Removing a person from a course: everywhere, said line by line, and safe to start again after a stop.

What is one person's alone (folders, files, lines, the gradebook's rows) is removed. What is made of everyone's (reports,
exports, the table of training) is removed whole and can be made again. The roster comes last, so that a stop leaves the
person known. What others wrote and still names the person is not touched but named.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from autograde import course as courses
from autograde import database, records, whose
from autograde.alone import alone
from autograde.files import write_whole
from autograde.lines_without import lines_without
from autograde.people import mentions
from autograde.roster import Learner, learners, write
from autograde.trouble import Trouble, reason

__all__ = ["Forgotten", "forget"]

_EVERYONES = ("reports", "exports", "records/training.csv")
_CLEAN = ("release", "packs")  # looked through before they were made; nobody's name is in them
_MADE = (
    *_CLEAN,
    "submitted",
    "autograded",
    "feedback",
    "history",
    "slips",
    "marks",
    "executed",
    "records",
    "certificates",
)
_BY_LINE = (".csv", ".jsonl", ".log", ".tsv", ".txt")
_LARGEST_BYTES = 200_000_000


@dataclass
class Forgotten:
    """What one `forget` removed, and what still names the person and is for someone to decide: a sentence each."""

    removed: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)


def forget(course: Path, learner: str, gradebook, *, write_it: bool = True) -> Forgotten:
    """Remove ``learner`` from ``course`` and from ``gradebook`` (open); without ``write_it`` only say what would go."""
    course = Path(course).resolve()
    people = learners(course)
    person, done = people.get(learner) or Learner(learner), Forgotten()
    with alone(course):
        steps = [*_files(course, person, people), *_lines(course, person), *_in_gradebook(course, person, gradebook)]
        if not steps and learner not in people:
            raise Trouble(
                f"There is nothing of {learner!r} in {course}; on the roster are: {', '.join(people) or 'none'}."
            )
        steps += [*_everyones(course, person), *_tidied(course, gradebook)]
        if learner in people:
            rest = {name: each for name, each in people.items() if name != learner}
            steps.append((f"roster: {person.name}", lambda: write(course, rest)))
        for said, do in steps:
            done.removed.append(said)
            if write_it:
                _do(said, do)
        if write_it:
            done.left = list(_left(course, person, {**people, person.id: person}))
    return done


def _do(said: str, do: Callable[[], None]) -> None:
    try:
        do()
    except OSError as error:
        raise Trouble(f"{said} could not be removed ({reason(error)}); make it writable and forget again.") from error


def _files(course: Path, person: Learner, people) -> Iterator[tuple[str, Callable]]:
    """What is the person's alone: folders of that name, and files named for the person."""
    known, gone = {**people, person.id: person}, []
    for path in sorted(course.rglob("*")):
        inside = path.relative_to(course)
        if inside.parts[0] in _CLEAN or any(path.is_relative_to(each) for each in gone) or _is_everyones(inside):
            continue
        if len(inside.parts) > 1 and _is_of(inside, path, person, known):
            gone.append(path)
            count = sum(each.is_file() for each in path.rglob("*")) if path.is_dir() and not path.is_symlink() else 0
            yield f"{inside}" + (f": {count} file{'' if count == 1 else 's'}" if count else ""), _remover(path)


def _is_of(inside: Path, path: Path, person: Learner, people) -> bool:
    if path.is_dir() and not path.is_symlink():
        return path.name.casefold() == person.id.casefold()
    if inside.parts[0] == "certificates":
        return path.name.casefold() == f"{person.id}.jwt".casefold()
    if inside.parts[0] in _MADE:
        return path.stem.casefold() == person.id.casefold()
    try:
        return whose.learner_of(Path(*inside.parts[1:-1], path.stem), people) == person.id
    except Trouble:
        return False


def _is_everyones(inside: Path) -> bool:
    return any(inside.is_relative_to(each) for each in _EVERYONES)


def _remover(path: Path) -> Callable:
    def remove():
        if path.is_dir() and not path.is_symlink():
            for each in [path, *path.rglob("*")]:
                if not each.is_symlink():
                    each.chmod(0o700 if each.is_dir() else 0o600)
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)

    return remove


def _everyones(course: Path, person: Learner) -> Iterator[tuple[str, Callable]]:
    """What is made of everyone's work."""
    for name in _EVERYONES:
        if (course / name).exists():
            yield f"{name}: removed whole, to be made again without {person.id}", _remover(course / name)


def _lines(course: Path, person: Learner) -> Iterator[tuple[str, Callable]]:
    """What holds lines of several people."""
    pattern = mentions(person)
    for path in sorted(course.rglob("*")):
        inside = path.relative_to(course)
        if not path.is_file() or path.is_symlink() or inside.parts[0] in _MADE or _is_everyones(inside):
            continue
        if (inside.name != "roster.csv" and path.suffix.casefold() in _BY_LINE) or path.name == ".nbgrader.log":
            data = path.read_bytes()
            kept, count = lines_without(data, pattern, table=path.suffix.casefold() == ".csv")
            if count:
                yield f"{inside}: {count} line{'' if count == 1 else 's'}", _rewriter(path, kept)
    for path in records.all_marks(course):
        if path.parent.name != person.id and (kept := _without_flags(path, person.id)):
            yield (
                f"{path.relative_to(course)}: whose circuit an answer fits",
                _rewriter(path, records.to_json(kept).encode()),
            )


def _without_flags(path: Path, name: str) -> dict | None:
    """Another learner's marks without the remark that an answer fits this person's circuit; None where there is none."""
    kept = records.read(path) or {}
    flags = [
        {**flag, "learners": [each for each in flag["learners"] if each != name]} for flag in kept.get("flags", [])
    ]
    flags = [flag for flag in flags if flag["learners"]]
    return {**kept, "flags": flags} if flags != kept.get("flags", []) else None


def _rewriter(path: Path, data: bytes) -> Callable:
    return lambda: write_whole(path, data, path.stat().st_mode & 0o777)


def _in_gradebook(course: Path, person: Learner, gradebook) -> Iterator[tuple[str, Callable]]:
    """By nbgrader's own steps."""
    if person.id in {student.id for student in gradebook.students}:
        handed_in = list(gradebook.find_student(person.id).submissions)
        lessons = sorted(one.assignment.name for one in handed_in)
        yield f"gradebook: the learner and {len(lessons)} hand-in{'' if len(lessons) == 1 else 's'}", lambda: _remove(gradebook, person.id, lessons)  # fmt: skip


def _tidied(course: Path, gradebook) -> Iterator[tuple[str, Callable]]:
    """What a database keeps of removed rows until it is written anew."""
    address = courses.settings(course).gradebook
    path = Path(address.partition("?")[0].removeprefix("sqlite:///"))
    if database.is_sqlite(address) and path.is_file():
        yield "gradebook: its file is written anew, without free pages", lambda: _vacuum(gradebook, path)
    if database.is_postgres(address):
        said = "gradebook: its tables are written anew (the server's own log and its backups lose the rest with time)"
        yield said, lambda: _rewritten(gradebook, address)


def _remove(gradebook, learner: str, lessons: list[str]) -> None:
    for lesson in lessons:
        gradebook.remove_submission(lesson, learner)
    gradebook.remove_student(learner)


def _vacuum(gradebook, path: Path) -> None:
    gradebook.db.close()
    try:
        with closing(sqlite3.connect(path, timeout=60)) as book:
            book.execute("VACUUM")
    except sqlite3.Error as error:
        raise Trouble(f"{path} could not be written anew ({error}); close what uses it, and forget again.") from error


def _rewritten(gradebook, address: str) -> None:
    gradebook.db.remove()
    database.write_anew(address)


def _left(course: Path, person: Learner, people) -> Iterator[str]:
    """What still names the person: other people's work, and files that cannot be taken apart."""
    pattern = mentions(person)
    for path in sorted(course.rglob("*")):
        inside = path.relative_to(course)
        ours = path.is_file() and not path.is_symlink() and inside.parts[0] not in _CLEAN
        if ours and (any(map(pattern.search, _texts(path))) or person.id in _owners(path, people)):
            yield f"{inside} still names {person.id}; look at it and mend or delete it."


def _owners(path: Path, people) -> Iterator[str]:
    """Whose files a zip holds, as `collect` would tell."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as box:
            for name in box.namelist():
                with contextlib.suppress(Trouble):
                    yield whose.learner_of(PurePosixPath(name), people)


def _texts(path: Path) -> Iterator[str]:
    """The name and the content of a file; of a zip, those of its members."""
    yield path.name
    if path.stat().st_size > _LARGEST_BYTES:
        return
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as box:
            for member in box.infolist():
                yield member.filename
                if member.file_size < _LARGEST_BYTES and not member.flag_bits & 1:
                    yield box.read(member).decode(errors="replace")
        return
    data = path.read_bytes()
    yield data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8", errors="replace")

"""Hours of related instruction: what was planned for each lesson, and what was signed for.

The hours come from the log that instructor and apprentice sign (``COURSE/hours.csv``), never from when a notebook was
handed in: that says when the work came, not how long it took. The plan is ``COURSE/plan.csv``; a lesson that is not in it
is planned with `PLANNED`, the upper end of the 25 to 45 minutes for which every lesson of this course is written.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from autograde.files import write_whole
from autograde.trouble import Trouble, reason

__all__ = ["LOG", "PLANNED", "Stay", "log", "parse_plan", "plan", "set_plan", "take"]

LOG, PLAN = "hours.csv", "plan.csv"
PLANNED = 0.75
_HEADINGS = ("learner", "lesson", "date", "hours")
_MOST_A_DAY = 24


@dataclass(frozen=True)
class Stay:
    """One line of the log: ``hours`` that ``learner`` spent on ``lesson`` on one ``day``."""

    learner: str
    lesson: str
    day: date
    hours: float


def log(course: Path) -> list[Stay]:
    """Every stay that has been taken in, oldest first; empty when there is no log."""
    path = course / LOG
    if not path.exists():
        return []
    return [stay for _, stay in _read(path, None, None)]


def take(course: Path, path: Path, known: Iterable[str], lessons: Iterable[str]) -> list[str]:
    """Add the stays in the CSV file ``path`` to the log; the same learner, lesson and day again replaces what was there.

    Nothing is written until every line has been found good.
    """
    fresh = _read(path, set(known), list(lessons))
    kept = {_place(stay): stay for stay in log(course)}
    lines = []
    for line, stay in fresh:
        old = kept.get(_place(stay))
        did = "already there" if old == stay else f"changed from {old.hours:g} h" if old else "added"
        lines.append(f"line {line}: {stay.learner}, {stay.lesson}, {stay.day}: {stay.hours:g} h {did}")
        kept[_place(stay)] = stay
    ordered = sorted(kept.values(), key=lambda stay: (stay.day, stay.learner, stay.lesson))
    _write(course / LOG, _HEADINGS, [[stay.learner, stay.lesson, stay.day, f"{stay.hours:g}"] for stay in ordered])
    return lines


def _place(stay: Stay) -> tuple:
    return stay.learner, stay.lesson, stay.day


def _read(path: Path, known: set[str] | None, lessons: list[str] | None) -> list[tuple[int, Stay]]:
    table = _rows(path, "log of hours", ",".join(_HEADINGS))
    heading = [title.strip().casefold() for title in table[0][1]]
    if missing := [name for name in _HEADINGS if name not in heading]:
        raise Trouble(
            f"The first line of {path} names no column “{missing[0]}”; it should name {', '.join(_HEADINGS)}."
        )
    found, seen = [], {}
    for line, cells in table[1:]:
        told = dict(zip(heading, cells, strict=False))
        stay = _stay(f"Line {line} of {path}", {name: told.get(name, "") for name in _HEADINGS}, known, lessons)
        if (first := seen.setdefault(_place(stay), line)) != line:
            raise Trouble(f"Line {line} of {path} repeats the learner, lesson and day of line {first}; add the two up.")
        found.append((line, stay))
    return found


def _rows(path: Path, what: str, like: str) -> list[tuple[int, list[str]]]:
    """The lines of a CSV file that hold something, numbered; commas or semicolons, with or without a byte-order mark."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise Trouble(f"The {what} {path} cannot be read ({reason(error)}); check the name.") from error
    except UnicodeDecodeError as error:
        raise Trouble(f"The {what} {path} is not a text file; save it as CSV (UTF-8).") from error
    first = next(filter(str.strip, text.splitlines()), "")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count), skipinitialspace=True)
    try:
        found = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(map(str.strip, row))]
    except csv.Error as error:
        raise Trouble(f"Line {reader.line_num} of {path} is no line of a CSV file ({error}); save it again.") from error
    if not found:
        raise Trouble(f"The {what} {path} is empty; its first line names the columns: {like}.")
    return found


def _stay(where: str, told: Mapping[str, str], known: set[str] | None, lessons: list[str] | None) -> Stay:
    if known is not None and told["learner"] not in known:
        raise Trouble(
            f"{where} names {told['learner']!r}, who is not on the roster; enrol that learner or mend the id."
        )
    lesson = told["lesson"] if lessons is None else _lesson(where, told["lesson"], lessons)
    try:
        day = date.fromisoformat(told["date"])
    except ValueError:
        raise Trouble(f"{where} has the date {told['date']!r}; write it like 2026-03-02.") from None
    return Stay(told["learner"], lesson, day, _hours(where, told["hours"]))


def _lesson(where: str, told: str, lessons: list[str]) -> str:
    """A lesson by its name, or by its number as a spreadsheet may leave it."""
    for lesson in lessons:
        if told == lesson or (told.isdecimal() and told.zfill(2) == lesson[:2]):
            return lesson
    raise Trouble(f"{where} names the lesson {told!r}; released are: {', '.join(lessons) or 'none'}.")


def _hours(where: str, told: str) -> float:
    try:
        found = float(told.replace(",", "."))
    except ValueError:
        found = math.nan
    if not 0 < found <= _MOST_A_DAY:
        raise Trouble(f"{where} has the hours {told!r}; write a number above 0 and up to {_MOST_A_DAY}.")
    return found


def plan(course: Path) -> dict[str, float]:
    """``{two digits of the lesson: planned hours}`` as far as the course has set them; see `PLANNED` for the others."""
    path = course / PLAN
    if not path.exists():
        return {}
    table = _rows(path, "plan of hours", "lesson,hours")
    return {cells[0]: _hours(f"Line {line} of {path}", cells[1]) for line, cells in table[1:] if len(cells) > 1}


def parse_plan(text: str) -> tuple[str, float]:
    """``NN=HOURS`` as a pair.

    >>> parse_plan("01=2.5")
    ('01', 2.5)
    """
    number, _, hours = text.partition("=")
    if not (len(number) == 2 and number.isdecimal()):
        raise Trouble(f"--plan {text!r} names no lesson; write for example 01=0.75 (hours).")
    return number, _hours(f"--plan {text!r}", hours)


def set_plan(course: Path, changes: Mapping[str, float]) -> None:
    """Set the planned hours of some lessons; the others stay."""
    merged = plan(course) | dict(changes)
    _write(course / PLAN, ("lesson", "hours"), [[number, f"{merged[number]:g}"] for number in sorted(merged)])


def _write(path: Path, heading, lines) -> None:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(heading)
    table.writerows(lines)
    write_whole(path, out.getvalue())

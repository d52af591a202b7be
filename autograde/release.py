"""Releasing lessons: nbgrader strips them, and nothing reaches release/ before it has been looked through for leaks."""

from __future__ import annotations

import logging
import os
import re
import shutil
from collections.abc import Iterable
from datetime import UTC, datetime, time
from pathlib import Path

import nbformat
from nbgrader.converters import GenerateAssignment
from nbgrader.converters.base import NbGraderException
from nbgrader.coursedir import CourseDirectory

from autograde import course as courses
from autograde.files import make_folder
from autograde.marking import load
from autograde.preprocessors.mark_slips import checked_keys, graded_cells
from autograde.trouble import Trouble, reason
from halfcycle.release import strip
from halfcycle.variants import lesson_number

__all__ = ["due_dates", "leaks", "parse_due", "release", "set_due", "sources"]

_NEW = ".release-new"
_MARKERS = ("BEGIN SOLUTION", "END SOLUTION", "HIDDEN TESTS", "MARK SCHEME")
_REGION = re.compile(r"### BEGIN SOLUTION\n(.*?)### END SOLUTION", re.DOTALL)


def sources(wanted: Iterable[str] = ()) -> list[str]:
    """The lessons of the checkout (folder names), or those that ``wanted`` names by number or folder name."""
    there = [
        path.name for path in sorted(courses.LESSONS.glob("[0-9][0-9]_*")) if (path / f"{path.name}.ipynb").is_file()
    ]
    if not there:
        raise Trouble(f"There are no lessons in {courses.LESSONS}; fetch the checkout again.")
    chosen = {name: next((each for each in there if name in (each, each[:2])), None) for name in wanted}
    if missing := [name for name, found in chosen.items() if found is None]:
        raise Trouble(f"There is no lesson {missing[0]!r}; there are: {', '.join(there)}.")
    return sorted(chosen.values()) if chosen else there


def release(course: Path, lesson: str) -> None:
    """Make ``COURSE/release/LESSON`` from the checkout, or leave what was there and end in one sentence."""
    config = courses.config(course)
    config.CourseDirectory.release_directory = _NEW
    config.CourseDirectory.assignment_id = lesson
    config.GenerateAssignment.force = True
    fresh = course.resolve() / _NEW
    shutil.rmtree(fresh, ignore_errors=True)  # of a release that was killed
    try:
        _generate(config, lesson)
        _check(fresh / lesson, lesson)
        _swap(fresh / lesson, course.resolve() / "release" / lesson)
    except OSError as error:
        raise Trouble(f"{course} cannot be written ({reason(error)}); make that folder writable.") from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _generate(config, lesson: str) -> None:
    converter = GenerateAssignment(coursedir=CourseDirectory(config=config), config=config)
    log, said = logging.getLogger("autograde.release"), _Said()
    log.propagate, log.handlers = False, [said]
    converter.log = log
    try:
        converter.start()
    except NbGraderException as error:
        why = next((line for line in said.errors if not line.startswith("There was an error")), str(error))
        raise Trouble(f"The lesson {lesson} cannot be released ({why}); mend its notebook.") from error


class _Said(logging.Handler):
    """Keeps the last line of each error that nbgrader logs: there the cause stands."""

    def __init__(self):
        super().__init__(logging.ERROR)
        self.errors = []

    def emit(self, record):
        self.errors.append(record.getMessage().strip().splitlines()[-1].rstrip("."))


def _swap(fresh: Path, place: Path) -> None:
    """The notebook is replaced in one step, so that a stop never leaves the course without its lesson."""
    make_folder(place)
    os.replace(fresh / f"{place.name}.ipynb", place / f"{place.name}.ipynb")
    for stray in place.iterdir():
        if stray.name != f"{place.name}.ipynb":
            shutil.rmtree(stray) if stray.is_dir() else stray.unlink()


def _check(folder: Path, lesson: str) -> None:
    source = nbformat.read(courses.LESSONS / lesson / f"{lesson}.ipynb", as_version=4)
    released = nbformat.read(folder / f"{lesson}.ipynb", as_version=4)
    try:
        checked_keys(released, lesson)
    except (LookupError, ValueError) as error:
        raise Trouble(f"The lesson {lesson} cannot be released: {error}") from error
    found = leaks(source, released, lesson)
    found += _differences(strip(source), released)
    strays = [path.name for path in folder.rglob("*") if path.name != f"{lesson}.ipynb"]
    found += [f"the file {name} lies beside the notebook" for name in sorted(strays)]
    if found:
        raise Trouble(
            f"The lesson {lesson} is not released, because {found[0]}; mend its source in the lessons folder."
        )


def _differences(studied, released) -> list[str]:
    """Where the notebook that `halfcycle study` makes of the same source is another one."""
    if len(studied.cells) != len(released.cells):
        return ["“halfcycle study” gives it another number of cells"]
    pairs = zip(studied.cells, released.cells, strict=True)
    return [f"“halfcycle study” gives the cell {one.id} otherwise" for one, other in pairs if one != other]


def leaks(source, released, lesson: str) -> list[str]:
    """Everything of the instructor's that is still in ``released``, each in a few words; empty when it is clean."""
    text = {cell.get("id", str(at)): cell.source for at, cell in enumerate(released.cells)}
    found = [
        f"the cell {name} still has {marker!r}" for name, own in text.items() for marker in _MARKERS if marker in own
    ]
    found += [f"the cell {cell.id} has an output" for cell in released.cells if cell.get("outputs")]
    found += [f"the cell {name} has a line of the solution" for name in _solved(source, text)]
    found += [
        f"the cell {name} names the trap {trap}"
        for trap in _trap_names(lesson)
        for name, own in text.items()
        if trap in own
    ]
    found += [
        f"the cell {name} mentions the grading room" for name, own in text.items() if re.search(r"\bautograde\b", own)
    ]
    found += [
        f"the graded cell {item} does more than hand in"
        for item, cell in graded_cells(released).items()
        if not re.fullmatch(r"hand_in\([^\n]*\)", cell.source.strip())
    ]
    return found


def _solved(source, text: dict[str, str]) -> list[str]:
    """The cells of the released notebook that still hold a line which stood in a solution region only."""
    found = []
    for at, cell in enumerate(source.cells):
        hidden = {line.strip() for region in _REGION.findall(cell.source) for line in region.splitlines()} - {""}
        shown = {line.strip() for line in _REGION.sub("", cell.source).splitlines()}
        own = {line.strip() for line in text.get(cell.get("id", str(at)), "").splitlines()}
        if (hidden - shown) & own:
            found.append(cell.get("id", str(at)))
    return found


def _trap_names(lesson: str) -> list[str]:
    try:
        _, traps = load(lesson)
    except LookupError:
        return []
    return sorted({trap.name for own in traps.values() for trap in own if "-" in trap.name})


def parse_due(text: str) -> tuple[str, datetime]:
    """``("01", moment in UTC)`` from LESSON=WHEN; WHEN is a date (its end counts) or a time, of this computer's zone if it names none.

    >>> parse_due("01=2026-03-02T18:00+00:00")[1].isoformat()
    '2026-03-02T18:00:00+00:00'
    """
    lesson, _, when = text.partition("=")
    try:
        moment = datetime.fromisoformat(when.strip())
        if len(when.strip()) == len("2026-03-02"):
            moment = datetime.combine(moment, time(23, 59, 59))
        return lesson_number(lesson.strip()), moment.astimezone(UTC)
    except ValueError:
        raise Trouble(f"“{text}” is not LESSON=WHEN; write for example 01=2026-03-02 or 01=2026-03-02T18:00.") from None


def set_due(gradebook, lesson: str, when: datetime) -> None:
    """Keep the last moment (UTC) for ``lesson`` where nbgrader looks for it."""
    gradebook.update_or_create_assignment(lesson, duedate=when.astimezone(UTC).replace(tzinfo=None))


def due_dates(gradebook) -> dict[str, datetime | None]:
    """``{lesson: last moment in UTC, or None}`` of every lesson in the gradebook."""
    return {each.name: each.duedate.replace(tzinfo=UTC) if each.duedate else None for each in gradebook.assignments}

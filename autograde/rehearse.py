"""A rehearsal: an invented cohort handed in on paper, then everything after that for real."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import nbformat

from autograde.by_hand import hand_marked
from autograde.cohort import COHORT, Person, answers
from autograde.files import write_whole
from autograde.reports.gather import PLANTED
from autograde.trouble import Trouble

__all__ = ["fill_in", "plant", "roster_csv"]

_TEXT_STUB = "Write your answer here."
_BLANK = re.compile(r"^(\w+ *= *)\.\.\.[ \t]*$", re.MULTILINE)


def fill_in(notebook, typed: dict[str, str], *, written: str = ""):
    """Type ``{item: text}`` into the answer cells of a released ``notebook``, as a learner would; "" leaves the dots.

    ``written`` goes into every text that a person marks; "" leaves those as they are.

    >>> cell = nbformat.v4.new_code_cell("x = ...", metadata={"nbgrader": {"grade_id": "90-sum-answer"}})
    >>> fill_in(nbformat.v4.new_notebook(cells=[cell]), {"90-sum": "2 + 3"}).cells[0].source
    'x = 2 + 3'
    """
    cells = {cell.metadata.get("nbgrader", {}).get("grade_id"): cell for cell in notebook.cells}
    for item, text in typed.items():
        cell = cells.get(f"{item}-answer")
        if cell is None or not _BLANK.search(cell.source):
            raise Trouble(f"The released notebook has no open answer cell {item}-answer; release the lesson again.")
        if text:
            cell.source = _BLANK.sub(lambda dots, text=text: dots[1] + text, cell.source, count=1)
    for cell in hand_marked(notebook).values() if written else ():
        cell.source = cell.source.replace(_TEXT_STUB, written)
    return notebook


def roster_csv() -> str:
    """The roster of the invented cohort, as an office might send it."""
    rows = [(each.learner.last, each.learner.first, each.learner.id, each.learner.email, "spring") for each in COHORT]
    return _csv(("Surname", "First name", "Learner ID", "E-mail", "Group"), rows)


def plant(course: Path, name: str, lessons: dict[str, datetime], inbox: Path) -> int:
    """Hand in the whole cohort's notebooks into ``inbox`` and write down what was planted; return how many hand-ins.

    ``lessons`` gives each lesson's last moment (UTC); ``name`` is the course's name, on which the circuits depend.
    """
    lines, count = [], 0
    for lesson, due in lessons.items():
        released = (course / "release" / lesson / f"{lesson}.ipynb").read_text(encoding="utf-8")
        for person in COHORT:
            for place, when, typed in _hand_ins(person, name, lesson, due, first_lesson=lesson == next(iter(lessons))):
                book = fill_in(nbformat.reads(released, as_version=4), typed, written=_recommendation(person))
                write_whole(inbox / place / f"{lesson}.ipynb", nbformat.writes(book))
                write_whole(inbox / place / "timestamp.txt", f"{when:%Y-%m-%d %H:%M:%S} UTC\n")
                count += 1
            lines += _planted(person, name, lesson)
    write_whole(course / PLANTED, _csv(("learner", "lesson", "item", "planted", "typed", "understanding"), lines))
    return count


def _recommendation(person: Person) -> str:
    """What an invented person writes where a text is asked for; their understanding shows in it."""
    if person.blank:
        return ""
    return (
        f"I am {person.learner.name}. I looked into the fault at the Fennel Street Library and took one reading too many.\n"
        f"(About me: {person.understanding})\n\nI recommend that the part is replaced, with the power off, by a licensed person."
    )


def _hand_ins(
    person: Person, name: str, lesson: str, due: datetime, *, first_lesson: bool
) -> Iterator[tuple[Path, datetime, dict[str, str]]]:
    """``(place in the inbox, when, {item: typed})`` of every hand-in of ``person`` for ``lesson``, oldest first."""
    folder, minutes = Path(person.learner.id) / lesson, 7 * COHORT.index(person)
    if person.first_beliefs:
        first = answers(person, name, lesson, first=True)
        yield (
            folder / "first",
            due - timedelta(days=2, minutes=minutes),
            {item: each.typed for item, each in first.items()},
        )
    late = timedelta(days=1) if person.late and first_lesson else -timedelta(days=1)
    last = answers(person, name, lesson)
    yield folder, due + late - timedelta(minutes=minutes), {item: each.typed for item, each in last.items()}


def _planted(person: Person, name: str, lesson: str) -> list[tuple[str, ...]]:
    return [
        (person.learner.id, lesson, item, answer.verdict, answer.typed, person.understanding)
        for item, answer in answers(person, name, lesson).items()
    ]


def _csv(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\n")
    table.writerows([heads, *rows])
    return out.getvalue()

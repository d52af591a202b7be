"""Whose notebook is it, and of which lesson: the place says who, the cells say which lesson."""

from __future__ import annotations

import difflib
import unicodedata
import warnings
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

import nbformat

from autograde.trouble import Trouble

__all__ = ["cell_names", "learner_of", "lesson_of", "notebook", "released"]

_CELLS_AT_LEAST = 2


def notebook(data: bytes, place: PurePosixPath | str):
    """The notebook in ``data`` (format 4), or one sentence saying that it is damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a doubled cell is no news here: the marking puts it right and says so
            book = nbformat.reads(data.decode("utf-8-sig"), as_version=4)
        for cell in book.cells:
            cell.cell_type, cell.source, cell.metadata = cell.cell_type, cell.source, cell.metadata
    except (Exception, RecursionError) as error:
        raise Trouble(
            f"{place} is not a readable notebook; ask for it to be saved in JupyterLab and handed in again."
        ) from error
    return book


def cell_names(book) -> set[str]:
    """The names by which a lesson knows its own cells again: grade ids and hand-written cell ids."""
    names = set()
    for cell in book.cells:
        names.add(str(cell.get("id", "")))
        marking = cell.metadata.get("nbgrader")
        names.add(str(marking.get("grade_id", "")) if isinstance(marking, Mapping) else "")
    return names - {""}


def released(course: Path) -> dict[str, set[str]]:
    """Every released lesson of ``course`` with the names of its cells."""
    found = {}
    for path in sorted((course / "release").glob("*/*.ipynb")):
        if path.stem == path.parent.name:
            found[path.stem] = cell_names(notebook(path.read_bytes(), path))
    if not found:
        raise Trouble(f"Nothing has been released from {course} yet; run: autograde release {course}")
    return found


def lesson_of(book, lessons: Mapping[str, set[str]], place: PurePosixPath) -> str:
    """The lesson whose cells ``book`` holds most of, whatever the file is called."""
    names = cell_names(book)
    alone = {
        lesson: own.difference(*(lessons[other] for other in lessons if other != lesson))
        for lesson, own in lessons.items()
    }
    score = {lesson: len(names & own) for lesson, own in alone.items()}
    best = max(score, key=score.get)
    if score[best] < min(_CELLS_AT_LEAST, len(alone[best])) or not score[best]:
        raise Trouble(
            f"{place} holds no lesson of this course ({', '.join(lessons)}); ask for the notebook of the lesson itself."
        )
    return best


def learner_of(place: PurePosixPath, known: Iterable[str]) -> str:
    """The learner on the roster whom ``place`` (a path inside the inbox) names by a folder or by the file's first word."""
    plain = {_plain(name): name for name in known}
    *folders, file = [_plain(part) for part in place.parts]
    stem = file.removesuffix(".ipynb")
    for part in (*folders, stem):
        if part in plain:
            return plain[part]
    for name in sorted(plain, key=len, reverse=True):
        if stem.startswith(name) and stem[len(name)] in "_-. ":
            return plain[name]
    raise Trouble(_stranger(place, folders[0] if folders else stem.split("_")[0], plain))


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text).strip().casefold()


def _stranger(place: PurePosixPath, given: str, plain: Mapping[str, str]) -> str:
    close = difflib.get_close_matches(given, plain, n=1)
    guess = f" (did you mean {plain[close[0]]}?)" if close else ""
    return (
        f"{place} names no learner on the roster{guess}; rename it to begin with an enrolled id, or enrol that learner."
    )

"""Whose notebook is it, and of which lesson: the place says who, the cells say which lesson."""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
import warnings
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePosixPath

import nbformat

from autograde.roster import Learner
from autograde.trouble import Trouble

__all__ = ["cell_names", "learner_of", "lesson_of", "notebook", "released"]

_CELLS_AT_LEAST = 2
_SURE_DIGITS = 4  # a shorter number in the middle of a name may be a number of anything
_MOST_WORDS = 6


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


def learner_of(place: PurePosixPath, known: Mapping[str, Learner] | Iterable[str], lessons: Iterable[str] = ()) -> str:
    """The learner on the roster whom ``place`` (a path inside the inbox) names, or one sentence saying that it could not be told.

    A folder or file that is called by an id alone decides, the outermost first. Otherwise the names along the path are
    searched for ids, e-mail addresses and whole names, the names of ``lessons`` left out, and must agree on one learner.
    """
    parts = [_plain(part) for part in place.parts]
    parts[-1] = parts[-1].removesuffix(".ipynb")
    known = known if isinstance(known, Mapping) else tuple(known)
    plain = _by_plain_name(tuple(known))
    for part in parts:
        if part in plain:
            return plain[part]
    people = known if isinstance(known, Mapping) else {name: Learner(name) for name in known}
    for lesson in lessons:
        parts = [part.replace(_plain(lesson), " ") for part in parts]
    found = {name for at, part in enumerate(parts) for name in _named(part, people, is_file=at == len(parts) - 1)}
    if len(found) > 1:
        raise Trouble(f"{place} could be of {_either(found)}; rename it to begin with the id of one of them.")
    if not found:
        raise Trouble(_stranger(place, parts[0] if len(parts) > 1 else parts[-1].split("_")[0], plain))
    return found.pop()


@functools.lru_cache(maxsize=1)
def _by_plain_name(names: tuple[str, ...]) -> dict[str, str]:
    """Once for a whole inbox, which asks about every file in it."""
    return {_plain(name): name for name in names}


def _either(names: Iterable[str]) -> str:
    *some, last = sorted(names)
    return f"{', '.join(some)} or {last}"


def _named(part: str, people: Mapping[str, Learner], *, is_file: bool) -> set[str]:
    """Everyone whom one name along the path names; of two ids of which one holds the other, the longer."""
    places: dict[tuple[int, int], str] = {}
    for name, learner in people.items():
        for word in (each for each in (_plain(name), _plain(learner.email)) if each and each in part):
            for at in re.finditer(rf"(?<![^\W_]){re.escape(word)}(?![^\W_])", part):
                if not word.isdecimal() or len(word) >= _SURE_DIGITS or (is_file and at.start() == 0):
                    places[at.span()] = name
    found = {name for span, name in places.items() if not any(_within(span, other) for other in places)}
    return found | _by_name(part, people)


def _within(span: tuple[int, int], other: tuple[int, int]) -> bool:
    return span != other and other[0] <= span[0] and span[1] <= other[1]


def _by_name(part: str, people: Mapping[str, Learner]) -> set[str]:
    """Everyone whose first and last name stand together in ``part``, in either order, with or without accents."""
    words = re.split(r"[\W_]+", _folded(part))
    spans = {"".join(words[at : at + n]) for at in range(len(words)) for n in range(1, _MOST_WORDS + 1)}
    both = {name: (one.first, one.last) for name, one in people.items() if one.first and one.last}
    return {name for name, (first, last) in both.items() if {_squashed(first + last), _squashed(last + first)} & spans}


def _folded(text: str) -> str:
    """Without accents, in small letters.

    >>> _folded("Núñez Zoë")
    'nunez zoe'
    """
    return "".join(each for each in unicodedata.normalize("NFD", text) if not unicodedata.combining(each)).casefold()


def _squashed(text: str) -> str:
    return re.sub(r"[\W_]+", "", _folded(text))


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text).strip().casefold()


def _stranger(place: PurePosixPath, given: str, plain: Mapping[str, str]) -> str:
    close = difflib.get_close_matches(given, plain, n=1)
    guess = f" (did you mean {plain[close[0]]}?)" if close else ""
    return (
        f"{place} names no learner on the roster{guess}, so it could not be told whose it is; "
        "rename it to begin with an enrolled id, or enrol that learner."
    )

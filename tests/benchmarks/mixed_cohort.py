"""A class of any size in which the work is as mixed as in life, for benchmarks: the same every time, all of it invented."""

import copy
import json
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import nbformat

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "submissions"))
from lesson import right_answers
from make import RECIPES

from autograde.cohort import COHORT, answers
from autograde.rehearse import fill_in
from autograde.roster import Learner
from halfcycle.variants import circuit

__all__ = ["DUE", "KINDS", "SHARES", "hand_in", "kind", "learner"]

DUE = datetime(2026, 3, 2, 18, tzinfo=UTC)
SHARES = {  # of a hundred hand-ins
    "right": 40,
    "with a known mistake": 32,
    "half finished": 8,
    "wrong without a known cause": 4,
    "late": 5,
    "blank": 4,
    "a neighbour's answers": 2,
    "damaged cells": 2,
    "no readable notebook": 2,
    "hostile": 1,
}
KINDS = [kind for kind, share in SHARES.items() for _ in range(share)]
_MISTAKEN = [
    one for one in COHORT if one.beliefs or one.slips_prefix or one.nth_trap is not None or one.factor != 1
]  # fmt: skip
_DAMAGED = ("lost_its_begin_cell", "has_edited_locked_cells", "lost_every_id", "lost_its_graded_cells")
_UNREADABLE = ("is_broken_json", "is_an_empty_file", "is_utf_16")
_HOSTILE = ("prints_without_end", "ends_python", "speaks_to_the_network", "patches_the_library", "loops_for_ever",
            "forks_without_end", "shows_hostile_pages", "fills_the_disk", "eats_all_memory", "strips_every_assert")  # fmt: skip


def learner(number):
    """Return the id of the learner of this number, from 0."""
    return f"apprentice-{number:05d}"


def kind(number, lesson):
    """Return what sort of work this learner hands in for ``lesson``: over any hundred learners each kind has its share."""
    return KINDS[(number * 37 + int(lesson[:2]) * 13) % len(KINDS)]


def hand_in(inbox, course, lesson, released, number):
    """Put the hand-in of learner ``number`` for ``lesson`` (``released``: its notebook) of ``course`` into ``inbox``."""
    sort = kind(number, lesson)
    book = fill_in(copy.deepcopy(released), _typed(sort, course, lesson, number))
    data = nbformat.writes(book).encode()
    if recipe := _recipe(sort, number // 100 + int(lesson[:2])):
        right = right_answers(lesson[:2], circuit(course, lesson, learner(number)))
        raw = recipe.change(book, right)
        data = json.dumps(book).encode() if raw is None else raw
    folder = inbox / learner(number) / lesson
    folder.mkdir(parents=True)
    (folder / f"{lesson}.ipynb").write_bytes(data)
    when = DUE + timedelta(hours=5 if sort == "late" else -5)
    (folder / "timestamp.txt").write_text(f"{when:%Y-%m-%d %H:%M:%S} UTC\n")


def shares_of(numbers, lessons):
    """Return ``{kind: how many}`` among these hand-ins."""
    return Counter(kind(number, lesson) for number in numbers for lesson in lessons)


def _recipe(sort, turn):
    names = {"damaged cells": _DAMAGED, "no readable notebook": _UNREADABLE, "hostile": _HOSTILE}.get(sort)
    return RECIPES[names[turn % len(names)]] if names else None


def _typed(sort, course, lesson, number):
    """``{item: text}``, "" for nothing."""
    person = COHORT[0]
    if sort == "with a known mistake":
        person = _MISTAKEN[number // 3 % len(_MISTAKEN)]
    whose = number - 1 if sort == "a neighbour's answers" and number else number
    person = replace(person, learner=Learner(learner(whose)), beliefs=person.beliefs)
    typed = {item: answer.typed for item, answer in answers(person, course, lesson).items()}
    if sort == "blank":
        return dict.fromkeys(typed, "")
    if sort == "half finished":
        return {item: text if at < len(typed) / 2 else "" for at, (item, text) in enumerate(typed.items())}
    if sort == "wrong without a known cause":
        return {item: text if text.startswith("(") else f"({text}) * 1.37" for item, text in typed.items()}
    return typed

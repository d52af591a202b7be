"""Marking: from one answer slip, one key and its traps to points, a verdict and a hint.

Everything here is a pure function of plain data. Nothing is executed, read or written, so marks can be made
again at any time from the stored slips.

- `Key` says how an answer is worked out, twice, by different roads; `Trap` says how a known mistake is worked out.
- `roads` lists every value that `mark` recognises for one learner: the key, the traps, and the slips that can
  happen to any quantity (a thousand or a million too large or too small, the wrong sign).
- A table answer (unit ``"table"``) is a short tuple of 0 and 1 and is right only as a whole.
"""

import importlib
import math
from collections.abc import Callable
from dataclasses import dataclass

from halfcycle.variants import Circuit, lesson_number

__all__ = ["TABLE", "Key", "Mark", "Road", "Trap", "fits", "fits_other", "load", "mark", "roads", "total"]

TABLE = "table"
RECOGNISED_SHARE = 0.25
_PURE_NUMBER_UNITS = ("", TABLE)
_SCALES = (
    ("1000", 1e3, "a thousand times too large"),
    ("0.001", 1e-3, "a thousand times too small"),
    ("1000000", 1e6, "a million times too large"),
    ("0.000001", 1e-6, "a million times too small"),
)


@dataclass(frozen=True)
class Key:
    """How the answer to one graded item is worked out.

    ``first`` and ``second`` take the learner's `Circuit` and return the answer in ``unit`` (a tuple of 0 and 1
    when the unit is ``"table"``) by the two different roads that ``first_road`` and ``second_road`` name.
    Only ``first`` marks; a test holds the two together. An answer is right within ``rel_tol`` of the value or
    within ``abs_tol`` (same unit), whichever is wider. ``section`` is the heading to reread. Raise ``version``
    whenever the value or the tolerance changes.
    """

    item: str
    unit: str
    points: float
    first: Callable[[Circuit], float | tuple]
    second: Callable[[Circuit], float | tuple]
    first_road: str
    second_road: str
    section: str
    rel_tol: float = 0.01
    abs_tol: float = 0.0
    version: int = 1


@dataclass(frozen=True)
class Trap:
    """A wrong answer with a known cause. ``hint`` names the cause and never a value; ``share`` is the part of the points it earns."""

    name: str
    value: Callable[[Circuit], float | tuple]
    hint: str
    section: str
    share: float = RECOGNISED_SHARE


@dataclass(frozen=True)
class Mark:
    """What one item earned: ``points``, a ``verdict`` and a ``hint`` ("" when there is nothing to say).

    Verdicts: right, trap:NAME, scale:FACTOR, polarity, wrong, no answer, wrong unit.
    """

    points: float
    verdict: str
    hint: str


@dataclass(frozen=True)
class Road:
    """One value that marking recognises: where it leads (``verdict``, ``share`` of the points, ``hint``)."""

    verdict: str
    value: float | tuple
    share: float
    hint: str


def mark(slip, key, traps, variant):
    """Return the `Mark` for one answer slip.

    ``slip`` is ``{"item", "value", "unit"}`` or None when nothing was handed in; ``variant`` is the learner's `Circuit`.

    >>> key = Key("90-sum", "V", 2, lambda c: 5.0, lambda c: 2.0 + 3.0, "sum", "count", "Adding")
    >>> traps = (Trap("taken-away", lambda c: 1.0, "The voltages add here.", "Adding"),)
    >>> mark({"item": "90-sum", "value": 5.02, "unit": "V"}, key, traps, None).points
    2.0
    >>> mark({"item": "90-sum", "value": 1, "unit": "V"}, key, traps, None)
    Mark(points=0.5, verdict='trap:taken-away', hint='The voltages add here. Reread “Adding”.')
    """
    if slip is None or slip.get("value") is None or slip.get("item") != key.item:
        return Mark(0.0, "no answer", "Nothing was handed in for this item.")
    if slip.get("unit") != key.unit:
        return Mark(0.0, "wrong unit", "The unit that was handed in is not the unit the question asks for.")
    for road in roads(key, traps, variant):
        if fits(slip["value"], road.value, key):
            return Mark(float(key.points * road.share), road.verdict, road.hint)
    return Mark(0.0, "wrong", _reread(key.section))


def roads(key, traps, variant):
    """Return every `Road` that `mark` tries, in its order: the key, the traps, the sign, the scales."""
    right = key.first(variant)
    found = [Road("right", right, 1.0, "")]
    found += [Road(f"trap:{trap.name}", trap.value(variant), trap.share, _trap_hint(trap)) for trap in traps]
    if key.unit == TABLE or right == 0:
        return found
    found.append(_universal("polarity", -right, "The sign is the wrong way round.", key))
    if key.unit not in _PURE_NUMBER_UNITS:
        found += [
            _universal(f"scale:{name}", right * factor, f"The answer is {words}: check the unit and its prefix.", key)
            for name, factor, words in _SCALES
        ]
    return found


def fits(value, target, key):
    """Return whether ``value`` is ``target`` within the tolerance of ``key`` (a table: exactly, entry by entry).

    >>> fits(33.9, 33.941, Key("90-peak", "V", 1, None, None, "", "", ""))
    True
    >>> fits([0, 1], (0, 1, 1), Key("90-table", "table", 1, None, None, "", "", ""))
    False
    """
    if key.unit == TABLE:
        return _is_table(value) and tuple(value) == tuple(target)
    if not _is_number(value):
        return False
    return abs(value - target) <= max(key.rel_tol * abs(target), key.abs_tol)


def fits_other(slip, key, variant, others):
    """Return the learners among ``others`` (an iterable of `Circuit`) whose right answer this slip is, when it is not the learner's own.

    A learner with the very same circuit is never named. This says nothing about fault: neighbours may have
    compared notes, and two answers may agree by chance.
    """
    if slip is None or slip.get("value") is None or fits(slip["value"], key.first(variant), key):
        return ()
    return tuple(other.learner for other in others if other != variant and fits(slip["value"], key.first(other), key))


def total(marks):
    """Return the sum of the points of ``{item: Mark}``."""
    return math.fsum(one.points for one in marks.values())


def load(lesson, room="autograde"):
    """Return ``(keys, traps)`` of a lesson ("01" or its folder name): ``{item: Key}`` and ``{item: (Trap, …)}`` for every item.

    ``room`` is the package that holds ``keys.lesson_NN`` and ``traps.lesson_NN``.
    """
    number = lesson_number(lesson)
    keys = _by_item(_module(f"{room}.keys.lesson_{number}").KEYS)
    traps = dict(_module(f"{room}.traps.lesson_{number}").TRAPS)
    strangers = sorted(set(traps) - set(keys))
    if strangers:
        raise ValueError(f"The traps of lesson {number} name items that have no key: {', '.join(strangers)}.")
    return keys, {item: tuple(traps.get(item, ())) for item in keys}


def _by_item(keys):
    found = {key.item: key for key in keys}
    if len(found) != len(keys):
        raise ValueError("Two keys of one lesson have the same item name.")
    return found


def _module(name):
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError as missing:
        if not name.startswith(missing.name or "?"):
            raise
    raise LookupError(f"There is no answer key for this lesson: the module {name} is missing.")


def _universal(verdict, value, sentence, key):
    return Road(verdict, value, RECOGNISED_SHARE, f"{sentence} {_reread(key.section)}")


def _trap_hint(trap):
    return f"{trap.hint} {_reread(trap.section)}"


def _reread(section):
    return f"Reread “{section}”."


def _is_number(value):
    if not isinstance(value, int | float) or isinstance(value, bool):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond every float
        return False


def _is_table(value):
    return isinstance(value, list | tuple) and all(_is_number(entry) for entry in value)

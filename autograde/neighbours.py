"""Answers that are right for somebody else's circuit: noted for a person, never punished."""

from __future__ import annotations

import bisect
import functools
from dataclasses import replace

from autograde import course as courses
from autograde import records
from autograde.marking import TABLE, fits_other, load
from halfcycle.variants import circuit

__all__ = ["flag_neighbours"]

_WORTH_A_LOOK = ("wrong", "polarity", "scale")
_HAIR = 1 + 1e-9  # wider than rounding, so that the exact test decides


def flag_neighbours(course, known, lessons, room="autograde"):
    """Write into the marks of ``lessons`` which wrong answers fit the circuit of another of the learners ``known``.

    A mistake with a known cause explains itself and is not compared.
    """
    name = courses.settings(course).course
    for lesson in sorted(lessons):
        keys, _ = load(lesson, room)
        keys = {item: replace(key, first=functools.cache(key.first)) for item, key in keys.items()}
        everyone = {learner: circuit(name, lesson, learner) for learner in known}
        rights = functools.cache(lambda item, keys=keys, everyone=everyone: _Rights(keys[item], everyone.values()))
        for learner in known:
            path = records.marks_path(course, learner, lesson)
            if kept := records.read(path):
                flags = _flags(kept, keys, everyone[learner], rights)
                if flags != kept.get("flags"):
                    records.write(path, {**kept, "flags": flags})


def _flags(kept, keys, own, rights):
    flags = []
    for item, one in kept["items"].items():
        if item in keys and one["verdict"].partition(":")[0] in _WORTH_A_LOOK:
            slip = {"item": item, "value": one["value"], "unit": one["unit"]}
            if names := fits_other(slip, keys[item], own, rights(item).near(one["value"])):
                flags.append({"item": item, "learners": list(names)})
    return flags


class _Rights:
    """Everyone's right answers to one item in order, so that a wrong one is compared with those near it and not with all."""

    def __init__(self, key, everyone):
        self._key, self._everyone = key, list(everyone)
        ranked = sorted((_plain(key.first(one)), at) for at, one in enumerate(self._everyone))
        self._values, self._places = [value for value, _ in ranked], [at for _, at in ranked]

    def near(self, value):
        """Return the circuits, in the order of the roster, whose right answer can be ``value`` within the tolerance."""
        if not isinstance(value, list if self._key.unit == TABLE else int | float):
            return []
        if self._key.unit == TABLE:
            low = high = _plain(value)
        else:
            off = max(self._key.abs_tol, abs(value) * self._key.rel_tol / (1 - self._key.rel_tol)) * _HAIR
            low, high = value - off, value + off
        begin, end = bisect.bisect_left(self._values, low), bisect.bisect_right(self._values, high)
        return [self._everyone[at] for at in sorted(self._places[begin:end])]


def _plain(value):
    return tuple(value) if isinstance(value, tuple | list) else value

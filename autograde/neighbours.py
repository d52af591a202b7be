"""Answers that are right for somebody else's circuit: noted for a person, never punished."""

from __future__ import annotations

import functools
from dataclasses import replace

from autograde import course as courses
from autograde import records
from autograde.marking import fits_other, load
from halfcycle.variants import circuit

__all__ = ["flag_neighbours"]

_WORTH_A_LOOK = ("wrong", "polarity", "scale")


def flag_neighbours(course, known, lessons, room="autograde"):
    """Write into the marks of ``lessons`` which wrong answers fit the circuit of another of the learners ``known``.

    A mistake with a known cause explains itself and is not compared.
    """
    name = courses.settings(course).course
    for lesson in sorted(lessons):
        keys, _ = load(lesson, room)
        keys = {item: replace(key, first=functools.cache(key.first)) for item, key in keys.items()}
        everyone = {learner: circuit(name, lesson, learner) for learner in known}
        for learner in known:
            path = records.marks_path(course, learner, lesson)
            if kept := records.read(path):
                flags = _flags(kept, keys, everyone[learner], everyone.values())
                if flags != kept.get("flags"):
                    records.write(path, {**kept, "flags": flags})


def _flags(kept, keys, own, everyone):
    flags = []
    for item, one in kept["items"].items():
        if item in keys and one["verdict"].partition(":")[0] in _WORTH_A_LOOK:
            slip = {"item": item, "value": one["value"], "unit": one["unit"]}
            if names := fits_other(slip, keys[item], own, everyone):
                flags.append({"item": item, "learners": list(names)})
    return flags

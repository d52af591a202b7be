"""No learner can be misread: over 2,000 learners no two recognised values of an item lie within tolerance of each other.

Recognised are the key, every trap, the wrong sign and the scales (`autograde.marking.roads`). Were two of them alike,
a right answer might be read as a mistake, or one mistake as another.
"""

import functools
import pkgutil
from itertools import combinations

import pytest

import autograde.keys
from autograde.marking import TABLE, fits, load, roads
from halfcycle.variants import circuit

LEARNERS = 2000
LESSONS = sorted(
    name[-2:] for _, name, _ in pkgutil.iter_modules(autograde.keys.__path__) if name.startswith("lesson_")
)
ITEMS = [(lesson, item) for lesson in LESSONS for item in load(lesson)[0]]


@functools.cache
def circuits(lesson):
    """The distinct circuits of the learners, each with one of its learners."""
    return {own: own.learner for own in (circuit("half-cycle", lesson, f"learner-{n}") for n in range(LEARNERS))}


def test_there_are_lessons():
    assert LESSONS


@pytest.mark.parametrize("lesson", LESSONS)
def test_there_are_enough_circuits(lesson):
    assert len(circuits(lesson)) >= 500


def _alike(one, other, key):
    return fits(one.value, other.value, key) or fits(other.value, one.value, key)


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_no_two_roads_meet(lesson, item):
    keys, traps = load(lesson)
    for own, learner in circuits(lesson).items():
        for one, other in combinations(roads(keys[item], traps[item], own), 2):
            assert not _alike(one, other, keys[item]), (
                f"{learner}: {one.verdict} {one.value} and {other.verdict} {other.value}"
            )


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_every_value_can_be_handed_in(lesson, item):
    """Finite numbers or tables of 0 and 1; no key is nought, for a relative tolerance of nought admits nothing else."""
    keys, traps = load(lesson)
    key = keys[item]
    for own in circuits(lesson):
        values = [road.value for road in roads(key, traps[item], own)]
        if key.unit == TABLE:
            assert all(set(value) <= {0, 1} for value in values)
        else:
            assert all(fits(float(value), value, key) for value in values)
            assert values[0] != 0 or key.abs_tol > 0


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_hints_name_no_value(lesson, item):
    """A hint may count or name a standard, but no number in it may be an answer to the item for anyone."""
    keys, traps = load(lesson)
    words = [word for trap in traps[item] for word in trap.hint.replace("%", " ").split()]
    numbers = [float(word) for word in words if word.replace(".", "", 1).isdigit()]
    if numbers and keys[item].unit != TABLE:
        for own in circuits(lesson):
            assert not any(fits(number, keys[item].first(own), keys[item]) for number in numbers)

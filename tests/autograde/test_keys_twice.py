"""Every key is worked out twice, by different roads, and the two agree over 500 variants far inside the tolerance.

The roads are named in the key itself (`first_road`, `second_road`): a closed form against the solver, a table against
a formula, a quadrature against a closed form.
"""

import pkgutil

import pytest

import autograde.keys
from autograde.marking import TABLE, load
from halfcycle.variants import circuit

VARIANTS = 500
OF_THE_TOLERANCE = 0.25
LESSONS = sorted(
    name[-2:] for _, name, _ in pkgutil.iter_modules(autograde.keys.__path__) if name.startswith("lesson_")
)
ITEMS = [(lesson, item) for lesson in LESSONS for item in load(lesson)[0]]


def _variants(lesson):
    """The first 500 distinct circuits."""
    found = {}
    for number in range(20 * VARIANTS):
        own = circuit("half-cycle", lesson, f"learner-{number}")
        found.setdefault(own, own)
        if len(found) == VARIANTS:
            return list(found)
    raise AssertionError(f"lesson {lesson} has fewer than {VARIANTS} circuits")


@pytest.fixture(scope="module")
def variants():
    """The variants of each lesson, drawn once."""
    return {lesson: _variants(lesson) for lesson in LESSONS}


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_two_roads_lead_to_one_key(variants, lesson, item):
    key = load(lesson)[0][item]
    for own in variants[lesson]:
        first, second = key.first(own), key.second(own)
        if key.unit == TABLE:
            assert tuple(first) == tuple(second), own
        else:
            allowed = OF_THE_TOLERANCE * max(key.rel_tol * abs(first), key.abs_tol)
            assert abs(first - second) <= allowed, f"{own}: {key.first_road} {first}, {key.second_road} {second}"


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_the_roads_are_two(lesson, item):
    key = load(lesson)[0][item]
    assert key.first is not key.second
    assert key.first_road.strip() and key.second_road.strip()
    assert key.first_road != key.second_road

"""The planning page is what its figures say, and its arithmetic is right."""

import json
import math
import re

import pytest

from autograde.hub import planning

FIGURES = json.loads(planning.FIGURES.read_text(encoding="utf-8"))
SUM = re.compile(r"^\| (?P<words>[^|]+) \| (?P<how>[0-9. ×÷+]+) = \| (?P<result>[0-9.]+) ", re.MULTILINE)
PYTHONS = str.maketrans({"×": "*", "÷": "/"})


def test_the_page_is_what_the_figures_say():
    assert planning.PAGE.read_text(encoding="utf-8") == planning.page(FIGURES)


def test_every_line_of_arithmetic_comes_out():
    """Reckoned again from the page itself, to the three digits that it shows."""
    lines = list(SUM.finditer(planning.PAGE.read_text(encoding="utf-8")))
    assert len(lines) > 30
    for line in lines:
        exact = eval(line["how"].translate(PYTHONS), {"__builtins__": {}})
        shown = float(line["result"])
        if "rounded up" in line["words"]:
            assert shown == math.ceil(exact), line[0]
        else:
            assert shown == pytest.approx(exact, rel=0.006), line[0]


def test_what_one_hand_in_takes_is_of_the_largest_size_that_was_measured():
    step = {"ended": True, "cpu": 50.0, "seconds": 60.0, "peak": 7, "others": 0.0}
    cut_off = {**step, "ended": False, "cpu": 1.0}
    sizes = {"100": {"grade": step, "report": step}, "1000": {"grade": cut_off, "report": {**step, "cpu": 200.0}}}
    found = planning.per_hand_in({"sizes": sizes})
    assert (found["grade"], found["report"]) == (0.5, 0.2)


def test_a_programme_twice_as_large_needs_twice_as_much():
    once, twice = (
        planning.plan(planning.Programme("any", size, 1, 0.3, 1.0, 1.0), FIGURES) for size in (20_000, 40_000)
    )
    machines = [int(re.search(r"hub machines by memory.*\| (\d+) machines", text)[1]) for text in (once, twice)]
    assert 2 * machines[0] - 1 <= machines[1] <= 2 * machines[0]

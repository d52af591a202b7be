"""Lesson 00: its tour, its safety check and its capacitor, against published sequences, tables and closed forms."""

import itertools
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from scipy.integrate import solve_ivp

from autograde import marking
from autograde.keys import lesson_00 as keys_00
from halfcycle import study
from halfcycle.answers import read
from halfcycle.benches import supply as bench_00
from halfcycle.constants import CLASS_2, PREFERRED
from halfcycle.variants import circuit
from halfcycle.workbook import one_panel, sheets

NAME = "00_before_you_open_the_panel"
BOOK = json.loads((Path(__file__).parents[2] / "lessons" / NAME / f"{NAME}.ipynb").read_text(encoding="utf-8"))
SOURCES = {cell["id"]: "".join(cell["source"]) for cell in BOOK["cells"]}
KEYS, TRAPS = marking.load("00")
BOLD = re.compile(r"\*\*(.+?)\*\*")


def some(count):
    return [circuit("half-cycle", "00", f"apprentice-{number}") for number in range(count)]


def four(value):
    return float(f"{value:.4g}")


def taught(c):
    """The lesson's steps on a calculator, each result rounded to four figures."""
    start = four(1.414 * c.volts_rms)
    log = four(math.log(start / 5))
    return {
        "00-line-amps": four(c.volt_amperes / c.line_volts),
        "00-start-volts": start,
        "00-bleed-time": four(c.bleed_ohm * c.capacitor_microfarad * 1e-6) * log,
        "00-bleeder": c.wanted_seconds / four(c.capacitor_microfarad * 1e-6 * log),
        "00-bleed-watts": four(start * start) / c.bleed_ohm,
        "00-clip-amps": c.volts_rms / four(c.source_ohm + c.lead_ohm),
        "00-short-amps": c.volts_rms / four(c.source_ohm + 2 * c.wire_ohm),
    }


def test_everybody_begins_here():
    assert next(iter(study.lesson_files())) == NAME


def test_what_the_lesson_teaches_is_well_inside_the_tolerance():
    for one in some(500):
        for item, value in taught(one).items():
            assert value == pytest.approx(KEYS[item].first(one), rel=0.2 * KEYS[item].rel_tol), (item, one.values())


def test_every_panel_could_be_built():
    """F2 within NEC chapter 9 table 11(A), 100/V; bleeders of IEC 60063 E12; every short more than the fuse that opens."""
    for one in some(500):
        assert one.panel_fuse_amps <= float(CLASS_2["overcurrent protection × volts"]) / 24 < 4.17
        assert one.volt_amperes / 24 <= one.panel_fuse_amps and one.volts_rms <= float(CLASS_2["largest secondary"])
        assert four(one.bleed_ohm / 10 ** math.floor(math.log10(one.bleed_ohm))) in PREFERRED["E12"]
        assert max(keys_00.fuse_multiples(one)) >= 1.5 * keys_00.fuse_multiples(one)[0]


def test_a_capacitor_starts_at_the_published_peak():
    """24 V rms is 33.9 V peak and 30 V rms is 42.4 V, as published beside the class 2 table."""
    assert keys_00.start_volts(type("C", (), {"volts_rms": 24.0})) == pytest.approx(33.9, abs=0.05)
    assert keys_00.start_volts(type("C", (), {"volts_rms": 30.0})) == pytest.approx(42.4, abs=0.05)


def test_bleed_times_and_resistors_against_scipy():
    """dV/dt = −V/(RC) by a Runge-Kutta method that knows nothing of logarithms."""
    for one in some(12):
        for ohm, seconds in (
            (one.bleed_ohm, KEYS["00-bleed-time"].first(one)),
            (KEYS["00-bleeder"].first(one), one.wanted_seconds),
        ):
            rate = -1 / (ohm * one.capacitor_microfarad * 1e-6)
            fallen = solve_ivp(lambda t, v, rate=rate: rate * v, (0, seconds), [2**0.5 * one.volts_rms], rtol=1e-9)
            assert fallen.y[0, -1] == pytest.approx(5, rel=1e-5)


def test_one_time_constant_leaves_37_percent_and_five_leave_less_than_1():
    """e to the −1 and to the −5, closed form; the lesson's text and its table rest on them."""
    assert one_panel.volts_left(100.0, 1000.0, 1e-3, 1.0) == pytest.approx(36.79, abs=0.005)
    assert one_panel.volts_left(100.0, 1000.0, 1e-3, 5.0) == pytest.approx(0.6738, abs=0.0005)
    assert "37 %" in SOURCES["00-bleed-taught"]


def test_every_part_is_wired_to_one_side_only():
    line = keys_00._reached_from_the_line()
    other = {name for run in keys_00.COPPER[2:] for name in run}
    assert not line & other and set(sheets.PARTS) <= line | other


def test_the_order_is_that_of_the_published_rule():
    """29 CFR 1910.147(d), seen: (1) preparation, (2) shutdown, (3) isolation, (4) lockout, (5) stored energy, (6) verification."""
    rule = {1: "find", 2: "off", 3: "off", 4: "lock", 5: "bleed", 6: "test"}
    places = [keys_00.RULE.index(step) for step in rule.values()]
    assert places == sorted(places) and set(keys_00.RULE) == set(sheets.STEPS)
    rows = [
        line.split("|")[1].strip().replace("**", "") for line in SOURCES["00-order-taught"].splitlines() if "|" in line
    ]
    assert [row.split(",")[0][:12] for row in rows[2:]] == [
        sheets.STEPS[step].split(",")[0][:12] for step in keys_00.RULE
    ]


def test_which_clips_make_a_short_said_once_more_by_hand():
    """A grounded clip on the side that is not grounded, and W when the thermostat joins it to R."""
    by_hand = {"C": {"R", "W calling"}, "R": {"C"}}
    for one in some(60):
        names, side = sheets.connections(one.clip_sheet), sheets.grounded(one.clip_sheet)
        assert {name for name, entry in zip(names, KEYS["00-clip"].first(one), strict=True) if entry} == by_hand[side]
        assert sorted(names) == sorted(sheets.CONNECTIONS)


def test_the_line_side_fuse_is_never_first_and_both_others_are():
    found = {KEYS["00-fuse"].first(one) for one in some(200)}
    assert found == {(0, 1, 0), (0, 0, 1)}


def test_pictures_say_their_numbers_in_words(capsys):
    one_panel.panel_picture(208)
    one_panel.clip_picture(25.92, 0.461, 0.05, clip="R")
    one_panel.clip_picture(25.92, 0.461, 0.05, clip="C")
    one_panel.short_picture(120, 25.92, 0.461, 0.3, place=1)
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ").splitlines()
    wanted = (
        ["208 V", "F1", "F2", "coil"],
        ["on R", "50.7 A"],
        ["on C", "No current"],
        ["24.4 A", "5.28 A", "F3 nothing"],
    )
    for line, words in zip(said, wanted, strict=True):
        assert all(word in line for word in words), line


def test_what_the_tour_says_is_refused_is_refused():
    for wrong in ((0, 5), (1, 500), "24 V", ..., "0,5"):
        assert read(wrong, "V").value is None
    assert read(1500, "V").value == 1500 and read([1, 0, 1], "table").value == [1, 0, 1]
    assert "a row of 0 and 1" in read(..., "table").sentence


def test_the_bench_has_what_the_lesson_tells_to_press_and_read():
    there = {part.words for part in (*bench_00.CONTROLS, *bench_00.SITUATIONS)} | {"Reset"}
    there |= {reading.words for reading in bench_00.state(bench_00.start()).readings}
    said = {name for line in SOURCES["00-bench"].splitlines() if line[:1].isdigit() for name in BOLD.findall(line)}
    assert len(said) >= 5 and said <= there
    small = next(part for part in bench_00.SITUATIONS if part.words == "Transformer too small")
    for one in some(10):
        settings = bench_00.start(one)
        assert settings.volt_amperes == one.volt_amperes
        assert bench_00.state(replace(settings, **small.changes)).caution.startswith("Not in the field")


def test_every_practice_item_tells_its_wrong_answers_apart():
    checks = [text for name, text in SOURCES.items() if name.startswith("00-practice-") and name.endswith("-check")]
    assert len(checks) >= 9
    for text in checks:
        seen = []
        exec(text.replace("check(", "check(0,", 1), {"check": lambda *_, seen=seen, **kw: seen.append(kw), "ln": math.log}
             | dict.fromkeys(re.findall(r"practice_\w+", text), ...))  # fmt: skip
        for one, other in itertools.combinations([seen[0]["right"], *seen[0]["hints"]], 2):
            assert (
                list(one) != list(other)
                if seen[0]["unit"] == "table"
                else abs(one - other) > 0.011 * max(abs(one), abs(other))
            )

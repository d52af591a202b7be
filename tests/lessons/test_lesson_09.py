"""Lesson 09: its keys against SciPy and closed forms, its formulas, its captures, its lists and pictures' words."""

import json
import math
import re
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from autograde import marking
from autograde.keys.lesson_09 import cause_row, fault_row, led_drops, seen_half, wiring_row
from halfcycle import Supply, Wire, meters, steer
from halfcycle.benches import two_calls
from halfcycle.steering import FAULTS
from halfcycle.variants import circuit, lesson_09
from halfcycle.workbook import field_test, one_conductor
from halfcycle.workbook import one_conductor_pictures as pictures

KEYS, TRAPS = marking.load("09")
NOTEBOOK = Path(__file__).parents[2] / "lessons/09_two_calls_on_one_conductor/09_two_calls_on_one_conductor.ipynb"
CELLS = json.loads(NOTEBOOK.read_text("utf-8"))["cells"]
CODE = "\n".join("".join(c["source"]) for c in CELLS if c["cell_type"] == "code")
PROSE = "\n".join("".join(c["source"]) for c in CELLS if c["cell_type"] == "markdown")


def some(count):
    return [circuit("half-cycle", "09", f"apprentice-{number}") for number in range(count)]


def taught(c):
    """The lesson's formulas with its rounded factors, as an apprentice types them; heights read to half a volt."""
    peak, drops = round(1.414 * c.volts_rms, 2), led_drops(c)
    ohm, side = c.led_resistor_ohm + c.wire_ohm, round(math.degrees(math.asin(drops / peak)), 2)
    return {
        "09-dc": (-(0.318 * peak - 0.35),),
        "09-ac": (0.386 * (peak - 0.7), math.sqrt((0.5 * peak - 0.64 * 0.7) ** 2 - (0.318 * peak - 0.35) ** 2)),
        "09-ac-both": (c.volts_rms - 0.9 * 0.7,),
        "09-led-peak": (1000 * (peak - drops) / ohm, 1000 * (peak - drops) / c.led_resistor_ohm),
        "09-led-mean": (1000 * (0.318 * peak - 0.5 * drops) / ohm,),
        "09-dark": (2 * side / 360 * 1000 / 60,),
    }


def test_what_the_lesson_teaches_is_well_inside_the_tolerance():
    for c in some(1500):
        for item, values in taught(c).items():
            for value in values:
                assert value == pytest.approx(KEYS[item].first(c), rel=0.55 * KEYS[item].rel_tol), (item, c.values())


def test_a_height_read_to_a_third_of_a_volt_is_right_and_gives_a_right_mean():
    for c in some(300):
        top = math.sqrt(2) * field_test.board_volts(c) - 0.7
        for read in (top - 0.35, top + 0.35):
            assert marking.fits(read, KEYS["09-read-peak"].first(c), KEYS["09-read-peak"])
            assert marking.fits(-0.318 * read, KEYS["09-read-dc"].first(c), KEYS["09-read-dc"])


def test_mean_and_rms_against_quadrature():
    """scipy.integrate.quad of one half behind thresholds: neither our closed form nor our solver."""
    for c in some(20):
        peak = c.volts_rms * math.sqrt(2)

        def half(x, lost, peak=peak):
            return max(0.0, peak * math.sin(x) - lost)

        def over_a_cycle(power, lost, half=half):
            return quad(lambda x: half(x, lost) ** power, 0, math.pi, limit=300)[0] / (2 * math.pi)

        mean, square = over_a_cycle(1, 0.7), over_a_cycle(2, 0.7)
        ohm = c.led_resistor_ohm + c.wire_ohm
        assert KEYS["09-dc"].first(c) == pytest.approx(-mean, rel=1e-5)
        assert KEYS["09-ac"].first(c) == pytest.approx(math.sqrt(square - mean**2), rel=1e-5)
        assert KEYS["09-ac-both"].first(c) == pytest.approx(math.sqrt(2 * square), rel=1e-5)
        assert KEYS["09-led-mean"].first(c) == pytest.approx(1000 * over_a_cycle(1, led_drops(c)) / ohm, rel=1e-5)


def test_coils_behind_the_outputs_are_fed_half_waves_and_pull_in_as_scipy_says():
    """solve_ivp of one coil behind a triac that conducts from each upper zero until its current is gone: rms above pull-in."""
    ohm, henry, peak, w = 110.0, 0.9, 26.0 * math.sqrt(2), 2 * math.pi * 60

    def gone(t, amps):
        return amps[0] + 1e-9 * (t < 1e-3)

    gone.terminal, gone.direction = True, -1
    run = solve_ivp(
        lambda t, amps: [(peak * math.sin(w * t) - 1.0 - (ohm + 2.0) * amps[0]) / henry],
        (1e-4, 1 / 60), [0.0], events=gone, max_step=5e-5, rtol=1e-8,
    )  # fmt: skip
    rms = math.sqrt(np.trapezoid(run.y[0] ** 2, run.t) * 60)
    solved = steer(Supply(26.0), True, False, coil=one_conductor.Coil(110.0), led_resistor_ohm=1500.0).output("A")
    assert rms == pytest.approx(solved.coil_rms_amps, rel=0.05) and rms > solved.coil.pull_in_amps


def test_the_two_tables_hold_for_every_number_of_the_lists():
    for number in one_conductor.WIRINGS:
        solved = [on for state in one_conductor.STATES[1:] for on in one_conductor.wired_outputs(number, *state)]
        assert list(wiring_row(number)) == solved, number
    for number, fault in enumerate(FAULTS, start=1):
        solved = [on for state in one_conductor.STATES[1:] for on in one_conductor.outputs(*state, fault=fault)]
        assert list(fault_row(number)) == solved and one_conductor.fault_named(number) == fault


def test_causes_for_every_state_and_fault_are_those_whose_wave_is_alike():
    """Waves told apart by which halves pass ten volts, in the exact solver, for all 4 × 8 cases."""
    for (call_a, call_b), fault in product(one_conductor.STATES, field_test.CAUSES):
        waves = [one_conductor.conductor(21.0, call_a, call_b, fault=cause).values for cause in field_test.CAUSES]
        shapes = [(bool(wave.max() > 10), bool(wave.min() < -10)) for wave in waves]
        mine = shapes[field_test.CAUSES.index(fault)]
        row = tuple(int(shape == mine) for shape in shapes)
        assert cause_row(call_a, call_b, seen_half(call_a, call_b, fault)) == row, (call_a, call_b, fault)
    assert cause_row(True, True, frozenset(("upper", "lower"))) == (1, 0, 1, 0, 0, 1, 0, 1)


def test_captures_are_the_learners_own_and_the_same_every_time():
    drawn = some(120)
    assert len({field_test.state_order(c) for c in drawn}) == 24
    assert len({field_test.cause_case(c) for c in drawn}) == len(field_test.CAUSE_CASES)
    assert all(field_test.board_volts(c) < 0.9 * c.volts_rms for c in drawn)
    once = field_test.captures(drawn[0])
    field_test.captures.cache_clear()
    assert all((one.values == two.values).all() for one, two in zip(once, field_test.captures(drawn[0]), strict=True))
    assert all(abs(wave.values).max() < 40 for c in drawn[:20] for wave in field_test.captures(c))


def test_the_bench_set_to_the_circuit_reads_what_the_keys_say():
    for c in some(12):
        start = two_calls.start(c)
        alone, both = (two_calls.numbers(replace(start, call_a=a, call_b=True, fault="")) for a in (False, True))
        reads = {"09-dc": alone.dc_volts, "09-ac": alone.ac_volts, "09-ac-both": both.ac_volts}
        reads |= {"09-led-peak": 1000 * alone.led_peak_amps[1], "09-led-mean": 1000 * both.led_amps[0]}
        for item, value in reads.items():
            assert marking.fits(value, KEYS[item].first(c), KEYS[item]), (item, c.values())


def test_the_traps_of_the_course_map_are_there_and_worked_numbers_are_nobodys():
    names = {trap.name for traps in TRAPS.values() for trap in traps}
    wanted = {"polarity-exchanged", "both-at-once-cancel", "full-wave-taken-as-fault", "conductor-counted-twice"}
    assert wanted | {"current-halved", "drop-forgotten", "rms-for-mean", "full-wave-on-half-wave"} <= names
    assert len(names) >= 30
    draws = lesson_09.DRAWS
    assert not {22, 28} & set(draws["volts_rms"].choices) and not {1000, 3300} & set(draws["led_resistor_ohm"].choices)
    assert not {4, 10} & set(draws["calls"].choices) and not {1, 3} & set(draws["wiring"].choices)
    assert "conductor(28, " in CODE and 7 not in draws["fault"].choices and 10 not in draws["fault"].choices


def test_the_wire_is_that_of_the_standards_table():
    """NFPA 70 chapter 9 table 8 (seen in a public copy): solid 18 AWG 7.77 Ω per 1000 ft at 75 °C."""
    assert "7.77 Ω in 1000 ft" in PROSE and Wire(18, 1000, celsius=75).one_way_ohm == pytest.approx(7.77, rel=1e-3)
    assert Wire(22, 100).one_way_ohm == pytest.approx(1.6, rel=0.01)


def test_the_pictures_say_what_they_show(capsys):
    led = {"led_drop_volts": 1.2, "led_resistor_ohm": 1000.0, "wire_ohm": 1.6}
    pictures.halves_picture(28, **led)
    pictures.states_picture(28)
    pictures.zero_picture(28, **led)
    c = some(1)[0]
    pictures.captures_picture(field_test.captures(c)[:4])
    pictures.capture_picture(field_test.captures(c), 9)
    pictures.own_capture_picture(one_conductor.conductor(28, False, True))
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Peak in each LED 36.9 mA",
        "Call B alone: dc meter −12.2 V, ac meter 15.0 V",
        "Both calls: dc meter 0 V, ac meter 27.3 V",
        "R to C reaches 39.6 V, the conductor 38.8 V",
        "There are captures 1 to 5.",
        "humps that stand out | lower alone",
    ):
        assert words in said, words
    assert not re.search(r"Capture \d: [^\n]*(call|LED|output)", said), "a capture gives itself away"
    assert meters.peak(one_conductor.conductor(28, False, False)) == 0

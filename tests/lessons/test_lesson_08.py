"""Lesson 08: its boards, keys and pictures, held against closed forms, against SciPy and against the standard's list."""

import functools
import itertools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from autograde import marking
from autograde.keys import lesson_08 as keys
from halfcycle import meters
from halfcycle.benches import opto
from halfcycle.variants import Circuit, circuit, lesson_08
from halfcycle.workbook import across_the_gap as gap
from halfcycle.workbook import gap_pictures

NOTEBOOK = Path(__file__).parents[2] / "lessons" / "08_light_across_the_gap" / "08_light_across_the_gap.ipynb"
KEYS, TRAPS = marking.load("08")
IEC_60063_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
IEC_60063_E24_OHM = tuple(step * ten for ten in (10, 100) for step in IEC_60063_E24)


@functools.cache
def some(count):
    return [circuit("half-cycle", "08", f"apprentice-{number}") for number in range(count)]


def drawn(**other):
    """The worked example of the lesson, or a board that differs from it."""
    values = {
        "volts_rms": 28.0, "led_drop_volts": 1.2, "led_resistor_ohm": 10000, "wanted_amps": 0.022, "guaranteed_amps": 0.008,
        "trigger_amps": 0.0032, "inhibit_volts": 20, "latching_amps": 0.06, "holding_amps": 0.025, "snubber_farad": 68e-9,
        "input_ohm": 27000, "off_volts": 6, "case_a": 1, "case_b": 2, "case_c": 3, "case_d": 8, "diode_drop_volts": 0.7,
        "output_drop_volts": 1.0, "hertz": 60, "meter_megohm": 1,
    } | other  # fmt: skip
    return Circuit("half-cycle", "08", "anyone", tuple((name, value, "", "") for name, value in values.items()))


def taught(c):
    """The lesson's formulas with its rounded factors, as an apprentice types them, every step rounded as one would."""
    peak, drops = round(1.414 * c.volts_rms, 2), 2 * c.diode_drop_volts + c.led_drop_volts
    ohm = keys.new_ohm(c)
    amps = round((peak - drops) / ohm, 5)
    reactance = round(1 / (2 * 3.1416 * c.hertz * c.snubber_farad), -1)
    meter_ohm = 1e6 * c.meter_megohm
    return {
        "08-fitted-peak": 1000 * round((peak - drops) / c.led_resistor_ohm, 5),
        "08-inhibit": math.degrees(math.asin(round(c.inhibit_volts / peak, 3))),
        "08-fires-at": math.degrees(math.asin(round((c.trigger_amps * c.led_resistor_ohm + drops) / peak, 3))),
        "08-resistor": lesson_08._pick((peak - drops) / c.wanted_amps),
        "08-margin": amps / c.guaranteed_amps,
        "08-average": 1000 * (0.318 * peak - 0.5 * drops) / ohm,
        "08-conduction": 180 - 2 * round(math.degrees(math.asin(drops / peak)), 1),
        "08-heat": 1000 * round(0.5 * peak - 0.64 * drops, 2) ** 2 / ohm,
        "08-load": (peak - c.output_drop_volts) / c.latching_amps,
        "08-leak": 1000 * c.volts_rms / reactance,
        "08-meter": c.volts_rms * meter_ohm / math.hypot(meter_ohm, reactance),
        "08-half-on": c.volts_rms * c.input_ohm / math.hypot(c.input_ohm, reactance),
        "08-bleeder": lesson_08._pick(c.off_volts / (c.volts_rms / reactance), down=True),
    }


# The boards.


def test_resistors_are_preferred_values():
    """Series E24 of IEC 60063, two figures each."""
    for name in ("led_resistor_ohm", "input_ohm"):
        assert all(ohm / 10 ** (len(str(ohm)) - 2) in IEC_60063_E24 for ohm in lesson_08.DRAWS[name].choices)
    assert all(ohm / 10 ** (len(f"{ohm:.0f}") - 2) in IEC_60063_E24 for ohm in keys.E24)


def test_every_board_tells_the_story_on_the_exact_solver():
    """As found, one part is lit well above its trigger current and the relay stays out; the new resistor serves the worst part."""
    for c in some(60):
        kept = {name: getattr(c, name) for name in ("led_drop_volts", "inhibit_volts", "latching_amps", "holding_amps")}
        found = gap.relay(c.volts_rms, **kept, led_resistor_ohm=c.led_resistor_ohm, trigger_amps=c.trigger_amps)
        assert meters.peak(found.led_amps) > 1.05 * c.trigger_amps and not found.pulled_in
        worst = {"led_resistor_ohm": keys.new_ohm(c), "trigger_amps": c.guaranteed_amps}
        assert gap.relay(c.volts_rms, **kept, **worst).pulled_in
        without_window = kept | {"inhibit_volts": None, "led_resistor_ohm": c.led_resistor_ohm}
        assert gap.relay(c.volts_rms, **without_window, trigger_amps=c.trigger_amps).pulled_in


def test_on_the_bench_too_the_relay_stays_out_as_found_and_pulls_in_with_less():
    for own in some(60):  # the bench has one plain diode less in the loop than the lesson
        found = opto.start(own)
        lower = max(ohm for ohm in IEC_60063_E24_OHM if ohm <= 0.5 * found.led_resistor_ohm)
        assert opto.numbers(found).led_peak_amps > found.trigger_amps, own.learner
        assert opto.numbers(found).coil_rms_amps < 0.1 * found.load.answer_amps, own.learner
        assert opto.numbers(replace(found, led_resistor_ohm=lower)).coil_rms_amps > found.load.answer_amps, own.learner


def test_no_led_is_given_more_than_it_stands():
    """40 to 50 mA is the most such an LED is given (common practice, no source)."""
    assert max(lesson_08.DRAWS["wanted_amps"].choices) < 0.040


# The keys.


@pytest.mark.parametrize("item", sorted(set(KEYS) - {"08-rating", "08-across"}))
def test_what_the_lesson_teaches_is_well_inside_the_tolerance(item):
    for one in some(300):
        assert taught(one)[item] == pytest.approx(KEYS[item].first(one), rel=0.5 * KEYS[item].rel_tol), one.values()


def test_mean_and_heat_against_quadrature():
    """scipy.integrate.quad of the half wave behind the drops: neither our closed form nor our solver."""
    for c in some(8):
        peak, drops = c.volts_rms * math.sqrt(2), 1.4 + c.led_drop_volts

        def hump(x, peak=peak, drops=drops):
            return max(0.0, peak * math.sin(x) - drops)

        mean = quad(hump, 0, math.pi, limit=300)[0] / (2 * math.pi)
        square = quad(lambda x, hump=hump: hump(x) ** 2, 0, math.pi, limit=300)[0] / (2 * math.pi)
        assert KEYS["08-average"].first(c) == pytest.approx(1000 * mean / keys.new_ohm(c), rel=1e-7)
        assert KEYS["08-heat"].first(c) == pytest.approx(1000 * square / keys.new_ohm(c), rel=1e-7)


def test_the_bleeder_against_a_root_of_the_phasors():
    """Complex impedances of resistor and snubber, 100 Ω of it included; the root found by scipy.optimize.brentq."""
    for c in some(60):
        snubber = 100 + 1 / (2j * np.pi * c.hertz * c.snubber_farad)

        def above(ohm, c=c, snubber=snubber):
            return c.volts_rms * abs(ohm / (ohm + snubber)) - c.off_volts

        most_ohm = brentq(above, 100, 1e6)
        preferred = [value * 10.0**decade for decade in (1, 2, 3, 4) for value in IEC_60063_E24]
        assert KEYS["08-bleeder"].first(c) == max(ohm for ohm in preferred if ohm <= most_ohm)


def test_the_worked_example_to_the_digits_that_the_lesson_prints():
    """By hand with a pocket calculator from the lesson's formulas."""
    by_hand = {"08-fitted-peak": 3.70, "08-inhibit": 30.3, "08-fires-at": 60.9, "08-resistor": 1800, "08-margin": 2.57}
    by_hand |= {"08-conduction": 172.5, "08-rating": 0.5, "08-load": 643.3, "08-leak": 0.718, "08-half-on": 15.94}
    for item, value in (by_hand | {"08-bleeder": 8200}).items():
        assert KEYS[item].first(drawn()) == pytest.approx(value, rel=1.5e-3), item


def test_a_capacitor_at_right_angles_in_the_three_four_five_triangle():
    """Euclid: where resistance and reactance are as 3 to 4, the resistance gets three fifths and the snubber four."""
    farad = 1 / (2 * math.pi * 60 * 40000)
    c = drawn(volts_rms=25.0, snubber_farad=farad, input_ohm=30000)
    assert KEYS["08-half-on"].first(c) == pytest.approx(15.0, rel=1e-12)
    wrong = {trap.name: trap.value(c) for trap in TRAPS["08-half-on"]}
    assert wrong["across-the-snubber"] == pytest.approx(20.0, rel=1e-12)


def test_a_short_reaches_across_by_two_joints_and_by_no_fewer():
    for case, joints in lesson_08.JOINTS.items():
        sound, shorted = (meters.peak(gap.thermostat_amps(case, shorted=short)) for short in (False, True))
        assert shorted == pytest.approx(sound, rel=1e-6) if joints < 2 else shorted < 0.1 * sound, case


# The traps and the pictures.


def test_the_traps_of_the_course_map_are_there():
    names = {trap.name for traps in TRAPS.values() for trap in traps}
    mapped = {
        "rms-for-peak",
        "second-diode-forgotten",
        "average-for-peak",
        "latching-holding-exchanged",
        "leakage-ignored",
    }
    assert mapped <= names and len(names) >= 20
    assert all(len(TRAPS[item]) >= 3 for item in KEYS)


def test_the_worked_example_is_nobodys_own_board():
    example = drawn()
    for name in ("volts_rms", "led_resistor_ohm", "guaranteed_amps", "trigger_amps", "inhibit_volts", "latching_amps"):
        assert getattr(example, name) not in lesson_08.DRAWS[name].choices, name
    for name in ("holding_amps", "snubber_farad", "input_ohm", "off_volts"):
        assert getattr(example, name) not in lesson_08.DRAWS[name].choices, name


def test_the_lessons_list_of_cases_is_the_one_that_marks():
    """The list in words: two joints of metal exactly where two ways are named."""
    cells = {cell["id"]: "".join(cell["source"]) for cell in json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]}
    lines = [line.split(" | ") for line in cells["08-no-crossing"].splitlines() if line[:3].strip("| ").isdigit()]
    two_ways = {int(number.strip("| ")) for number, words in lines if "both sides" in words or " hot lead" in words}
    lone_hot = {5}  # names the hot leads, and says that nothing else joins
    assert len(lines) == 8
    assert two_ways - lone_hot == {case for case, joints in lesson_08.JOINTS.items() if joints == 2}


def test_the_pictures_say_what_they_show(capsys):
    channel = {"led_drop_volts": 1.2, "inhibit_volts": 20}
    gap_pictures.board_picture(28, led_drop_volts=1.2, resistor_ohm=1800)
    gap_pictures.window_picture(28, **channel, led_resistor_ohm=10000, trigger_amps=0.0032)
    gap_pictures.window_picture(28, **channel, led_resistor_ohm=1800, trigger_amps=0.008)
    leak = {"snubber_farad": 68e-9, "across_ohm": 27e3, "across": "input"}
    gap_pictures.leak_picture(28, **leak)
    gap_pictures.leak_picture(28, **leak, bleeder_ohm=8200)
    for ohm in (390, 820):
        gap_pictures.load_picture(28, load_ohm=ohm, latching_amps=0.06, holding_amps=0.025)
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    words = (
        "peak 20.6 mA, mean 6.29 mA",
        "does not pull in",
        "60.9° after the zero; the window closes at 30.3°",
        "relay pulls in",
    )
    for part in (
        *words,
        "15.9 V rms across the input",
        "a bleeder of 8.20 kΩ",
        "4.46 V rms",
        "the output latches",
        "does not latch",
    ):
        assert part in said


def test_degrees_above_meet_the_sine_on_both_sides():
    """sin 30° = 1/2."""
    c = drawn()
    amps = gap.led_amps(c.volts_rms, led_drop_volts=1.2, resistor_ohm=1800)
    up, down = gap.degrees_above(amps, (keys.peak_volts(c) / 2 - 2.6) / 1800)
    assert (up, down) == (pytest.approx(30, abs=0.05), pytest.approx(150, abs=0.05))
    assert all(left < right for left, right in itertools.pairwise((up, 90, down)))

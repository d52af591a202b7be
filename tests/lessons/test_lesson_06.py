"""Lesson 06: its keys against SciPy and closed forms, its printed table against the solver, its tables as a learner reads them."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from autograde import marking
from halfcycle import Supply, meters, spike_bus
from halfcycle.benches import spikes
from halfcycle.spikes import Actuator
from halfcycle.variants import circuit, lesson_06
from halfcycle.workbook import spiky_pictures
from halfcycle.workbook.spiky_bus import blocks, bus_of, charging_bus

KEYS, TRAPS = marking.load("06")
NAME = "06_what_a_pulse_charging_actuator_does_to_the_bus"
NOTEBOOK = Path(__file__).parents[2] / f"lessons/{NAME}/{NAME}.ipynb"
CELLS = json.loads(NOTEBOOK.read_text("utf-8"))["cells"]
EXAMPLE = {"resistance_ohm": 0.96, "leakage_henry": 0.2e-3, "bus_load_ohm": 30, "pulses_per_cycle": 14}


def some(count):
    return [circuit("half-cycle", "06", f"apprentice-{number}") for number in range(count)]


def one_of_each_bus():
    return list({(c.volt_amperes, c.pulses_per_cycle, c.bus_load_ohm): c for c in some(600)}.values())


@pytest.fixture
def shown(capsys):
    def read(picture, *arguments, **options):
        picture(*arguments, **options)
        return capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")

    return read


def test_the_printed_table_is_what_the_solver_finds_on_every_bus():
    assert len(lesson_06.MEASURED) <= 60
    for (rating, closings, load), row in list(lesson_06.MEASURED.items())[::4]:
        resistance, leakage = lesson_06.WINDINGS[rating]
        bus = charging_bus(
            26.4, resistance_ohm=resistance, leakage_henry=leakage, bus_load_ohm=load, pulses_per_cycle=closings
        )
        solved, (small, large, charging, rest, milliamps, width, heights) = bus.solved, row
        assert meters.true_rms(solved.bus_volts) == pytest.approx(charging, abs=0.006)
        assert meters.true_rms(solved.undisturbed_volts) == pytest.approx(rest, abs=0.006)
        assert 1e3 * meters.true_rms(solved.actuator_amps) == pytest.approx(milliamps, abs=0.06)
        assert 1e6 * bus.width_s == pytest.approx(width, abs=0.006)
        assert bus.spikes.heights == pytest.approx(heights, abs=0.06)
        for volts, watts in ((2.5, small), (2.7, large)):
            actuator = Actuator(
                supercap_volts=volts, pulses_per_cycle=closings, pulse_s=150e-6, inductance_henry=1.2e-3
            )
            supply = Supply(26.4, resistance_ohm=resistance, leakage_henry=leakage)
            seconds = spike_bus(supply, actuator, bus_load_ohm=load).charge_seconds()
            assert actuator.energy_joules / seconds == pytest.approx(watts, abs=6e-4)


def test_energy_and_times_against_quadrature_and_a_differential_equation():
    """scipy.integrate: the integral of v dq, and C dv/dt = P/v from next to nothing up to full."""
    for c in some(20):
        series, full = 1 / (2 / c.supercap_farad), 2 * c.supercap_volts
        assert KEYS["06-energy"].first(c) == pytest.approx(
            quad(lambda q, farad=series: q / farad, 0, series * full)[0], rel=1e-9
        )

        def rate(_, volts, series=series, watts=c.charging_watts):
            return watts / (series * volts)

        def is_full(_, volts, full=full):
            return volts[0] - full

        is_full.terminal = True
        run = solve_ivp(rate, (0, 500), [1e-3], events=is_full, rtol=1e-9, atol=1e-9)
        assert KEYS["06-charge-time"].first(c) == pytest.approx(run.t_events[0][0], rel=1e-5)


def test_two_of_6_farads_and_2_5_volts_hold_37_5_joules_and_charge_in_half_a_minute():
    """6 F and 6 F in series are 3 F; charge about 30 s, minutes to fall (common practice, no source)."""
    actuator = Actuator()
    assert (actuator.series_farad, actuator.energy_joules) == (3.0, 37.5)
    assert charging_bus(26.4, **EXAMPLE).solved.charge_seconds() == pytest.approx(30, rel=0.1)
    assert 20 < np.median([KEYS["06-charge-time"].first(c) for c in some(300)]) < 45
    assert min(KEYS["06-fall-time"].first(c) for c in some(300)) > 2


def test_the_spike_is_the_interrupted_current_in_the_loads_and_dies_with_the_leakage():
    """Closed forms of an inductance that empties into a resistance: height I·R - dip, width ln 2 · L/R; the wiring's
    capacitance makes it a little lower and wider on the buses of this lesson, and much lower on an empty one."""
    for c in one_of_each_bus()[::5]:
        bus, load = bus_of(c), 1 / (1 / c.bus_load_ohm + 1 / 2000.5)
        dip, amps = bus.before
        assert 0.92 < bus.height_volts / (amps * load - dip) < 1
        assert 1 < bus.width_s / (math.log(2) * c.leakage_henry / (load + c.resistance_ohm)) < 1.16
    empty = charging_bus(26.4, **EXAMPLE | {"bus_load_ohm": 1000})
    assert empty.height_volts < 0.5 * (empty.before[1] * 666 - empty.before[0])


def test_rms_of_blocks_is_the_height_times_the_root_of_the_part_of_the_time():
    """Rms of a rectangular pulse train: height · √(duty cycle) (handbooks of electronics, from memory)."""
    assert meters.true_rms(blocks(100, 5e-6, 240)) == pytest.approx(100 * math.sqrt(0.0012), rel=1e-9)


def test_the_added_rms_is_an_upper_bound_and_small():
    for c in one_of_each_bus()[::3]:
        bus = bus_of(c)
        assert (
            meters.true_rms(bus.bus) - meters.true_rms(bus.rest) < KEYS["06-added-rms"].first(c) < 0.03 * c.rest_volts
        )


def test_what_a_learner_reads_in_the_tables_is_well_inside_the_tolerance(shown):
    """The printed samples, taken as they stand: top, sine, the rows about the half level, the row before the opening."""
    for c in one_of_each_bus():
        bus = bus_of(c)
        text = shown(spiky_pictures.samples_table, bus).replace("−", "-").splitlines()[1:]
        rows = np.array([[float(cell.removesuffix(" (top)")) for cell in line.split(" | ")] for line in text])
        seconds, volts, sine, amps = rows.T
        height, top = volts.max() - sine[volts.argmax()], int(volts.argmax())
        falls = np.interp(-(sine[top] + height / 2), -volts[top:], seconds[top:])
        read = {
            "06-height": height,
            "06-width": falls - 0.1,
            "06-source-ohm": (sine[0] - volts[0]) / amps[0],
        }
        for item, value in read.items():
            assert value == pytest.approx(KEYS[item].first(c), rel=0.5 * KEYS[item].rel_tol), (item, c.values())
        by_eye = height * math.sqrt((falls - 0.1) * 1e-6 * KEYS["06-rate"].first(c))
        added = math.hypot(c.rest_volts, by_eye) - c.rest_volts
        assert added == pytest.approx(KEYS["06-added-rms"].first(c), rel=0.5 * KEYS["06-added-rms"].rel_tol)


def test_what_a_learner_counts_in_the_table_of_spikes_is_the_key(shown):
    for c in some(150):
        lines = shown(spiky_pictures.spikes_table, bus_of(c), c.threshold_volts).splitlines()[1:]
        lasting = [float(found[1]) for line in lines if (found := re.search(r"([\d.]+) µs", line))]
        assert len(lines) * 60 == KEYS["06-rate"].first(c)
        assert 60 * sum(one >= c.qualify_microseconds for one in lasting) == KEYS["06-false-trips"].first(c)
        assert all(abs(one - c.qualify_microseconds) > 0.15 for one in lasting)


def test_the_bench_opens_on_the_learners_bus_and_reads_as_the_keys():
    for c in one_of_each_bus()[::6]:
        found = spikes.numbers(spikes.start(c))
        for item, value in {
            "06-rate": found.spikes_hertz,
            "06-height": found.spike_volts,
            "06-width": 1e6 * found.width_s,
        }.items():
            assert marking.fits(value, KEYS[item].first(c), KEYS[item]), item


def test_the_traps_of_the_course_map_are_there():
    names = {trap.name for traps in TRAPS.values() for trap in traps}
    assert {"series-capacitors-added", "half-forgotten", "height-from-zero", "per-cycle-for-per-second"} <= names
    assert {"volts-of-one-for-both", "closings-for-spikes", "width-at-the-base", "winding-alone"} <= names
    assert all(len(TRAPS[item]) >= 3 for item in KEYS) and len(names) >= 30
    assert sum(key.points for key in KEYS.values()) == 21


def test_no_pulse_is_called_by_the_name_of_a_standards_test_pulse():
    prose = "".join("".join(cell["source"]) for cell in CELLS).lower()
    assert not re.search(r"\beft\b|\bsurges?\b|fast transient", prose)


def test_the_worked_example_is_nobodys_own_circuit():
    for name in ("bus_load_ohm", "pulses_per_cycle"):
        assert EXAMPLE[name] not in lesson_06.DRAWS[name].choices
    assert not {6.0, 10.0} & set(lesson_06.DRAWS["supercap_farad"].choices)
    code = "".join("".join(cell["source"]) for cell in CELLS if cell["cell_type"] == "code")
    assert set(re.findall(r"pulses_per_cycle=(\d+)", code)) == {"14"}


def test_the_pictures_say_what_they_show_and_keep_a_learners_readings_to_themselves(shown):
    bus = charging_bus(26.4, **EXAMPLE)
    said = shown(spiky_pictures.store_picture, 6, 2.5, charging_watts=1.2, hold_amps=0.005, lowest_volts=3.5) + shown(
        spiky_pictures.closing_picture, bus
    )
    for words in ("6 F and 2.5 V in series", "fill in 31.2 s", "15.0 min", "dips by 7.17 V", "switch closed"):
        assert words in said, words
    assert "Heights above the sine: 41.6 V, 74.0 V, 91.3 V" in shown(spiky_pictures.cycle_picture, bus)
    assert "Height 91.3 V, 4.83 µs wide" in shown(spiky_pictures.close_picture, bus)
    assert "91.3" not in shown(spiky_pictures.cycle_picture, bus, readings=False)
    assert "91.3" not in shown(spiky_pictures.close_picture, bus, readings=False)


def test_the_samples_that_the_worked_example_reads_off_are_those_of_its_table(shown):
    rows = dict(
        line.split(" | ", 1)
        for line in shown(spiky_pictures.samples_table, charging_bus(26.4, **EXAMPLE)).splitlines()[1:]
    )
    assert rows["−0.50"] == "28.52 | 35.64 | 3.44" and rows["0.30 (top)"].startswith("126.95 | 35.64")
    before, after = (float(rows[row].split(" | ")[0]) for row in ("4.50", "5.00"))
    assert (before, after) == (84.08, 80.57) and round((126.95 + 35.64) / 2, 1) == 81.3
    assert np.interp(-(126.95 + 35.64) / 2, [-before, -after], [4.5, 5.0]) == pytest.approx(4.9, abs=0.05)
    code = "".join("".join(cell["source"]) for cell in CELLS if cell["id"].endswith("-example"))
    assert all(
        figure in code
        for figure in (
            "126.95 - 35.64",
            "84.08 V (at 4.50 µs) and 80.57 V (at 5.00 µs)",
            "4.9 - 0.1",
            "35.64 - 28.52",
            "/ 3.44",
        )
    )

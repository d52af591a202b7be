"""The bench of opto and triac: its numbers are the library's, its faults show, and its words fit the setting."""

import html
import itertools
import math
from dataclasses import replace
from math import inf
from types import SimpleNamespace

import numpy as np
import pytest

from halfcycle import Supply, meters
from halfcycle.benches import opto, opto_solved
from halfcycle.network import SettleError
from halfcycle.optotriac import Coil, Opto, Snubber, switch_coil

START = opto.start()
SITUATIONS = {situation.words: situation.changes for situation in opto.SITUATIONS}
RELAY, INPUT = opto.Load(90.0, 0.9, 0.045), opto.Load(100e3, 1e-3, 0.08e-3)


def reading(state, words):
    rows = [r for row in state.readings for r in (row, row.besides) if r]
    return next(r.value for r in rows if r.words == words)


def library(settings):
    load = settings.load
    return switch_coil(
        Supply(settings.volts_rms, resistance_ohm=settings.resistance_ohm),
        opto=Opto(
            inhibit_volts=None if settings.zero_cross == "none" else 10.0,
            sense="line" if settings.zero_cross == "line" else "device",
            latching_amps=settings.latching_amps,
            holding_amps=settings.holding_amps,
        ),
        led_resistor_ohm=settings.led_resistor_ohm,
        feed=settings.feed,
        coil=Coil(load.ohm, load.henry, load.answer_amps),
        snubber=Snubber(100.0, settings.snubber_farad) if settings.snubber_farad else None,
        load_parallel_ohm=0.0 if settings.across_ohm == inf else settings.across_ohm,
        called=settings.called,
        samples_per_cycle=10_000,
    )


@pytest.mark.parametrize("feed", ["half", "full", "dc"])
@pytest.mark.parametrize("zero_cross", ["none", "device", "line"])
def test_readings_are_the_library_s_and_the_meters(feed, zero_cross):
    now = replace(START, feed=feed, zero_cross=zero_cross, across_ohm=10e3)
    state, solved = opto.state(now), library(now)
    expected = {
        "LED current, highest": meters.peak(solved.led_amps),
        "mean": meters.dc(solved.led_amps),
        "Heat in LED resistor": 1500.0 * meters.true_rms(solved.led_amps) ** 2,
        "Load current, rms": solved.coil_rms_amps,
        "dc part": meters.dc(solved.coil_amps),
        "Across the output": meters.true_rms(solved.output_volts),
        "Across the load": meters.true_rms(solved.load_volts),
        "Load, with no call": meters.true_rms(library(replace(now, called=False)).load_volts),
    }
    for words, value in expected.items():
        assert reading(state, words) == pytest.approx(value, rel=0.01, abs=1e-5), words
    assert ("pulls in" in state.sentence) is solved.pulled_in
    assert ("load pulled in" in state.wiring_svg) is solved.pulled_in


def test_the_led_s_conduction_and_mean_are_those_of_a_clipped_sine():
    # A sine of 37.34 V less LED and diode (1.2 + 0.7 V) over 1500 + 4 + 0.05 Ω: conducts from arcsin(1.9/37.34) to 180°
    # less as much; mean over a cycle (2·cos a − (1.9/37.34)(π − 2a))·peak/(2π). Standard integrals of a clipped sine.
    peak, dark = 26.4 * math.sqrt(2), 1.9
    angle = math.asin(dark / peak)
    mean = (2 * math.cos(angle) - dark / peak * (math.pi - 2 * angle)) / (2 * math.pi) * peak / 1504.05
    state = opto.state(START)
    assert reading(state, "LED lit, of 360°") == pytest.approx(180 - 2 * math.degrees(angle), abs=1.0)
    assert reading(state, "mean") == pytest.approx(mean, rel=2e-3)
    assert reading(state, "LED current, highest") == pytest.approx((peak - dark) / 1504.05, rel=1e-3)


def test_the_phantom_voltage_is_the_phasor_divider_s_and_a_bleeder_removes_it():
    now = replace(START, **SITUATIONS["Phantom voltage"])
    load = complex(100e3, 2 * math.pi * 60 * 1e-3)
    leak = 1 / (1e-7 + 1 / (100 - 1j / (2 * math.pi * 60 * 47e-9)))  # the snubber beside 10 MΩ of idle output
    expected = 26.4 * abs(load / (load + leak + 1.44))
    state = opto.state(now)
    assert reading(state, "Load, with no call") == pytest.approx(expected, rel=2e-3)
    assert state.danger and "sees a call" in state.wiring_svg
    metered, bled = (opto.state(replace(now, across_ohm=ohm), now) for ohm in (10e6, 4.7e3))
    assert reading(metered, "Load, with no call") > 0.9 * expected, "a meter's input does not remove it"
    assert reading(bled, "Load, with no call") < 3 and not bled.danger
    assert "takes the leakage past the load" in bled.sentence and "next to nothing" in metered.sentence


def test_each_situation_tells_its_own_cause():
    def shown(name):
        state = opto.state(replace(START, **SITUATIONS[name]))
        return state, opto.numbers(state.settings)

    well, found = shown("All well")
    assert found.answers and not well.danger
    small, found = shown("Resistor too large")
    assert not found.answers and found.led_peak_amps < 0.005 and "no more than" in small.sentence
    late, found = shown("Lit too late")
    assert not found.answers and found.led_peak_amps > 0.005 and "left the window" in late.sentence
    assert opto.numbers(replace(late.settings, zero_cross="none")).answers, "without the window it would turn on"
    dark, found = shown("LED open")
    assert not found.answers and found.led_peak_amps < 1e-6 and "no light crosses the gap" in dark.sentence
    shorted, found = shown("Output shorted")
    assert (
        found.answers
        and shorted.danger
        and "nobody calls" in shorted.sentence
        and "Fault: output shorted" in shorted.wiring_svg
    )
    # a shorted output leaves the whole supply across the coil: |V| / |Z|, phasors
    assert found.coil_rms_amps == pytest.approx(26.4 / abs(complex(91.54, 2 * math.pi * 60 * 0.9)), rel=2e-3)


@pytest.mark.parametrize("degrees", [0.0, 90.0, 195.0, 255.0, 330.0])
def test_what_conducts_in_the_picture_is_what_conducts_in_the_solution(degrees):
    now = replace(START, moment_degrees=degrees)
    solved, at = library(now), round(degrees / 360 * 10_000)
    lit = solved.led_amps.values[at] > 1e-4
    on = abs(solved.waveform("amps", "output").values[at]) > 1e-4
    words = html.unescape(opto.state(now).wiring_svg)
    assert f"At {degrees:g}°: LED {'lit' if lit else 'dark'}, output {'on' if on else 'off'}" in words
    assert opto.wiring_picture(now).parts[3:5] == (lit, on)


def test_the_output_holds_on_by_its_own_current_after_the_light_has_gone():
    state = opto.state(replace(START, moment_degrees=255.0), START)
    assert "the LED is dark, but the output stays on by its own current" in state.sentence


def test_the_sentence_speaks_of_what_changed():
    def said(**changes):
        return opto.state(replace(START, **changes), START).sentence.replace("\N{NO-BREAK SPACE}", " ")

    assert "LED's peak goes from 23.6 mA to 35.3 mA through the smaller resistor" in said(led_resistor_ohm=1000.0)
    assert "dc part goes from 59.1 mA to 0 A" in said(feed="full")
    assert "voltage across itself" in said(zero_cross="device") and "whatever its coil does" in said(zero_cross="line")
    assert "LED is dark" in said(called=False) and "larger snubber" in said(snubber_farad=100e-9)
    assert "The contactor has 22.0 Ω" in said(load=opto.Load(22.0, 0.25, 0.16))
    assert "At 195°" in said(moment_degrees=195.0)


@pytest.mark.parametrize(
    ("changes", "danger", "words"),
    [
        ({}, False, "of dc flow through an ac coil"),
        ({"led_resistor_ohm": 330.0}, True, "40 to 50 mA"),
        ({"load": opto.Load(22.0, 0.25, 0.16)}, True, "small triac output"),
        ({"load": INPUT, "snubber_farad": 47e-9}, True, "takes them for a call"),
        ({"across_ohm": 1e3}, True, "the bleeder turns"),
        ({"feed": "dc"}, False, "quarter-watt"),
        ({"called": False}, False, "never take it for a disconnect"),
        ({"fault": "output shorted"}, True, "no thermostat can stop it"),
    ],
)
def test_settings_that_bite_say_so(changes, danger, words):
    state = opto.state(replace(START, **changes))
    assert state.danger is danger and words in state.caution, state.caution


def test_a_meter_across_the_load_hardly_changes_it():
    plain = opto.numbers(START).load_rms_volts
    for ohm in (10e6, 1e6, 100e3):
        assert opto.numbers(replace(START, across_ohm=ohm)).load_rms_volts == pytest.approx(plain, rel=0.05)


@pytest.mark.parametrize(
    "changes", [{"called": False}, {"fault": "LED open"}, {"called": False, "fault": "output shorted"}]
)
def test_what_would_feed_a_dark_led_makes_no_difference_to_the_circuit(changes):
    dark = replace(START, snubber_farad=47e-9, **changes)
    fed = replace(dark, led_resistor_ohm=330.0, feed="full", zero_cross="line")
    run, seconds = opto_solved._settled(fed)  # as the circuit is, with all that feeds the LED
    assert opto.numbers(fed) is opto.numbers(dark)
    coil, output = run.quantities([("amps", "output coil"), ("volts", "output")], seconds)
    assert opto.numbers(dark).coil.values[: seconds.size] == pytest.approx(coil, abs=1e-9)
    assert opto.numbers(dark).output_rms_volts == pytest.approx(math.sqrt((output**2).mean()), rel=1e-3)


@pytest.mark.parametrize("fault", ["", "LED open", "output shorted"])
def test_the_extremes_of_all_controls_together_stay_within_bounds(fault):
    controls = [control for control in opto.CONTROLS if control.name != "moment_degrees"]
    whole = {"feed", "zero_cross"}
    ends = [c.choices if c.name in whole else (c.choices[0], c.choices[-1]) for c in controls]
    moments = itertools.cycle((0.0, 105.0, 195.0, 285.0, 360.0))
    for combination in itertools.product(*ends):
        values = {control.name: value for control, value in zip(controls, combination, strict=True)}
        now = replace(START, fault=fault, moment_degrees=next(moments), **values)
        found, state = opto.numbers(now), opto.state(now, START)
        assert np.isfinite([r.value for r in state.readings]).all()
        assert 0 <= found.led_peak_amps < 0.12 and 0 <= found.led_degrees <= 360
        assert (
            found.load_rms_volts < 40 and found.coil_rms_amps < 0.5 and abs(found.coil_dc_amps) <= found.coil_rms_amps
        )
        if not now.lit:
            assert found.led_peak_amps < 1e-6


def test_the_bench_starts_at_the_learner_s_circuit():
    own = SimpleNamespace(
        volts_rms=25.5, resistance_ohm=1.0, led_resistor_ohm=2700, led_drop_volts=1.25, trigger_amps=0.004, latching_amps=0.03,
        holding_amps=0.012, inhibit_volts=14, coil_ohm=120, coil_henry=1.1, pull_in_amps=0.035, snubber_ohm=47,
        snubber_farad=33e-9, bleeder_ohm=3300,
    )  # fmt: skip
    begun = opto.start(own)
    for name in (
        "volts_rms",
        "led_resistor_ohm",
        "trigger_amps",
        "latching_amps",
        "holding_amps",
        "inhibit_volts",
        "snubber_ohm",
    ):
        assert getattr(begun, name) == getattr(own, name), name
    assert begun.zero_cross == "device" and begun.across_ohm == 3300 and begun.load == opto.Load(120.0, 1.1, 0.035)
    assert opto.start(SimpleNamespace(input_ohm=47000)).load.is_input


def test_a_snubber_behind_a_window_at_the_line_may_skip_cycles():
    # the snubber leaves volts across the output while the line passes zero: some cycles turn it on, others do not
    skipping = replace(START, snubber_farad=22e-9, zero_cross="line", led_resistor_ohm=330.0)
    first, second = (opto.numbers(skipping).coil.values[part] for part in (slice(0, 1001), slice(-1001, None)))
    assert abs(first - second).max() > 0.1, "no two neighbouring cycles are alike"
    unsnubbed = opto.numbers(replace(skipping, snubber_farad=0.0)).coil.values
    assert abs(unsnubbed[:1001] - unsnubbed[-1001:]).max() < 1e-9


def test_where_no_cycle_repeats_the_last_two_are_shown():
    restless = replace(START, feed="dc", zero_cross="line", snubber_farad=10e-9)
    for period_s in (1 / 60, 2 / 60):
        with pytest.raises(SettleError):
            opto.network(restless).steady(period_s=period_s)
    found = opto.numbers(restless)
    assert found.load.duration_s == pytest.approx(2 / 60) and len(found.load) == 2001
    assert np.isfinite(found.load.values).all() and opto.state(restless).readings

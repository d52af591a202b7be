"""The bench of spikes and filters: its numbers are the library's, a spike is never lost, and its words fit the setting."""

import html
import itertools
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from halfcycle import Supply, meters
from halfcycle.benches import spikes
from halfcycle.benches.spikes_words import PLACES
from halfcycle.pulses import pulses
from halfcycle.spikes import Actuator, Filter, spike_bus

START = spikes.start()
SITUATIONS = {situation.words: situation.changes for situation in spikes.SITUATIONS}


def reading(state, words):
    return next(r.value for r in state.readings if r.words == words)


def library(settings, **changes):
    """The same bus from the library, evenly sampled 0.08 µs apart."""
    source = settings.source
    supply = Supply(source.volts_rms, resistance_ohm=source.resistance_ohm, leakage_henry=source.leakage_henry)
    given = {
        "actuator": Actuator(pulses_per_cycle=settings.pulses_per_cycle),
        "filter": settings.parts,
        "bus_load_ohm": settings.bus_load_ohm,
        "thermostat_ohm": settings.thermostat_ohm,
        "store_volts": settings.store_volts,
        "samples_per_cycle": 200_000,
    }
    return spike_bus(supply, **{**given, **changes})


@pytest.mark.parametrize("place", PLACES)
def test_readings_are_the_library_s_and_the_meters(place):
    now = replace(START, place=place)
    state, bus = spikes.state(now), library(now)
    expected = {
        "Bus, true rms": meters.true_rms(bus.bus_volts),
        "Highest spike on bus": bus.spike_volts,
        "Peak at the thermostat": meters.peak(bus.thermostat_volts),
        "Drawn by the feed": bus.feed_volt_amperes,
        "Into the store": bus.charging_watts,
    }
    for words, value in expected.items():
        assert reading(state, words) == pytest.approx(value, rel=5e-3, abs=5e-3), words
    ratio = bus.spike_volts / library(now, filter=Filter()).spike_volts
    assert reading(state, "Bus, against no filter") == pytest.approx(20 * math.log10(ratio), abs=0.1)


def test_width_and_rate_are_those_of_a_record_sampled_evenly():
    bus, found = library(START).bus_volts, spikes.numbers(START)
    still = bus.with_values(np.interp(bus.seconds, found.quiet.seconds, found.quiet.values))
    even = pulses(bus, still, threshold_volts=2.0).spikes
    assert found.width_s == pytest.approx(even.widths[even.heights.argmax()], rel=0.02)
    assert found.spikes_hertz == pytest.approx(even.rate_hertz)


def test_the_spike_decays_as_leakage_over_the_loads_commands():
    # With no wiring capacitance left to charge, the current of an opened inductance falls by e every L/R (Ohm, Faraday),
    # and to half in ln 2 of that: here 0.3 mH into 100 Ω beside 2 kΩ. The rise through 2.2 nF adds a part of a microsecond.
    ohm = 1.44 + 1 / (1 / 100 + 1 / 2000.5)
    assert spikes.numbers(START).width_s == pytest.approx(math.log(2) * 0.3e-3 / ohm, abs=0.7e-6)


def test_the_dip_is_the_current_drawn_times_the_winding():
    # While the switch is closed the feed's current ramps; at its end the winding and the leakage hold back
    # R·i + L·di/dt, less what the loads then draw less: within a tenth.
    found = spikes.numbers(replace(START, moment="closed"))
    closing, opening = found.closed_s
    amps = found.run.amps("feed", np.array([opening - 20e-6, opening - 10e-6]))
    held_back = 1.44 * amps[1] + 0.3e-3 * (amps[1] - amps[0]) / 10e-6
    at = np.searchsorted(found.bus.seconds, opening - 10e-6)
    assert found.quiet.values[at] - found.bus.values[at] == pytest.approx(held_back, rel=0.1)
    assert closing < opening and found.dip_volts >= found.quiet.values[at] - found.bus.values[at]


@pytest.mark.parametrize("moment", ["spike", "close", "closed"])
def test_the_tip_of_the_spike_reaches_the_picture(moment):
    now = replace(START, moment=moment)
    bus = next(trace for trace in spikes.traces(now) if trace.label == "Bus")
    svg = ET.fromstring(spikes.state(now).scope_svg)
    line = next(node for node in svg.iter() if node.get("class") == "hc-spike")
    heights = [float(y) / 10 for y in line.get("points").split()[1::2]]
    circle = next(node for node in svg.iter() if node.tag.endswith("circle"))
    assert min(heights) == pytest.approx(float(circle.get("cy")), abs=0.11)
    assert bus.wave.values.max() == pytest.approx(spikes.numbers(START).bus.values.max())


def test_an_open_capacitor_leaves_the_spikes_as_without_a_filter():
    state = spikes.state(replace(START, **SITUATIONS["Capacitor open"]))
    assert "the capacitor's lead open" in html.unescape(state.wiring_svg)
    assert reading(state, "Highest spike on bus") == pytest.approx(spikes.numbers(START).spike_volts, rel=0.02)
    assert "lead is open" in state.sentence


def test_situations_show_what_they_are_named_for():
    loud = spikes.numbers(START)
    feed, lc, alone = (
        spikes.numbers(replace(START, **SITUATIONS[name]))
        for name in ("Feed filter", "Choke at thermostat", "Nothing else on bus")
    )
    assert feed.spike_volts < 1 and feed.spikes_hertz == 0 and feed.feed_va > loud.feed_va
    assert lc.thermostat_peak_volts < 1.1 * 26.4 * math.sqrt(2) and lc.spike_volts >= loud.spike_volts
    assert alone.spike_volts > 3 * loud.spike_volts
    assert alone.rms_volts == pytest.approx(loud.rms_volts, rel=0.1), "the meter hardly sees it"
    assert "of spike" in spikes.state(replace(START, **SITUATIONS["Nothing else on bus"])).caution
    assert spikes.numbers(replace(START, place="straight")).spike_volts == pytest.approx(loud.spike_volts, rel=1e-9)


def test_no_caution_speaks_of_a_choke_where_none_is_fitted():
    """The spikes alone lift the rms of a quick bus with nothing on it above 30 V."""
    bare = replace(START, bus_load_ohm=4.7e3, pulses_per_cycle=12, pulse_s=150e-6, inductance_henry=1.2e-3)
    assert spikes.numbers(bare).thermostat_rms_volts > 30
    assert "choke" not in spikes.state(bare).caution and "of spike" in spikes.state(bare).caution


@pytest.mark.parametrize(
    ("moment", "conducting", "words"),
    [
        ("closed", {"diode", "switch", "choke"}, "switch closed, actuator's diode conducting, second diode blocking"),
        ("spike", {"freewheel", "choke"}, "switch open, actuator's diode blocking, second diode conducting"),
        ("rest", set(), "switch open, actuator's diode blocking, second diode blocking"),
    ],
)
def test_what_conducts_in_the_picture_is_what_conducts_in_the_solution(moment, conducting, words):
    now = replace(START, moment=moment)
    picture, at = spikes.wiring_picture(now), spikes.moment_seconds(now)
    run = library(now).run
    of_actuator = {"diode", "switch", "choke", "freewheel"}
    assert {name for name in of_actuator if abs(float(run.amps(name, at))) > 2e-3} == conducting
    assert set(picture.parts[-1]) & of_actuator == conducting
    assert words in picture.words and words in html.unescape(picture.svg())


def test_the_sentence_speaks_of_what_changed():
    def said(**changes):
        return spikes.state(replace(START, **changes), START).sentence.replace("\N{NO-BREAK SPACE}", " ")

    spike = spikes.numbers(START).spike_volts
    assert f"highest spike goes from {spike:.0f} V to" in said(bus_load_ohm=2.2e3)
    assert "meter's rms" in said(bus_load_ohm=2.2e3)
    assert "calm the thermostat alone" in said(place="lc") and "holds nothing that filters" in said(place="straight")
    assert "No choke is fitted" in said(filter_henry=10e-3) and "nothing changes" in said(filter_henry=10e-3)
    assert "too short for any multimeter" in said(moment="close")
    assert "dips by up to" in said(moment="closed") and "diode blocks" in said(moment="rest")
    assert "A fuller store" in said(store_volts=4.0) and "an emptier store" in said(store_volts=0.5).lower()


@pytest.mark.parametrize(
    ("changes", "danger", "words"),
    [
        ({}, False, "peaks of"),
        ({"place": "lc"}, False, "ground clip"),
        ({"place": "feed"}, False, "bleed it"),
        ({"bus_load_ohm": 22.0, "source": spikes.Winding.rated(20)}, True, "overheats"),
        ({"place": "snubber", "filter_farad": 47e-6}, True, "into heat"),
        ({"place": "lc", "filter_henry": 100e-3, "filter_farad": 47e-6}, True, "Not in the field"),
        ({"bus_load_ohm": 4.7e3}, True, "300 V"),
    ],
)
def test_settings_that_bite_say_so(changes, danger, words):
    state = spikes.state(replace(START, **changes))
    assert state.danger is danger and words in state.caution, state.caution


def test_the_extremes_of_all_controls_together_stay_within_bounds():
    controls = [control for control in spikes.CONTROLS if control.name != "moment"]
    ends = [c.choices if c.name == "place" else (c.choices[0], c.choices[-1]) for c in controls]
    moments = itertools.cycle(("spike", "close", "closed", "rest"))
    for combination in itertools.product(*ends):
        values = {control.name: value for control, value in zip(controls, combination, strict=True)}
        now = replace(START, moment=next(moments), **values)
        found = spikes.numbers(now)
        values = [r.value for r in spikes.state(now, START).readings]
        assert np.isfinite(values).all()
        assert 0 <= found.spike_volts < 1500 and found.width_s < 60e-6 and 0 <= found.dip_volts < 50
        assert 5 < found.rms_volts < 36 and 0 <= found.feed_va < 100 and 0 < found.store_watts < 10


def test_the_bench_starts_at_the_learner_s_circuit():
    own = SimpleNamespace(
        volts_rms=26.0, volt_amperes=40, resistance_ohm=1.2, leakage_henry=0.2e-3, bus_load_ohm=150, thermostat_ohm=1800,
        pulses_per_cycle=8, store_volts=3.0, place="snubber", filter_farad=2.2e-6, filter_ohm=33, filter_henry=0.0,
    )  # fmt: skip
    begun = spikes.start(own)
    assert begun.source == spikes.Winding(40, 26.0, 1.2, 0.2e-3)
    for name in (
        "bus_load_ohm",
        "thermostat_ohm",
        "pulses_per_cycle",
        "store_volts",
        "place",
        "filter_farad",
        "filter_ohm",
    ):
        assert getattr(begun, name) == getattr(own, name), name
    assert spikes.numbers(begun).spike_volts == pytest.approx(library(begun).spike_volts, rel=5e-3)
    rated = spikes.start(SimpleNamespace(volt_amperes=75, regulation=0.08)).source
    assert (rated.volt_amperes, rated.volts_rms) == (75, pytest.approx(24 * 1.08))


def test_readouts_of_places_and_moments_are_words():
    for control in spikes.CONTROLS:
        assert all(re.search(r"\w", control.show(choice)) for choice in control.choices)

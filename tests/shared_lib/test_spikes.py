"""A pulse-charging actuator on the bus. Charge of about 30 s: common practice figure, no source."""

import numpy as np
import pytest

from halfcycle import Supply, meters
from halfcycle.spikes import Actuator, Filter, spike_bus, spike_network

SUPPLY = Supply(26.0, resistance_ohm=1.0, leakage_henry=0.3e-3)


@pytest.fixture(scope="module")
def plain():
    return spike_bus(SUPPLY)


def test_two_in_series_hold_half_the_capacitance_and_the_energy_of_both():
    """½·C·V² of each of the two adds up to that of the pair."""
    actuator = Actuator()
    assert actuator.series_farad == 3.0
    assert actuator.energy_joules == pytest.approx(2 * 0.5 * 6.0 * 2.5**2)


def test_what_the_source_gives_is_stored_or_lost(plain):
    """Energy balance over a period, part by part: reactive parts return what they took."""

    def watts(part):
        volts, amps = plain.waveform("volts", part), plain.waveform("amps", part)
        return np.trapezoid(volts.values * amps.values, volts.seconds) / volts.seconds[-1]

    given = -watts("secondary")
    taken = {part: watts(part) for part in plain.network.parts if part != "secondary"}
    assert sum(taken.values()) == pytest.approx(given, rel=2e-3)
    assert taken["stored"] == pytest.approx(plain.charging_watts)
    assert abs(taken["choke"]) < 1e-3 * given
    assert abs(taken["leakage"]) < 1e-2 * given
    assert all(taken[part] > 0 for part in ("diode", "freewheel", "switch", "bus load", "winding"))


def test_it_charges_in_about_half_a_minute(plain):
    assert 25 < plain.charge_seconds() < 40


def test_charge_power_agrees_with_the_supercapacitors_themselves():
    """The other road: the two capacitors themselves in the circuit, charged from empty for 0.3 s."""
    net = spike_network(SUPPLY, store_volts=None)
    run = net.run(0.3)
    times = run.times(2)
    energy = sum(0.5 * 6.0 * run.volts(part, times) ** 2 for part in ("supercap 1", "supercap 2"))
    watts = (energy[-1] - energy[0]) / 0.3
    assert 0.02 < watts < spike_bus(SUPPLY, store_volts=2.0).charging_watts
    volts = sum(run.volts(part, times)[-1] for part in ("supercap 1", "supercap 2"))
    halfway = spike_bus(SUPPLY, store_volts=volts / 2)
    assert 3.0 * volts / 0.3 == pytest.approx(halfway.charging_watts / (volts / 2), rel=0.03)


def test_spike_height_follows_the_load_while_the_rms_hardly_moves(plain):
    loaded = spike_bus(SUPPLY, bus_load_ohm=30.0)
    assert plain.spike_volts > 3 * loaded.spike_volts
    assert loaded.spike_volts > 30
    assert meters.true_rms(plain.bus_volts) == pytest.approx(meters.true_rms(loaded.bus_volts), rel=0.07)


@pytest.mark.parametrize("load_ohm", [22.0, 200.0, 1000.0])
def test_no_top_falls_between_two_samples(load_ohm):
    """The other road: the same solution, sampled every 5 ns for 60 µs from each opening of the switch."""
    few = spike_bus(SUPPLY, bus_load_ohm=load_ohm, samples_per_cycle=500)
    openings = [end for _, end, mode in few.run.modes("switch") if mode == "on"]
    seconds = np.unique(np.add.outer(openings, np.arange(0, 60e-6, 5e-9)))
    seconds = seconds[seconds <= few.run.end]
    still = spike_bus(SUPPLY, Actuator(pulse_s=1e-12), bus_load_ohm=load_ohm).run.volts("bus load", seconds)
    top = (few.run.volts("bus load", seconds) - still).max()
    assert few.spike_volts == pytest.approx(top, rel=2e-3)


def test_dips_do_not_mirror_the_spikes(plain):
    positive_half = plain.bus_volts.values[: len(plain.bus_volts.values) // 2]
    assert -2.0 - 0.7 < positive_half.min() < 0, "held by the store, 2 V below zero, and the freewheel diode"
    assert plain.spike_volts > 200


def test_each_filter_does_what_its_place_allows(plain):
    with_filter = {place: spike_bus(SUPPLY, filter=Filter(place)) for place in ("feed", "snubber", "lc", "straight")}
    assert with_filter["feed"].spike_volts < 0.05 * plain.spike_volts
    assert with_filter["snubber"].spike_volts < 0.5 * plain.spike_volts
    assert with_filter["lc"].spike_volts > 0.9 * plain.spike_volts, "the bus stays as loud as it was"
    assert meters.peak(with_filter["lc"].thermostat_volts) < 50
    assert with_filter["straight"].spike_volts == pytest.approx(plain.spike_volts, rel=1e-9)


def test_impossible_values_are_named():
    with pytest.raises(ValueError, match="place of a filter"):
        Filter("roof")
    with pytest.raises(ValueError, match="pulse_s"):
        Actuator(pulse_s=0.0)
    with pytest.raises(ValueError, match="stored voltage"):
        spike_bus(SUPPLY, store_volts=0.0)

"""What a drawn spike gets wrong about a bus with a pulse-charging actuator; one test an effect."""

from functools import cache

import numpy as np
import pytest

from halfcycle import Supply, meters, spike_bus
from halfcycle.network import CurrentPulses, ExponentialDiode, Network
from halfcycle.pulses import pulses
from halfcycle.rectifier import add_supply
from halfcycle.spikes import Actuator, Filter, spike_network

SUPPLY = Supply(26.0, resistance_ohm=1.0, leakage_henry=0.3e-3)


@cache
def bus(place="none", load_ohm=200.0, **parts):
    return spike_bus(SUPPLY, filter=Filter(place), bus_load_ohm=load_ohm, **parts)


def test_spike_height_depends_first_on_how_loaded_the_bus_is_and_no_voltmeter_sees_it():
    """Tens of volts or hundreds, by the load alone, while the true rms moves by a few per cent."""
    loads = (20.0, 50.0, 100.0, 200.0)
    heights = [bus(load_ohm=ohm).spike_volts for ohm in loads]
    rms = [meters.true_rms(bus(load_ohm=ohm).bus_volts) for ohm in loads]
    assert heights == sorted(heights)
    assert heights[0] < 60
    assert heights[-1] > 400
    assert rms[-1] / rms[0] < 1.09
    quiet = [meters.true_rms(bus(load_ohm=ohm).undisturbed_volts) for ohm in loads]
    assert all(r == pytest.approx(q, rel=0.05) for r, q in zip(rms, quiet, strict=True))


def test_spike_height_is_the_interrupted_current_through_what_else_hangs_on_the_bus():
    """Just after the switch opens the leakage inductance still carries its current: I·R at most, the line's C less."""
    heavy = bus(load_ohm=20.0)
    interrupted = heavy.actuator_amps.values.max()
    assert 0.7 < heavy.spike_volts / (interrupted * 1 / (1 / 20.0 + 1 / 2000.5)) < 1.0


def test_dips_clamp_near_zero_and_do_not_mirror_the_spikes():
    """When the switch closes the freewheel diode still conducts: it holds the bus at the store's voltage below zero."""
    found = pulses(bus().bus_volts, bus().undisturbed_volts, threshold_volts=10.0)
    half = bus().bus_volts.slice(1e-3, 7e-3).values
    assert found.spikes.count >= 4
    assert found.dips.count >= 3
    assert -2.0 - 0.7 < half.min() < 1.0
    assert found.spikes.heights.max() > 10 * -found.dips.heights.min()


def test_leakage_inductance_rings_with_the_capacitance_of_the_line():
    """1/(2π√(LC)) with 2 mH and 2.2 nF is 75.9 kHz; little else hangs on this bus to damp it."""
    supply = Supply(26.0, resistance_ohm=1.0, leakage_henry=2e-3)
    net = spike_network(supply, bus_load_ohm=20e3, thermostat_ohm=20e3)
    run = net.steady()
    opened = next(begin for begin, _, mode in run.modes("switch") if begin > 1e-3 and mode == "off")
    times = np.linspace(opened, opened + 100e-6, 40_000)
    swing = run.volts("line", times) - np.sqrt(2) * 26.0 * np.sin(2 * np.pi * 60 * times)
    crossings = times[1:][np.diff(np.sign(swing)) != 0][:6]
    hertz = 1 / (2 * np.diff(crossings).mean())
    assert hertz == pytest.approx(1 / (2 * np.pi * np.sqrt(2e-3 * 2.2e-9)), rel=0.01)


def test_a_sink_without_a_compliance_limit_pulls_the_bus_to_impossible_voltages():
    """Drawn straight out of a leakage inductance, 2 A drag the bus hundreds of volts below zero; a real sink cannot."""
    lows = {}
    for limit in (None, 1.0):
        net = Network()
        add_supply(net, Supply(24.0, resistance_ohm=1.0, leakage_henry=2e-3), "bus", "common")
        net.resistor("bus load", "bus", "common", 200.0)
        net.capacitor("line", "bus", "common", 2.2e-9)
        drawn = CurrentPulses(amps=2.0, period_s=1 / 720, width_s=2e-4, delay_s=3e-4, compliance_volts=limit)
        net.device("sink", "bus", "common", drawn)
        run = net.steady()
        times = run.times(50_000)
        lows[limit] = run.volts("bus load", times[times < 8e-3]).min()
        watts = run.volts("sink", times) * run.amps("sink", times)
        assert (watts.min() < -100) == (limit is None), "a sink that gives power back is none"
    assert CurrentPulses().compliance_volts == 1.0
    assert lows[None] < -300
    assert lows[1.0] > -1


@pytest.mark.parametrize("place", ["none", "feed", "snubber", "lc", "straight"])
def test_energy_is_given_stored_or_lost_wherever_the_filter_is(place):
    """Volts times amperes of every part over a period, by Gauss–Legendre within each exact piece."""
    net, run = bus(place).network, bus(place).run
    nodes, weights = np.polynomial.legendre.leggauss(16)
    edges = np.unique(np.concatenate([np.geomspace(1e-6, 1, 60) * (p.end - p.begin) + p.begin for p in run.pieces]))
    edges = np.union1d(edges, [p.begin for p in run.pieces])
    edges = np.union1d(edges, np.linspace(run.begin, run.end, 2000))
    half = np.diff(edges) / 2
    times = (edges[:-1] + half)[:, None] + half[:, None] * nodes
    joules = {
        name: float(np.sum(run.volts(name, times) * run.amps(name, times) * weights * half[:, None]))
        for name in net.parts
    }
    given = -joules["secondary"]
    assert sum(joules.values()) == pytest.approx(0.0, abs=1e-5 * given)
    assert all(abs(joules[n]) < 1e-5 * given for n in ("choke", "leakage", "line"))
    assert joules["stored"] * 60 == pytest.approx(bus(place).charging_watts, rel=2e-3)


@pytest.mark.parametrize("supercap_farad", [0.06, 0.6])
def test_charge_time_from_steady_states_is_that_of_one_long_transient(supercap_farad):
    """The two supercapacitors themselves, charged from empty until they are full: 17 and 172 periods in one run."""
    actuator = Actuator(supercap_farad=supercap_farad)
    by_steady_states = spike_bus(SUPPLY, actuator).charge_seconds()
    net = spike_network(SUPPLY, actuator, store_volts=None)
    times = np.linspace(0, 1.1 * by_steady_states, 4001)
    volts = net.sample(times, [("volts", "supercap 1"), ("volts", "supercap 2")]).sum(axis=0)
    full = times[np.argmax(volts >= 5.0)]
    assert by_steady_states == pytest.approx(full, abs=1 / 60 + 0.005 * full)


def test_charge_of_the_usual_actuator_takes_about_half_a_minute_at_a_watt_and_a_half():
    """37.5 J at about 1.5 W; common practice figures (30 s), no source."""
    assert bus().charge_seconds() == pytest.approx(30, abs=4)
    assert 1.1 < bus().charging_watts < 1.7
    assert Actuator().energy_joules == 37.5


def test_height_width_ring_and_cost_of_each_filter_come_out_of_the_same_solution():
    found = {
        place: pulses(bus(place).bus_volts, bus(place).undisturbed_volts, threshold_volts=5.0).spikes
        for place in ("none", "feed", "snubber", "lc", "straight")
    }
    tallest = {place: spikes.heights.max(initial=0.0) for place, spikes in found.items()}
    assert tallest["none"] > 300
    assert found["none"].widths.max() < 20e-6, "micro-seconds wide"
    assert tallest["straight"] == tallest["none"]
    assert tallest["lc"] > 0.9 * tallest["none"]
    assert tallest["snubber"] < 0.4 * tallest["none"]
    assert found["snubber"].widths.max() > 3 * found["none"].widths.max(), "lower and longer"
    assert tallest["feed"] < 5
    assert meters.peak(bus("lc").thermostat_volts) < 45, "quiet at the thermostat"
    assert bus("feed").feed_volt_amperes > 2 * bus().feed_volt_amperes, "and it draws more"
    assert bus("feed").charge_seconds() < 0.5 * bus().charge_seconds()


def test_exponential_diodes_carry_the_interrupted_current_on_as_straight_ones_do():
    """Of both diodes many chords change at once when the switch opens; what reaches the store differs by their drop."""
    chords = bus(actuator=Actuator(diode=ExponentialDiode()))
    assert chords.charging_watts == pytest.approx(bus().charging_watts, rel=0.15)
    assert chords.spike_volts == pytest.approx(bus().spike_volts, rel=0.07)
    volts = chords.run.volts("freewheel", chords.run.times(20_000))
    assert volts.max() < 1.1

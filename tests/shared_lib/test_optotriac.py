"""An optoisolated triac output with a coil: what the circuit does, against closed forms and against limits."""

import math

import numpy as np
import pytest

from halfcycle import Supply, meters
from halfcycle.optotriac import Coil, Opto, Snubber, switch_coil

SUPPLY = Supply(24.0, resistance_ohm=1.2, leakage_henry=0.3e-3)


def modes(switched):
    return {mode for _, _, mode in switched.run.modes("output")}


def test_always_lit_the_coil_carries_the_phasor_current():
    """|V| / |R + jωL| with a threshold of 1 V against 34 V peak: within 4 %."""
    coil = Coil(ohm=90.0, henry=0.9)
    switched = switch_coil(SUPPLY, feed="dc", led_resistor_ohm=1000.0, coil=coil)
    phasor = 24.0 / abs(90.0 + 2.0 + 1.2 + 2j * np.pi * 60 * (0.9 + 0.3e-3))
    assert switched.coil_rms_amps == pytest.approx(phasor, rel=0.04)
    assert abs(meters.dc(switched.coil_amps)) < 1e-6


def test_half_wave_light_leaves_a_half_wave_coil_with_dc():
    switched = switch_coil(SUPPLY, feed="half", led_resistor_ohm=1000.0)
    assert meters.dc(switched.coil_amps) > 0.5 * switched.coil_rms_amps
    assert "reverse held" not in modes(switched)


def test_window_at_the_line_misses_half_cycles_where_the_window_at_the_device_does_not():
    at_device = switch_coil(SUPPLY, feed="dc", led_resistor_ohm=1e3, opto=Opto(inhibit_volts=10.0, sense="device"))
    at_line = switch_coil(SUPPLY, feed="dc", led_resistor_ohm=1e3, opto=Opto(inhibit_volts=10.0, sense="line"))
    assert abs(meters.dc(at_device.coil_amps)) < 1e-6
    assert "reverse held" in modes(at_device)
    assert meters.dc(at_line.coil_amps) > 0.5 * at_line.coil_rms_amps
    assert "reverse held" not in modes(at_line)


def test_led_resistor_too_large_never_pulls_in():
    opto = Opto(latching_amps=0.05, holding_amps=0.03)
    currents = {r: switch_coil(SUPPLY, led_resistor_ohm=r, opto=opto) for r in (1000.0, 6200.0, 6800.0)}
    assert currents[1000.0].pulled_in
    assert 0.005 < meters.peak(currents[6200.0].led_amps) < 0.0055
    assert not currents[6200.0].pulled_in, "lit, but the window is too short to latch"
    assert not currents[6800.0].pulled_in


def test_snubber_leaks_a_phantom_voltage_that_a_bleeder_removes():
    """Idle output: the snubber's capacitor against the load across which a meter looks, by the phasor divider."""
    coil = Coil(ohm=90.0, henry=0.9)
    open_load = {"coil": Coil(ohm=1e9, henry=0.9), "called": False, "snubber": Snubber(100.0, 0.1e-6)}
    phantom = switch_coil(Supply(24.0), load_parallel_ohm=1e6, **open_load)
    w = 2 * np.pi * 60
    leak = 1 / (1e-7 + 1 / (100.0 + 1 / (1j * w * 0.1e-6)))
    load = 1 / (1e-6 + 1 / (1e9 + 1j * w * 0.9))
    assert meters.true_rms(phantom.load_volts) == pytest.approx(24.0 * abs(load / (load + leak)), rel=1e-3)
    assert meters.true_rms(phantom.load_volts) > 23
    bled = switch_coil(Supply(24.0), load_parallel_ohm=2200.0, **open_load)
    assert meters.true_rms(bled.load_volts) < 2.5
    in_circuit = switch_coil(Supply(24.0), coil=coil, called=False, snubber=Snubber(100.0, 0.1e-6))
    assert not in_circuit.pulled_in


def test_without_a_call_nothing_is_lit():
    assert meters.peak(switch_coil(SUPPLY, called=False).led_amps) < 1e-6


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"latching_amps": 0.001}, "less than its holding"),
        ({"trigger_amps": 0.0}, "trigger_amps"),
        ({"inhibit_volts": 0.5}, "never turns on"),
        ({"sense": "moon"}, "device"),
    ],
)
def test_impossible_parts_are_named(values, words):
    with pytest.raises(ValueError, match=words):
        Opto(**values)


@pytest.mark.parametrize("late_degrees", [-2.0, -0.3, -0.03, -0.003, 0.003, 0.03, 0.3, 2.0])
def test_a_window_however_short_is_found_and_one_that_never_opens_is_not(late_degrees):
    """The LED (constant drop, 60 Hz) triggers at a phase in closed form; a line-sensing window closes at another."""
    supply, opto = Supply(24.0), Opto(inhibit_volts=10.0, sense="line", latching_amps=1e-3, holding_amps=0.5e-3)
    closes = math.degrees(math.asin(10.0 / supply.volts_peak))
    lit_volts = supply.volts_peak * math.sin(math.radians(closes + late_degrees))
    drops = opto.led_drop_volts + 0.7
    ohm = (lit_volts - drops) / opto.trigger_amps - opto.led_on_ohm - 0.05
    fired = switch_coil(supply, opto=opto, led_resistor_ohm=ohm, coil=Coil(ohm=200.0, henry=1e-3)).run.modes("output")
    assert any("forward" in mode for *_, mode in fired) == (late_degrees < 0)

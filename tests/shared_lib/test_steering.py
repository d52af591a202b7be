"""Two calls on one conductor. The truth table follows from the circuit's drawing (common practice, no source)."""

import numpy as np
import pytest

from halfcycle import Supply, meters, steer
from halfcycle.optotriac import Coil
from halfcycle.steering import FAULTS

SUPPLY = Supply(24.0, resistance_ohm=1.2, leakage_henry=0.3e-3)

STATES = [(False, False), (True, False), (False, True), (True, True)]


@pytest.mark.parametrize("state", STATES)
def test_each_call_reaches_its_own_output_and_no_other(state):
    assert steer(SUPPLY, *state).outputs == state


def test_faults_give_the_outputs_that_the_drawing_tells():
    expected = {
        "diode A open": [(False, False), (False, True), (False, True)],
        "diode A shorted": [(True, True), (False, True), (True, True)],
        "diode A reversed": [(False, True), (False, True), (False, True)],
        "diode B open": [(True, False), (False, False), (True, False)],
        "diode B shorted": [(True, False), (True, True), (True, True)],
        "diode B reversed": [(True, False), (True, False), (True, False)],
        "diodes swapped": [(False, True), (True, False), (True, True)],
        "LED A open": [(False, False), (False, True), (False, True)],
        "LED B open": [(True, False), (False, False), (True, False)],
        "common lost": [(False, False), (False, False), (False, False)],
    }
    assert set(expected) == set(FAULTS)
    for fault, rows in expected.items():
        assert [steer(SUPPLY, *state, fault=fault).outputs for state in STATES[1:]] == rows, fault


def test_a_dc_meter_on_the_conductor_tells_the_calls_apart_and_an_ac_meter_does_not():
    dc = {state: meters.dc(steer(SUPPLY, *state).shared_volts) for state in STATES}
    ac = {state: meters.ac_rms(steer(SUPPLY, *state).shared_volts) for state in STATES}
    assert dc[True, False] == pytest.approx(-dc[False, True], rel=1e-3)
    assert dc[True, False] > 9
    assert abs(dc[True, True]) < 0.05
    assert ac[True, False] == pytest.approx(ac[False, True], rel=1e-3)
    assert ac[True, True] > 1.5 * ac[True, False]


def test_polarity_steering_leaves_direct_current_in_each_coil():
    amps = steer(SUPPLY, True, False).output("A").coil_amps
    assert meters.dc(amps) > 0.5 * meters.true_rms(amps)


def test_half_wave_led_current_is_what_the_piecewise_line_gives():
    """Mean current of a half sine above a threshold, by its own integral: resistive, so exact but for the 1.2 Ω."""
    supply = Supply(24.0)
    steered = steer(supply, True, False, led_resistor_ohm=820.0, coil=Coil(ohm=1e6, henry=0.01))
    drop, ohm = 0.7 + 0.7 + 1.2, 820.0 + 0.05 + 0.05 + 4.0 + 0.1 + 1.0 + 0.01
    start = np.arcsin(drop / supply.volts_peak)
    mean = (2 * supply.volts_peak * np.cos(start) - drop * (np.pi - 2 * start)) / ohm / (2 * np.pi)
    assert meters.dc(steered.led_a_amps) == pytest.approx(mean, rel=1e-4)


def test_unknown_fault_is_named():
    with pytest.raises(ValueError, match="unknown fault 'rust'"):
        steer(SUPPLY, True, True, fault="rust")

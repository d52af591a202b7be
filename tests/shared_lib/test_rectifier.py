"""Rectifiers by the exact solver, against closed forms, against SciPy and against themselves."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from halfcycle import Diode, Supply, meters, rectify

DIODE = Diode(0.7, 0.05)


def clipped(supply, drops, load_ohm):
    """Load voltage of a resistive rectifier as a function of the angle: a sine above its threshold, divided."""
    share = load_ohm / (load_ohm + supply.resistance_ohm + drops * DIODE.on_ohm)
    return lambda a: max(0.0, supply.volts_peak * np.sin(a) - drops * DIODE.drop_volts) * share


@pytest.mark.parametrize(("kind", "drops", "humps"), [("half", 1, 1), ("bridge", 2, 2)])
def test_resistive_mean_and_rms_by_quadrature(kind, drops, humps):
    supply = Supply(24.0, resistance_ohm=1.5)
    steady = rectify(supply, kind=kind, load_ohm=100.0, diode=DIODE).steady()
    volts = clipped(supply, drops, 100.0)
    mean = humps * quad(volts, 0, np.pi, points=[0.02, 3.12])[0] / (2 * np.pi)
    square = humps * quad(lambda a: volts(a) ** 2, 0, np.pi, points=[0.02, 3.12])[0] / (2 * np.pi)
    assert meters.dc(steady.load_volts) == pytest.approx(mean, rel=1e-5)
    assert meters.true_rms(steady.load_volts) == pytest.approx(np.sqrt(square), rel=1e-5)


def test_capacitor_against_scipy():
    supply = Supply(24.0, resistance_ohm=1.2)
    ours = rectify(supply, load_ohm=330.0, capacitor_farad=220e-6, diode=DIODE, cycles=3)

    def slope(t, v):
        over = supply.volts_peak * np.sin(2 * np.pi * 60 * t) - v[0] - DIODE.drop_volts
        return [(max(0.0, over) / (1.2 + DIODE.on_ohm) - v[0] / 330.0) / 220e-6]

    times = np.linspace(0, 0.05, 401)
    theirs = solve_ivp(slope, (0, 0.05), [0.0], method="LSODA", t_eval=times, rtol=1e-9, atol=1e-9, max_step=1e-5)
    assert np.abs(ours.run.volts("load", times) - theirs.y[0]).max() < 1e-3


@pytest.mark.parametrize("kind", ["half", "bridge"])
def test_steady_state_is_where_the_transient_ends(kind):
    supply = Supply(24.0, resistance_ohm=1.2, leakage_henry=0.3e-3)
    long = rectify(supply, kind=kind, load_ohm=330.0, capacitor_farad=220e-6, cycles=60)
    steady = long.steady()
    end = long.run.volts("load", np.linspace(59 / 60, 1, 101))
    assert end == pytest.approx(steady.run.volts("load", np.linspace(0, 1 / 60, 101)), abs=1e-5)


@settings(max_examples=25, deadline=None)
@given(
    kind=st.sampled_from(["half", "bridge"]),
    load_ohm=st.floats(20, 20_000),
    capacitor_farad=st.sampled_from([0.0, 10e-6, 100e-6, 1000e-6]),
    resistance_ohm=st.floats(0.3, 5),
    leakage_henry=st.sampled_from([0.0, 0.1e-3, 1e-3]),
    hertz=st.sampled_from([50.0, 60.0]),
)
def test_any_rectifier_is_periodic_balances_its_energy_and_conducts_one_way(
    kind, load_ohm, capacitor_farad, resistance_ohm, leakage_henry, hertz
):
    supply = Supply(24.0, hertz=hertz, resistance_ohm=resistance_ohm, leakage_henry=leakage_henry)
    steady = rectify(supply, kind=kind, load_ohm=load_ohm, capacitor_farad=capacitor_farad).steady()
    assert steady.load_volts.values[0] == pytest.approx(steady.load_volts.values[-1], abs=1e-6)
    assert steady.diode_amps.values.min() > -1e-6
    taken = 0.0
    for part in steady.network.parts:
        volts, amps = steady.waveform("volts", part), steady.waveform("amps", part)
        taken += np.trapezoid(volts.values * amps.values, volts.seconds)
    given_joules = np.trapezoid(np.abs(steady.load_volts.values) ** 2, steady.load_volts.seconds) / load_ohm
    assert abs(taken) < 2e-3 * given_joules + 1e-9


def test_halving_the_sample_interval_changes_nothing():
    coarse, fine = (
        rectify(Supply(24.0, resistance_ohm=1.0), load_ohm=100.0, capacitor_farad=100e-6, samples_per_cycle=n).steady()
        for n in (500, 1000)
    )
    assert fine.load_volts.values[::2] == pytest.approx(coarse.load_volts.values, abs=1e-9)


def test_inrush_depends_on_the_instant_of_switching_on():
    supply = Supply(24.0, resistance_ohm=1.2)
    peaks = {
        d: meters.peak(rectify(supply, load_ohm=330.0, capacitor_farad=1000e-6, start_degrees=d, cycles=1).diode_amps)
        for d in (0.0, 90.0)
    }
    bound = (supply.volts_peak - 0.7) / 1.25
    assert peaks[90.0] == pytest.approx(bound, rel=0.01)
    assert peaks[0.0] < 0.75 * bound


def test_half_wave_draws_direct_current_and_a_bridge_does_not():
    supply = Supply(24.0, resistance_ohm=1.2)
    half, bridge = (rectify(supply, kind=kind, load_ohm=100.0).steady() for kind in ("half", "bridge"))
    assert meters.dc(half.source_amps) == pytest.approx(meters.dc(half.load_volts) / 100.0, rel=1e-4)
    assert abs(meters.dc(bridge.source_amps)) < 1e-6


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"kind": "quarter", "load_ohm": 100.0}, "quarter"),
        ({"load_ohm": 0.0}, "load"),
        ({"load_ohm": 100.0, "capacitor_farad": -1e-6}, "capacitor"),
        ({"load_ohm": 100.0, "cycles": 0}, "cycles"),
        ({"load_ohm": 100.0, "cycles": 1e7}, "fill the memory"),
        ({"load_ohm": 100.0, "samples_per_cycle": 3}, "samples_per_cycle"),
    ],
)
def test_impossible_circuits_are_named(values, words):
    with pytest.raises(ValueError, match=words):
        rectify(Supply(24.0), **values)

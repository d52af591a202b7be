"""Slow rates beside fast ones: a 1 GΩ off-state in series with a leakage inductance is 10¹² times faster than the rest.

Second road: the same equations in 60 digits with mpmath, written here from Kirchhoff's laws and not from the solver.
"""

import mpmath
import numpy as np
import pytest

from halfcycle.network import Diode, Network

LEAK_OHM = 1e9


def supercap_behind_a_blocking_diode(*, farad: float, load_ohm: float, henry: float) -> Network:
    """A dead supply, winding and leakage, a diode that blocks, and a charged capacitor on a load."""
    net = Network()
    net.voltage_source("supply", "a", "common", dc_volts=0.0)
    net.resistor("winding", "a", "b", 1.2)
    net.inductor("leakage", "b", "c", henry)
    net.diode("diode", "c", "top", Diode(0.7, 0.05))
    net.capacitor("capacitor", "top", "common", farad, initial_volts=5.0)
    net.resistor("load", "top", "common", load_ohm)
    return net


@pytest.mark.parametrize("henry", [1e-6, 1e-3, 0.1])
@pytest.mark.parametrize("farad, load_ohm", [(470e-6, 330.0), (3.0, 330.0), (3.0, 1e6), (3.0, 1e9)])
def test_slow_decay_keeps_its_rate(farad, load_ohm, henry):
    """C·v' = −v/R + i and L·i' = −v − (1.2 Ω + 1 GΩ)·i."""
    net = supercap_behind_a_blocking_diode(farad=farad, load_ohm=load_ohm, henry=henry)
    mpmath.mp.dps = 60
    ohm = mpmath.mpf(LEAK_OHM) + mpmath.mpf(1.2)
    trace = 1 / (mpmath.mpf(farad) * load_ohm) + ohm / mpmath.mpf(henry)
    product = (ohm / load_ohm + 1) / (mpmath.mpf(farad) * mpmath.mpf(henry))
    slow = 2 * product / (trace + mpmath.sqrt(trace**2 - 4 * product))
    pattern = net.run(1.0).pieces[0].pattern
    assert float(abs(pattern.rates[-1].real + slow) / slow) < 1e-9
    seconds = min(30.0, float(1 / slow))
    lost = 5.0 - float(net.run(seconds).volts("capacitor", seconds))
    assert lost == pytest.approx(float(-5 * mpmath.expm1(-slow * seconds)), rel=1e-6)


def test_supercapacitor_charged_for_half_a_minute():
    """A 3 F pair charged by a sink of 0.4 A beside two blocking diodes: v = R·I·(1 − exp(−t/RC)), R = 1 GΩ / 2."""
    net = Network()
    net.current_source("charger", "common", "top", dc_amps=0.4)
    net.capacitor("capacitor", "top", "common", 3.0)
    for number in (1, 2):
        net.inductor(f"leakage {number}", "top", f"x{number}", 1e-3)
        net.diode(f"diode {number}", "common", f"x{number}", Diode(0.7, 0.05))
    expected = float(-mpmath.mpf(5e8) * mpmath.mpf(0.4) * mpmath.expm1(-mpmath.mpf(30) / (3 * mpmath.mpf(5e8))))
    assert net.run(30.0).volts("capacitor", 30.0) == pytest.approx(expected, rel=1e-9)


def test_bridge_of_leaks_and_filters_keeps_the_rates_that_matter():
    """Rates of 10¹³, 10⁸ and 10⁻⁵ /s with all diodes off."""
    net = Network()
    net.voltage_source("supply", "a", "x", volts_peak=34.0)
    net.resistor("winding", "a", "b", 1.2)
    net.inductor("leakage", "b", "c", 1e-4)
    for number, (anode, cathode) in enumerate([("c", "p"), ("x", "p"), ("common", "c"), ("common", "x")], start=1):
        net.diode(f"D{number}", anode, cathode, Diode(0.7, 0.05))
    net.resistor("load", "p", "common", 1e4)
    net.capacitor("C1", "p", "common", 6.0)
    net.resistor("esr", "p", "q", 0.1)
    net.capacitor("C2", "q", "common", 1e-7)
    exact = _rates_of_the_bridge()
    found = sorted(-net.run(1e-3).pieces[0].pattern.rates.real)
    for ours, theirs in zip(found, exact, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-7)


def _rates_of_the_bridge() -> list[float]:
    """State (leakage amps i, C1 volts v, C2 volts u): the four equal leaks carry i in halves, v sees them as 1 GΩ."""
    mpmath.mp.dps = 60
    m = mpmath.mpf
    leak, load, esr = m(LEAK_OHM), m(1e4), m(0.1)
    matrix = mpmath.matrix(3, 3)
    matrix[0, 0] = -(m(1.2) + leak) / m(1e-4)
    matrix[1, 1] = -(1 / load + 1 / leak + 1 / esr) / 6
    matrix[1, 2] = 1 / esr / 6
    matrix[2, 1] = 1 / esr / m(1e-7)
    matrix[2, 2] = -1 / esr / m(1e-7)
    return sorted(float(-mpmath.re(rate)) for rate in mpmath.eig(matrix)[0])


def test_quantities_keep_kirchhoff_to_a_picoampere():
    """At every node the currents of a stiff bridge add up to nothing, switching instants included."""
    net = Network()
    net.voltage_source("supply", "a", "x", volts_peak=34.0)
    net.resistor("winding", "a", "b", 1.2)
    net.inductor("leakage", "b", "c", 1e-3)
    for number, (anode, cathode) in enumerate([("c", "p"), ("x", "p"), ("common", "c"), ("common", "x")], start=1):
        net.diode(f"D{number}", anode, cathode, Diode(0.7, 0.05))
    net.resistor("load", "p", "common", 330.0)
    net.capacitor("C", "p", "common", 470e-6)
    run = net.steady()
    times = np.union1d(run.times(500), [piece.begin for piece in run.pieces])
    amps = {name: run.amps(name, times) for name in net.parts}
    assert np.abs(amps["leakage"] + amps["D3"] - amps["D1"]).max() < 1e-12
    assert np.abs(amps["D1"] + amps["D2"] - amps["load"] - amps["C"]).max() < 1e-12

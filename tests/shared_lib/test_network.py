"""The solver against closed forms of small circuits, and its errors, which name the part."""

import numpy as np
import pytest

from halfcycle.network import Diode, ExponentialDiode, Network, Switch


def rc(farad=1e-3):
    net = Network()
    net.voltage_source("battery", "in", "common", dc_volts=10.0)
    net.resistor("resistor", "in", "out", 100.0)
    net.capacitor("capacitor", "out", "common", farad)
    return net


def test_rc_step():
    times = np.linspace(0, 0.3, 50)
    assert rc().run(0.3).volts("capacitor", times) == pytest.approx(10 * (1 - np.exp(-times / 0.1)), abs=1e-9)


def test_sample_agrees_with_run():
    times = np.linspace(0, 0.3, 50)
    sampled = rc().sample(times, [("volts", "capacitor"), ("amps", "resistor")])
    run = rc().run(0.3)
    assert sampled[0] == pytest.approx(run.volts("capacitor", times), abs=1e-12)
    assert sampled[1] == pytest.approx(run.amps("resistor", times), abs=1e-12)


@pytest.mark.parametrize("ohm", [1.0, 20.0, 200.0], ids=["rings", "critical", "overdamped"])
def test_rlc_step(ohm):
    """Series RLC, 10 mH and 100 µF: the textbook solution of a second-order step; 20 Ω is critical damping."""
    net = Network()
    net.voltage_source("battery", "in", "common", dc_volts=1.0)
    net.resistor("resistor", "in", "a", ohm)
    net.inductor("coil", "a", "b", 10e-3)
    net.capacitor("capacitor", "b", "common", 100e-6)
    times = np.linspace(1e-5, 0.02, 40)
    alpha, omega = ohm / 20e-3, 1000.0
    root = np.sqrt(complex(alpha**2 - omega**2))
    if abs(root) < 1e-6:
        expected = 1 - (1 + alpha * times) * np.exp(-alpha * times)
    else:
        fast, slow = -alpha - root, -alpha + root
        expected = (1 + (fast * np.exp(slow * times) - slow * np.exp(fast * times)) / (slow - fast)).real
    assert net.run(0.02).volts("capacitor", times) == pytest.approx(expected, abs=1e-6)


def test_capacitor_on_a_direct_current_is_a_ramp():
    net = Network()
    net.current_source("pump", "common", "top", dc_amps=2e-3)
    net.capacitor("capacitor", "top", "common", 1e-3)
    assert net.run(1.0).volts("capacitor", np.array([0.25, 1.0])) == pytest.approx([0.5, 2.0])


def test_steady_sine_through_rl_is_the_phasor():
    net = Network()
    net.voltage_source("source", "in", "common", volts_peak=10.0, hertz=50.0)
    net.inductor("coil", "in", "mid", 0.1)
    net.resistor("resistor", "mid", "common", 10.0)
    run = net.steady()
    phasor = 10.0 / (10.0 + 2j * np.pi * 50 * 0.1)
    times = run.times(100)
    expected = abs(phasor) * np.sin(2 * np.pi * 50 * times + np.angle(phasor))
    assert run.amps("coil", times) == pytest.approx(expected, abs=1e-8)


def test_switch_keeps_its_timetable():
    net = rc()
    net.device("contact", "out", "common", Switch(closes=(0.1,), opens=(0.2,), on_ohm=0.01))
    run = net.run(0.3)
    assert [(round(b, 9), round(e, 9), m) for b, e, m in run.modes("contact")] == [
        (0.0, 0.1, "off"),
        (0.1, 0.2, "on"),
        (0.2, 0.3, "off"),
    ]
    assert run.volts("capacitor", np.array([0.19]))[0] < 2e-3


def test_exponential_diode_follows_its_law():
    """Shockley's law, solved for the same circuit by bisection; the chords stay within 2 %."""
    law = ExponentialDiode()
    net = Network()
    net.voltage_source("battery", "in", "common", dc_volts=5.0)
    net.resistor("resistor", "in", "anode", 100.0)
    net.diode("diode", "anode", "common", law)
    ours = net.run(0.01).amps("diode", np.array([0.005]))[0]
    low, high = 0.0, 5.0
    for _ in range(100):
        middle = (low + high) / 2
        too_much = law.saturation_amps * np.expm1(middle / law.emission_volts) > (5.0 - middle) / 100.0
        low, high = (low, middle) if too_much else (middle, high)
    assert ours == pytest.approx((5.0 - low) / 100.0, rel=0.02)


def test_a_coil_freewheels_through_its_diode():
    net = Network()
    net.inductor("coil", "common", "end", 1.0, initial_amps=0.5)
    net.resistor("winding", "end", "anode", 50.0)
    net.diode("diode", "anode", "common", Diode(0.7, 0.05))
    times = np.linspace(0, 0.05, 20)
    settled = -0.7 / 50.05
    expected = np.maximum(settled + (0.5 - settled) * np.exp(-50.05 * times), 0)
    assert net.run(0.05).amps("coil", times) == pytest.approx(expected, abs=1e-6)


def test_errors_name_the_part_or_the_node():
    net = rc()
    with pytest.raises(ValueError, match="two parts are called 'resistor'"):
        net.resistor("resistor", "in", "out", 1.0)
    with pytest.raises(ValueError, match="resistance of 'nought'"):
        net.resistor("nought", "in", "out", 0.0)
    with pytest.raises(ValueError, match="both ends of 'loop'"):
        net.resistor("loop", "in", "in", 1.0)
    with pytest.raises(ValueError, match="no part 'moon'"):
        net.run(0.1).volts("moon", np.array([0.0]))


def test_an_island_is_named():
    net = rc()
    net.resistor("far", "p", "q", 1.0)
    with pytest.raises(ValueError, match="node 'p' of part 'far' floats"):
        net.run(0.1)


def test_a_short_across_an_ideal_source_is_named():
    net = rc()
    net.voltage_source("second", "in", "common", dc_volts=9.0)
    with pytest.raises(ValueError, match="'battery' and 'second'"):
        net.run(0.1)


def test_a_capacitor_straight_across_a_source_is_named():
    net = rc()
    net.capacitor("filter", "in", "common", 1e-6)
    with pytest.raises(ValueError, match="filter"):
        net.run(0.1)


def test_too_long_or_too_many():
    with pytest.raises(ValueError, match="fill the memory"):
        rc().run(1e6)
    with pytest.raises(ValueError, match="fill the memory"):
        rc().sample(np.zeros(60_000_000), [("volts", "capacitor")])

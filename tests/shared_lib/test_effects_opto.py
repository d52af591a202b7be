"""What a drawn waveform gets wrong about light, triac and coil, and about two calls on one wire; one test an effect."""

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq

from halfcycle import Supply, meters, steer
from halfcycle.optotriac import Coil, Opto, Snubber, switch_coil

PEAK, OMEGA, PERIOD = 24.0 * 2**0.5, 120 * np.pi, 1 / 60
STIFF = Supply(24.0)
COIL = Coil(ohm=90.0, henry=0.9)


@cache
def switched(**parts):
    return switch_coil(STIFF, **({"coil": COIL} | parts))


def degrees(seconds: float) -> float:
    return float(seconds) * 360 / PERIOD


def spans(solved, mode: str) -> list[tuple[float, float]]:
    return [(begin, end) for begin, end, name in solved.run.modes("output") if name == mode]


@pytest.mark.parametrize("meter_ohm", [1e6, 10e6])
@pytest.mark.parametrize("farad", [0.01e-6, 0.1e-6])
def test_snubber_leakage_shows_a_phantom_voltage_on_a_meter_across_an_open_load(meter_ohm, farad):
    """The divider of snubber (with the output's own 10 MΩ) and meter, by phasors; the coil's branch is broken."""
    solved = switched(
        called=False, coil=Coil(1e12, 0.9), snubber=Snubber(100.0, farad), load_parallel_ohm=meter_ohm, feed="dc"
    )
    across = 1 / (1e-7 + 1 / (100.0 + 1 / (1j * OMEGA * farad)))
    expected = 24.0 * abs(meter_ohm / (meter_ohm + across))
    assert meters.true_rms(solved.load_volts) == pytest.approx(expected, rel=1e-4)
    assert expected > 22


def test_a_bleeder_removes_the_phantom_voltage_as_the_divider_says():
    solved = switched(called=False, coil=Coil(1e12, 0.9), snubber=Snubber(), load_parallel_ohm=3300.0, feed="dc")
    across = 1 / (1e-7 + 1 / (100.0 + 1 / (1j * OMEGA * 0.1e-6)))
    expected = 24.0 * abs(3300.0 / (3300.0 + across))
    assert meters.true_rms(solved.load_volts) == pytest.approx(expected, rel=1e-4)
    assert expected < 3.1


def test_led_conducts_over_the_angle_that_two_drops_and_the_resistor_leave():
    """Lit where V·sin θ is above the two drops; triggering where it is above drops + I·R: both by arcsine."""
    for ohm in (820.0, 2200.0):
        amps = switched(led_resistor_ohm=ohm, samples_per_cycle=200_000).led_amps
        for level, volts in ((1e-6, 0.7 + 1.2), (0.005, 0.7 + 1.2 + 0.005 * (ohm + 4.05))):
            angle = 360 * np.mean(amps.values[:-1] > level)
            assert angle == pytest.approx(180 - 2 * np.degrees(np.arcsin(volts / PEAK)), abs=0.02), (ohm, level)


def test_inductive_coil_delays_latching_by_the_rise_of_its_current():
    """Fired at θ, L·i' + R·i = V·sin − 1 V: the closed form with its decaying part reaches latching when the modes do (to 0.1 µs: the 10 MΩ of the output passes 0.7 µA before it fires)."""
    opto = Opto(latching_amps=0.03, holding_amps=0.02)
    solved = switched(opto=opto, led_resistor_ohm=1500.0)
    fired, latched = spans(solved, "forward")[0]
    ohm = COIL.ohm + opto.on_ohm
    size, angle = PEAK / np.hypot(ohm, OMEGA * COIL.henry), np.arctan2(OMEGA * COIL.henry, ohm)

    def amps(t):
        swing = size * np.sin(OMEGA * t - angle) - opto.drop_volts / ohm
        begin = size * np.sin(OMEGA * fired - angle) - opto.drop_volts / ohm
        return swing - begin * np.exp(-(t - fired) * ohm / COIL.henry)

    expected = brentq(lambda t: amps(t) - 0.03, fired, fired + PERIOD / 4)
    assert latched == pytest.approx(expected, abs=1e-7)
    assert degrees(latched - fired) > 20, "a resistor would have latched at once"


def test_once_dark_the_output_holds_until_its_current_falls_to_holding():
    opto = Opto(latching_amps=0.03, holding_amps=0.02)
    solved = switched(opto=opto, led_resistor_ohm=1500.0)
    released = spans(solved, "forward held")[0][1]
    lit = solved.led_amps
    dark = lit.seconds[np.flatnonzero(lit.values > opto.trigger_amps)[-1]]
    assert released > dark + 1e-3
    assert float(solved.run.amps("output", released - 1e-9)) == pytest.approx(0.02, rel=1e-3)


def test_an_inhibit_window_that_closes_before_the_light_comes_keeps_the_output_off():
    """The light reaches 5 mA at 11.9 degrees, 6.9 V: a window of 10 V still fires there, one of 6 V never does."""
    lit = np.degrees(np.arcsin((0.7 + 1.2 + 0.005 * 1004.05) / PEAK))
    open_still = switched(led_resistor_ohm=1000.0, opto=Opto(inhibit_volts=10.0))
    assert degrees(spans(open_still, "forward")[0][0]) == pytest.approx(lit, abs=0.01)
    assert degrees(1 / OMEGA * np.arcsin(6.0 / PEAK)) < lit < degrees(1 / OMEGA * np.arcsin(10.0 / PEAK))
    shut = switched(led_resistor_ohm=1000.0, opto=Opto(inhibit_volts=6.0))
    assert not spans(shut, "forward")
    assert not shut.pulled_in
    assert switched(led_resistor_ohm=1000.0).pulled_in, "a random-phase part does not mind"


@pytest.mark.parametrize("more_volts", [1e-3, 0.01, 0.1, 0.5])
@pytest.mark.parametrize("ohm", [560.0, 1000.0, 1200.0, 1500.0])
def test_a_window_that_is_open_for_microseconds_is_met(ohm, more_volts):
    """Light and window overlap for a thousandth of a volt, 0.1 µs, between the instants at which the solver looks."""
    volts = 0.7 + 1.2 + 0.005 * (ohm + 4.05)
    fires = switched(led_resistor_ohm=ohm, opto=Opto(inhibit_volts=volts + more_volts))
    assert degrees(spans(fires, "forward")[0][0]) == pytest.approx(np.degrees(np.arcsin(volts / PEAK)), abs=1e-3)
    shut = switched(led_resistor_ohm=ohm, opto=Opto(inhibit_volts=volts - more_volts - 0.005))
    assert not spans(shut, "forward"), "5 mV more, for the coil's inductance delays the leakage behind it a little"


def test_a_window_sensed_at_the_line_misses_every_other_half_cycle_once_the_coil_lags():
    """The current ends after the line's zero, when the line is out of the window again; across the device it never is."""
    lag = np.degrees(np.arctan2(OMEGA * COIL.henry, COIL.ohm))
    window = np.degrees(np.arcsin(10.0 / PEAK))
    assert lag > window
    always = {"feed": "dc", "led_resistor_ohm": 1000.0}
    device, line = (switched(opto=Opto(inhibit_volts=10.0, sense=where), **always) for where in ("device", "line"))
    assert spans(device, "forward held") and spans(device, "reverse held")
    assert bool(spans(line, "forward held")) ^ bool(spans(line, "reverse held"))
    assert abs(meters.dc(device.coil_amps)) < 1e-6
    assert abs(meters.dc(line.coil_amps)) > 0.5 * line.coil_rms_amps
    barely = Coil(ohm=90.0, henry=0.02)
    steady = switched(coil=barely, opto=Opto(inhibit_volts=10.0, sense="line"), **always)
    assert abs(meters.dc(steady.coil_amps)) < 1e-6, "a coil that hardly lags is served in both half cycles"


def test_an_led_resistor_a_little_too_large_never_lets_the_relay_pull_in():
    """The light still comes, but for so short a time that the current cannot reach latching."""
    opto = Opto(latching_amps=0.05, holding_amps=0.03)
    solved = {ohm: switched(opto=opto, led_resistor_ohm=ohm) for ohm in (3300.0, 4700.0, 5100.0, 5600.0, 6200.0)}
    pulled = [s.pulled_in for s in solved.values()]
    assert pulled[0] and not pulled[-1]
    assert pulled == sorted(pulled, reverse=True)
    for ohm, s in solved.items():
        assert meters.peak(s.led_amps) > opto.trigger_amps, ohm
        assert spans(s, "forward"), f"{ohm}: it fires"
        assert bool(spans(s, "forward held")) == s.pulled_in, f"{ohm}: what never latches never pulls in"
    assert solved[6200.0].coil_rms_amps < 0.5 * solved[3300.0].coil_rms_amps


def test_polarity_steering_leaves_each_coil_half_wave_fed_with_direct_current():
    for calls, name in (((True, False), "A"), ((False, True), "B"), ((True, True), "A"), ((True, True), "B")):
        amps = steer(STIFF, *calls, coil=COIL).output(name).coil_amps
        assert abs(meters.dc(amps)) > 0.5 * meters.true_rms(amps)
        assert amps.values.min() * amps.values.max() < 1e-6 * meters.peak(amps), "one direction only"
    both = steer(STIFF, True, True, coil=COIL)
    assert meters.dc(both.output("A").coil_amps) == pytest.approx(-meters.dc(both.output("B").coil_amps), rel=1e-6)


def test_turning_off_the_holding_current_rings_with_the_snubber():
    """What the sine leaves of the coil's current swings at √(1/LC − (R/2L)²), fading with R/2L: 0.9 H with 0.1 µF."""
    opto = Opto(latching_amps=0.03, holding_amps=0.03)
    snubber = Snubber(100.0, 0.1e-6)
    solved = switched(opto=opto, snubber=snubber, led_resistor_ohm=1500.0)
    released = next(begin for begin, end in spans(solved, "off") if begin > 1e-3)
    times = np.linspace(released, released + 4e-3, 40_001)
    impedance = COIL.ohm + 1j * OMEGA * COIL.henry + 1 / (1e-7 + 1 / (100.0 + 1 / (1j * OMEGA * 0.1e-6)))
    left = solved.run.amps("output coil", times) - (PEAK / impedance * np.exp(1j * OMEGA * times)).imag
    crossings = times[1:][np.diff(np.sign(left)) != 0]
    decay = (COIL.ohm + 100.0) / (2 * COIL.henry)
    omega = np.sqrt(1 / (0.9 * 0.1e-6) - decay**2)
    assert len(crossings) >= 4
    assert np.diff(crossings) == pytest.approx(np.pi / omega, rel=0.005)
    assert np.abs(left).max() == pytest.approx(0.03, rel=0.2), "it begins with about the holding current"
    assert meters.peak(solved.output_volts) > PEAK + 20, "and lifts the output's voltage far above the line"

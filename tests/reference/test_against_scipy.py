"""Rectifiers solved a second time by SciPy's `solve_ivp`, from equations written here by hand, with located events.

The diodes here are blocked or on, with no leakage, so the two differ by what 1 GΩ passes: up to 60 nA in the load.
"""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from halfcycle import Supply
from halfcycle.network import Diode
from halfcycle.optotriac import Coil, Opto, switch_coil
from halfcycle.rectifier import rectify

HERTZ, PEAK, WINDING = 60.0, 24.0 * 2**0.5, 1.2
OMEGA = 2 * np.pi * HERTZ
TIGHT = {"rtol": 1e-10, "atol": 1e-12, "method": "DOP853", "dense_output": True}


def walk(slopes: dict, exits: dict, mode: str, state: list[float], end: float):
    """Yield (begin, end, mode, dense solution): each mode has its slope and the events that leave it."""
    now = 0.0
    while now < end - 1e-12:
        events = [event for _, event in exits[mode]]
        done = solve_ivp(slopes[mode], (now, end), state, events=events, max_step=2e-4, **TIGHT)
        yield now, done.t[-1], mode, done.sol
        now, state = done.t[-1], done.y[:, -1]
        for (to, _), times in zip(exits[mode], done.t_events, strict=True):
            if len(times):
                mode = to
                break


def rising(function):
    """A terminal event where `function(t, y)` rises through zero."""

    def event(t, y):
        return function(t, y)

    event.terminal, event.direction = True, 1
    return event


def sample(pieces: list, times: np.ndarray, quantity) -> np.ndarray:
    out = np.empty_like(times)
    for begin, end, mode, solution in pieces:
        inside = (times >= begin) & (times <= end)
        out[inside] = [quantity(t, solution(t), mode) for t in times[inside]]
    return out


@pytest.mark.parametrize("kind, drops", [("half", 1), ("bridge", 2)])
@pytest.mark.parametrize("load_ohm, farad", [(330.0, 470e-6), (33.0, 2200e-6), (1000.0, 10e-6)])
def test_capacitor_behind_resistance(kind, drops, load_ohm, farad):
    """C·v' = i − v/R with i = (|u| − n·drop − v)/(r + n·on) while that is positive."""
    diode = Diode(0.7, 0.05)

    def pressure(t, v):
        source = PEAK * np.sin(OMEGA * t)
        return (abs(source) if kind == "bridge" else source) - drops * diode.drop_volts - v

    def amps(t, y, mode):
        return pressure(t, y[0]) / (WINDING + drops * diode.on_ohm) if mode == "on" else 0.0

    slopes = {m: lambda t, y, m=m: [(amps(t, y, m) - y[0] / load_ohm) / farad] for m in ("on", "off")}
    exits = {
        "on": [("off", rising(lambda t, y: -pressure(t, y[0])))],
        "off": [("on", rising(lambda t, y: pressure(t, y[0])))],
    }
    pieces = list(walk(slopes, exits, "off", [0.0], 3 / HERTZ))
    supply = Supply(24.0, hertz=HERTZ, resistance_ohm=WINDING)
    run = rectify(supply, kind=kind, load_ohm=load_ohm, capacitor_farad=farad, diode=diode, cycles=3).run
    times = np.linspace(0, 3 / HERTZ, 601)
    volts = sample(pieces, times, lambda t, y, mode: y[0])
    source = sample(pieces, times, lambda t, y, mode: amps(t, y, mode) * np.sign(np.sin(OMEGA * t)))
    np.testing.assert_allclose(run.volts("load", times), volts, atol=2e-6 + 60e-9 * load_ohm)
    np.testing.assert_allclose(-run.amps("secondary", times), source, atol=1e-5)


def test_half_wave_behind_leakage_inductance():
    """State (i, v): L·i' = u − r·i − drop − on·i − v and C·v' = i − v/R while i > 0; the diode stops the current."""
    henry, farad, load_ohm, diode = 3e-3, 470e-6, 330.0, Diode(0.7, 0.05)

    def on(t, y):
        drive = PEAK * np.sin(OMEGA * t) - (WINDING + diode.on_ohm) * y[0] - diode.drop_volts - y[1]
        return [drive / henry, (y[0] - y[1] / load_ohm) / farad]

    def off(t, y):
        return [0.0, -y[1] / (load_ohm * farad)]

    exits = {
        "on": [("off", rising(lambda t, y: -y[0] - 1e-12))],
        "off": [("on", rising(lambda t, y: PEAK * np.sin(OMEGA * t) - diode.drop_volts - y[1]))],
    }
    pieces = list(walk({"on": on, "off": off}, exits, "off", [0.0, 0.0], 3 / HERTZ))
    supply = Supply(24.0, hertz=HERTZ, resistance_ohm=WINDING, leakage_henry=henry)
    run = rectify(supply, load_ohm=load_ohm, capacitor_farad=farad, diode=diode, cycles=3).run
    times = np.linspace(0, 3 / HERTZ, 601)
    np.testing.assert_allclose(run.volts("load", times), sample(pieces, times, lambda t, y, m: y[1]), atol=1e-5)
    np.testing.assert_allclose(run.amps("D1", times), sample(pieces, times, lambda t, y, m: y[0]), atol=1e-5)
    assert [mode for _, _, mode in run.modes("D1")] == [mode for _, _, mode, _ in pieces]


@pytest.mark.parametrize("led_ohm, holding", [(820.0, 0.01), (1500.0, 0.02)])
def test_triac_fired_by_half_wave_light_with_an_inductive_coil(led_ohm, holding):
    """L·i' = V·sin − drop − R·i while on; fired at 5 mA of light, let go in the dark below the holding current.

    SciPy walks six periods from rest; then it fires, lets go and carries current as the steady state does.
    """
    opto, coil = Opto(latching_amps=0.02, holding_amps=holding), Coil(ohm=90.0, henry=0.9)
    ohm = coil.ohm + opto.on_ohm + WINDING

    def light(t):
        return (PEAK * np.sin(OMEGA * t) - 0.7 - opto.led_drop_volts) / (led_ohm + opto.led_on_ohm + 0.05)

    def on(t, y):
        return [(PEAK * np.sin(OMEGA * t) - opto.drop_volts - ohm * y[0]) / coil.henry]

    lit = rising(lambda t, y: light(t) - opto.trigger_amps)
    let_go = rising(lambda t, y: min(opto.trigger_amps - light(t), holding - y[0]))
    now, pieces = 0.0, []
    while now < 6 / HERTZ:
        fired = solve_ivp(lambda t, y: [0.0], (now, now + 1 / HERTZ), [0.0], events=[lit], max_step=2e-4, **TIGHT).t[-1]
        done = solve_ivp(on, (fired, fired + 1 / HERTZ), [0.0], events=[let_go], max_step=2e-4, **TIGHT)
        now = done.t[-1]
        pieces.append((fired, now, done.sol))
    fired, released, amps = pieces[-1]
    begin = HERTZ**-1 * (fired * HERTZ // 1)
    solved = switch_coil(Supply(24.0, resistance_ohm=WINDING), opto=opto, coil=coil, led_resistor_ohm=led_ohm)
    spans = solved.run.modes("output")
    assert next(b for b, _, mode in spans if mode == "forward") == pytest.approx(fired - begin, abs=1e-9)
    assert next(e for _, e, mode in spans if mode == "forward held") == pytest.approx(released - begin, abs=1e-7)
    times = np.linspace(fired, released, 300)[1:-1]
    np.testing.assert_allclose(solved.run.amps("output coil", times - begin), amps(times)[0], atol=3e-6)


@pytest.mark.parametrize("kind, drops, pulses", [("half", 1, 1), ("bridge", 2, 2)])
def test_resistive_mean_and_rms_by_quadrature(kind, drops, pulses):
    """The mean and rms of a clipped sine behind the winding, by `quad` between its exact conduction limits."""
    ohm, on_ohm = 200.0, WINDING + drops * 0.05
    first = np.arcsin(drops * 0.7 / PEAK)
    wave = rectify(Supply(24.0, resistance_ohm=WINDING), kind=kind, load_ohm=ohm, samples_per_cycle=40_000).steady()
    for power in (1, 2):
        area = quad(
            lambda a, p=power: ((PEAK * np.sin(a) - drops * 0.7) * ohm / (ohm + on_ohm)) ** p, first, np.pi - first
        )
        expected = pulses * area[0] / (2 * np.pi)
        volts = wave.load_volts
        measured = np.trapezoid(volts.values**power, volts.seconds) / volts.seconds[-1]
        assert measured == pytest.approx(expected, rel=1e-6)

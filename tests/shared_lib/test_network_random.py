"""What must hold for any rectifier, whatever its values: drawn by hypothesis, checked by the laws of circuits."""

from itertools import pairwise

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfcycle import Supply
from halfcycle.network import Diode, Network
from halfcycle.rectifier import rectifier_network
from halfcycle.spikes import Filter, spike_network
from halfcycle.steering import steering_network

NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)


def decades(least: float, most: float) -> st.SearchStrategy:
    return st.floats(np.log10(least), np.log10(most)).map(lambda power: float(10**power))


rectifiers = st.builds(
    lambda kind, hertz, winding, leakage, load, farad, drop, on_ohm: rectifier_network(
        Supply(24.0, hertz=hertz, resistance_ohm=winding, leakage_henry=leakage),
        kind=kind,
        load_ohm=load,
        capacitor_farad=farad,
        diode=Diode(drop, on_ohm),
    ),
    kind=st.sampled_from(["half", "bridge"]),
    hertz=st.sampled_from([50.0, 60.0]),
    winding=st.one_of(st.just(0.0), decades(0.05, 20.0)),
    leakage=st.one_of(st.just(0.0), decades(1e-5, 1e-2)),
    load=decades(20.0, 2e4),
    farad=st.one_of(st.just(0.0), decades(1e-7, 1e-2)),
    drop=st.floats(0.2, 1.5),
    on_ohm=decades(0.01, 1.0),
)

quick = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


def states(net: Network) -> tuple[tuple[str, str], ...]:
    """What makes up a rectifier's state: the voltage of its capacitor, the current of its leakage inductance."""
    return tuple((kind, n) for kind, n in (("volts", "capacitor"), ("amps", "leakage")) if n in net.parts)


def within_pieces(run) -> tuple[np.ndarray, np.ndarray]:
    """Instants and weights of a quadrature over the run that is exact to rounding: each piece is smooth."""
    times, weights = [], []
    for piece in run.pieces:
        radians = (piece.end - piece.begin) * piece.pattern.rates.imag.max(initial=0.0)
        cuts = np.linspace(piece.begin, piece.end, 9 + int(radians / 6))
        cuts = np.concatenate(
            [[piece.begin], piece.begin + np.geomspace(1e-9, 1, 40) * (cuts[1] - piece.begin), cuts[2:]]
        )
        for begin, end in pairwise(cuts):
            half = (end - begin) / 2
            times.append(begin + half * (1 + NODES))
            weights.append(half * WEIGHTS)
    return np.concatenate(times), np.concatenate(weights)


@quick
@given(rectifiers)
def test_energy_balances_over_a_period_of_the_steady_state(net: Network):
    """What the source gives is what the parts that are not C or L take: both exact integrals of volts times amps."""
    run = net.steady()
    times, weights = within_pieces(run)
    joules = {name: float(weights @ (run.volts(name, times) * run.amps(name, times))) for name in net.parts}
    given_joules = -joules.pop("secondary")
    stored = joules.pop("capacitor", 0.0) + joules.pop("leakage", 0.0)
    assert abs(stored) < 1e-6 * given_joules
    assert abs(sum(joules.values()) - given_joules) < 1e-6 * given_joules
    assert all(value > 0 for value in joules.values())


@quick
@given(rectifiers)
def test_no_diode_conducts_backwards_or_holds_off_what_it_should_pass(net: Network):
    run = net.steady()
    times, _ = within_pieces(run)
    for name in (n for n in net.parts if n.startswith("D")):
        drop = -net.parts[name][0].laws["on"].offset_amps / net.parts[name][0].laws["on"].siemens
        volts, amps = run.quantities([("volts", name), ("amps", name)], times)
        assert amps.min() > -1e-6
        assert volts[amps < 1e-6].max(initial=-1.0) < drop + 1e-3


@quick
@given(rectifiers)
def test_steady_state_ends_as_it_began_and_a_run_from_it_stays_in_it(net: Network):
    steady = net.steady()
    begin_state = steady.quantities(states(net), steady.begin)
    scale = 1 + np.abs(begin_state).max(initial=0.0)
    np.testing.assert_allclose(steady.end_state, begin_state, atol=1e-7 * scale)
    again = net.run(2 * net.period_s, state=begin_state)
    times = steady.times(64)
    np.testing.assert_allclose(again.volts("load", times + net.period_s), steady.volts("load", times), atol=1e-6 * 34)


def events(pieces) -> tuple[list, np.ndarray]:
    """Modes of each piece, and the instants at which it begins and ends."""
    return [piece.pattern.modes for piece in pieces], np.array([(piece.begin, piece.end) for piece in pieces])


calls = st.builds(
    lambda resistor, wire, call_b: steering_network(
        Supply(26.4, resistance_ohm=1.44), True, call_b, led_resistor_ohm=resistor, wire_ohm=wire
    ),
    resistor=decades(200.0, 4000.0),
    wire=decades(0.1, 50.0),
    call_b=st.booleans(),
)
buses = st.builds(
    lambda place, load, farad: spike_network(
        Supply(26.0, resistance_ohm=1.0, leakage_henry=0.3e-3), filter=Filter(place, farad), bus_load_ohm=load
    ),
    place=st.sampled_from(["none", "feed", "snubber", "lc"]),
    load=decades(20.0, 4e3),
    farad=decades(1e-7, 1e-3),
)


@quick
@given(st.one_of(rectifiers, calls, buses))
def test_a_steady_state_has_the_events_that_a_search_from_its_state_finds(net: Network):
    """Its last lap takes events over from the one before; here every margin is searched."""
    steady, walker = net.steady(), net._solver()
    modes, instants = events(steady.pieces)
    found, searched = events(list(walker.pieces(0.0, net.period_s, steady.end_state, modes[-1])))
    assert found == modes
    np.testing.assert_allclose(searched, instants, rtol=0, atol=1e-6 * net.period_s)


@quick
@given(rectifiers)
def test_finer_sampling_and_single_instants_change_nothing(net: Network):
    run = net.run(1.5 * net.period_s)
    coarse, fine = run.times(50), run.times(100)
    volts = run.volts("load", fine)
    np.testing.assert_allclose(run.volts("load", coarse), volts[::2], rtol=1e-12, atol=1e-14)
    np.testing.assert_allclose([float(run.volts("load", t)) for t in fine[::10]], volts[::10], rtol=1e-12, atol=1e-14)
    np.testing.assert_allclose(net.sample(fine, [("volts", "load")])[0], volts, rtol=1e-12, atol=1e-14)


@quick
@given(rectifiers)
def test_state_never_jumps_at_a_switching_instant(net: Network):
    run = net.run(2 * net.period_s)
    for before, after in pairwise(run.pieces):
        left = before.values(states(net), np.array([before.end]))
        right = after.values(states(net), np.array([after.begin]))
        np.testing.assert_allclose(left, right, rtol=0, atol=1e-9)

"""What must hold for any circuit of sources, R, L, C and diodes: random graphs, random buses, random steered calls."""

from itertools import pairwise

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfcycle import Supply
from halfcycle.network import Capacitor, Device, Diode, ExponentialDiode, Inductor, Network, VoltageSource
from halfcycle.optotriac import Coil, Opto, Snubber
from halfcycle.spikes import Filter, spike_network
from halfcycle.steering import steering_network

NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
quick = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)

few = settings(quick, max_examples=12)


def decades(least: float, most: float) -> st.SearchStrategy:
    return st.floats(np.log10(least), np.log10(most)).map(lambda power: float(10**power))


@st.composite
def graphs(draw) -> Network:
    """A sine behind a resistance; two to five nodes, each with a resistor to common; branches anywhere between them."""
    net, names = Network(), [f"n{k}" for k in range(draw(st.integers(2, 5)))]
    hertz = draw(st.sampled_from([50.0, 60.0]))
    net.voltage_source("source", "in", "common", volts_peak=34.0, hertz=hertz, degrees=draw(st.floats(0, 360)))
    net.resistor("feed", "in", names[0], draw(decades(0.1, 20.0)))
    for name in names:
        net.resistor(f"{name} load", name, "common", draw(decades(30.0, 1e4)))
    for k in range(draw(st.integers(1, 7))):
        plus, minus = draw(st.permutations([*names, "common"]))[:2]
        kind, value = (
            draw(st.sampled_from(["resistor", "inductor", "capacitor", "diode", "junction"])),
            draw(st.floats(0, 1)),
        )
        net.resistor(f"r{k}", plus, f"m{k}", 10 ** (3 * value - 1))
        if kind == "diode":
            net.diode(f"D{k}", f"m{k}", minus, Diode(0.2 + value, 0.02 + 0.1 * value))
        elif kind == "junction":
            net.diode(f"J{k}", f"m{k}", minus, ExponentialDiode(pieces=8))
        elif kind == "inductor":
            net.inductor(f"L{k}", f"m{k}", minus, 10 ** (3 * value - 4))
        elif kind == "capacitor":
            net.capacitor(f"C{k}", f"m{k}", minus, 10 ** (4 * value - 7))
        else:
            net.resistor(f"s{k}", f"m{k}", minus, 10 ** (3 * value))
    return net


def random_buses(store_volts: st.SearchStrategy) -> st.SearchStrategy:
    return st.builds(
        lambda winding, leakage, load, place, store: spike_network(
            Supply(26.0, resistance_ohm=winding, leakage_henry=leakage),
            filter=Filter(place),
            bus_load_ohm=load,
            store_volts=store,
        ),
        winding=decades(0.3, 3.0),
        leakage=decades(1e-4, 3e-3),
        load=decades(20.0, 500.0),
        place=st.sampled_from(["none", "feed", "snubber", "lc", "straight"]),
        store=store_volts,
    )


steered = st.builds(
    lambda winding, calls, ohm, coil, henry, snubber: steering_network(
        Supply(24.0, resistance_ohm=winding),
        *calls,
        opto=Opto(latching_amps=0.012),
        led_resistor_ohm=ohm,
        coil=Coil(coil, henry),
        snubber=snubber,
    ),
    winding=decades(0.3, 3.0),
    calls=st.sampled_from([(True, False), (False, True), (True, True)]),
    ohm=decades(400.0, 2000.0),
    coil=decades(50.0, 200.0),
    henry=decades(0.1, 1.5),
    snubber=st.sampled_from([None, Snubber(), Snubber(47.0, 0.047e-6)]),
)


def smooth_instants(run) -> tuple[np.ndarray, np.ndarray]:
    """Instants and weights of a quadrature that is exact to rounding: each piece is smooth, its beginning cut finely."""
    times, weights = [], []
    for piece in run.pieces:
        length = piece.end - piece.begin
        cuts = [*np.geomspace(1e-12, 1, 90) * length, *np.linspace(0, length, 9 + _turns(piece, length))]
        for begin, end in pairwise(sorted(cuts)):
            times.append(piece.begin + begin + (end - begin) / 2 * (1 + NODES))
            weights.append((end - begin) / 2 * WEIGHTS)
    return np.concatenate(times).clip(run.begin, run.end), np.concatenate(weights)


def _turns(piece, length: float) -> int:
    """Cuts enough for the ringing of a piece while it lasts."""
    rates = piece.pattern.rates
    lives = np.minimum(length, 40 / np.maximum(np.abs(rates.real), 1e-9))
    return int(sum(np.abs(rates.imag) * lives * np.maximum(1, length / lives) / 6)) if len(rates) else 0


def stored_joules(net: Network, run, at: float) -> float:
    total = 0.0
    for name, (part, _, _) in net.parts.items():
        if isinstance(part, Capacitor):
            total += 0.5 * part.farad * float(run.volts(name, at)) ** 2
        if isinstance(part, Inductor):
            total += 0.5 * part.henry * float(run.amps(name, at)) ** 2
    return total


def check_energy(net: Network, run) -> None:
    """What all parts but C and L take adds up to what C and L lose; only sources may give."""
    times, weights = smooth_instants(run)
    wanted = [(kind, name) for name in net.parts for kind in ("volts", "amps")]
    values = dict(zip(wanted, run.quantities(wanted, times), strict=True))
    reactive = (Capacitor, Inductor)
    joules = {
        name: float(weights @ (values["volts", name] * values["amps", name]))
        for name, (part, _, _) in net.parts.items()
        if not isinstance(part, reactive)
    }
    moved = sum(abs(j) for j in joules.values())
    gained = stored_joules(net, run, run.end) - stored_joules(net, run, run.begin)
    assert abs(sum(joules.values()) + gained) < 2e-6 * moved
    givers = {name for name, j in joules.items() if j < -1e-9 * moved}
    assert all(isinstance(net.parts[name][0], VoltageSource) for name in givers), givers


def check_diodes(net: Network, run) -> None:
    """No diode passes more than leakage backwards, or holds off more than its drop."""
    times, _ = smooth_instants(run)
    for name, (part, _, _) in net.parts.items():
        if isinstance(part, Device) and set(part.laws) == {"off", "on"} and part.exits:
            volts, amps = run.quantities([("volts", name), ("amps", name)], times)
            drop = part.exits["off"][0].conditions[0].threshold
            assert amps.min() > -1.1e-9 * max(1.0, -volts.min()) - 1e-9
            assert volts[amps < 1e-7].max(initial=-1.0) < drop + 1e-3


def check_junctions(net: Network, run) -> None:
    """The current of an exponential diode lies on its chords, at whatever voltage."""
    times, _ = smooth_instants(run)
    corners = np.array(ExponentialDiode(pieces=8).points())
    for name in (n for n in net.parts if n.startswith("J")):
        volts, amps = run.quantities([("volts", name), ("amps", name)], times)
        on = (amps > 1e-7) & (amps < 10.0)
        np.testing.assert_allclose(np.interp(volts[on], *corners.T), amps[on], rtol=1e-6, atol=1e-9)
        assert volts[amps <= 1e-7].max(initial=0.0) < 0.01


def check_sampling(net: Network, run) -> None:
    """Halving the interval changes no common sample, many at once are as one by one, and `sample` is `run`."""
    coarse, fine = run.times(40), run.times(80)
    wanted = [("amps", name) for name in net.parts]
    table = run.quantities(wanted, fine)
    np.testing.assert_allclose(run.quantities(wanted, coarse), table[:, ::2], rtol=1e-12, atol=1e-13)
    for k in (0, 7, 33, 80):
        np.testing.assert_allclose(run.quantities(wanted, fine[k]), table[:, k], rtol=1e-12, atol=1e-13)


@quick
@given(graphs())
def test_any_graph_from_rest(net: Network):
    run = net.run(2 * net.period_s)
    check_energy(net, run)
    check_diodes(net, run)
    check_junctions(net, run)
    check_sampling(net, run)
    wanted = [("amps", name) for name in net.parts]
    walked = net.sample(run.times(50), wanted)
    np.testing.assert_allclose(walked, run.quantities(wanted, run.times(50)), rtol=1e-9, atol=1e-11)


@quick
@given(graphs())
def test_any_graph_keeps_kirchhoffs_law_at_every_node(net: Network):
    run = net.run(1.3 * net.period_s)
    times = np.union1d(run.times(300), [piece.begin for piece in run.pieces])
    sums: dict[str, np.ndarray] = {}
    for name, (_, plus, minus) in net.parts.items():
        amps = run.amps(name, times)
        sums[plus] = sums.get(plus, 0) + amps
        sums[minus] = sums.get(minus, 0) - amps
    assert max(np.abs(total).max() for total in sums.values()) < 1e-9


@quick
@given(graphs())
def test_any_graph_has_the_steady_state_that_a_long_run_comes_to(net: Network):
    steady = net.steady()
    times = steady.times(40)
    wanted = [("amps", name) for name in net.parts]
    long = net.sample(times + 240 * net.period_s, wanted)
    table = steady.quantities(wanted, times)
    slowest = max(-1 / rate for p in steady.pieces for rate in p.pattern.rates.real) if len(steady.end_state) else 0.0
    if slowest < 20 * net.period_s:
        np.testing.assert_allclose(long, table, atol=1e-6)


@few
@given(random_buses(st.just(None)))
def test_any_bus_that_charges_its_own_supercapacitors(net: Network):
    """What the transformer gives in four periods is lost or lies in the two supercapacitors, which only fill."""
    run = net.run(4 * net.period_s)
    check_energy(net, run)
    volts = run.volts("supercap 1", run.times(4))
    assert (np.diff(volts) > 0).all()
    np.testing.assert_allclose(volts, run.volts("supercap 2", run.times(4)), atol=1e-9)


@few
@given(random_buses(st.floats(0.5, 5.0)))
def test_any_bus(net: Network):
    run = net.steady()
    check_energy(net, run)
    check_diodes(net, run)
    check_sampling(net, run)


@few
@given(steered)
def test_any_two_steered_calls(net: Network):
    run = net.steady()
    check_diodes(net, run)
    check_sampling(net, run)
    check_energy(net, run)

"""How long the solver takes beside an ngspice process and SciPy's `solve_ivp`, all in one run and at equal accuracy.

    uv run python tests/benchmarks/bench_solver.py [--quick]

Each circuit of the benches is solved in its steady state by all three. ngspice and solve_ivp walk there from rest, with
the coarsest steps and tolerances that bring every figure (mean, rms, peak to peak) within 0.1 % of the exact one; those
are then timed as the best of three, ours as the best of twenty, network built anew each time: that is a bench's recompute
less its picture. ngspice is timed as a process, reading its output left out. Circuits with leakage inductance have 1 MΩ
across their diodes, without which ngspice gives up. `--from N --to M` runs a part of the list.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import tracemalloc
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))

from buses import BUSES
from outputs import OUTPUTS
from rectifiers import CASES, HERTZ, WANTED
from spice import Record, netlist

from halfcycle import Supply, Wire
from halfcycle.network import Network
from halfcycle.rectifier import add_supply

PERIOD = 1 / HERTZ
SAMPLES = 2000
STEPS_US = (500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2)
SPICE_TOLERANCES = (1e-3, 1e-4, 1e-5, 1e-6)
TOLERANCES = (1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)
WITHIN = 1e-3
GIVE_UP_S = 20.0


@dataclass(frozen=True)
class Plain:
    """The bench of supply and wire: a transformer, a run of wire, a load at its end."""

    settled_cycles: int = 1
    wanted = (("volts", "load"), ("amps", "secondary"), ("volts", "run"))

    def network(self) -> Network:
        net = Network()
        add_supply(net, Supply.from_rating(40.0, leakage_henry=0.3e-3), "panel", "common")
        net.resistor("run", "panel", "far end", Wire(18, 100.0).loop_ohm)
        net.resistor("load", "far end", "common", 24.0)
        return net

    def __str__(self) -> str:
        return "supply, wire and load"


ALL = (Plain(), *CASES, *BUSES, *OUTPUTS)


def wanted_of(case) -> list[tuple[str, str]]:
    return list(getattr(case, "wanted", WANTED))


def figures(seconds: np.ndarray, waves: list[np.ndarray]) -> np.ndarray:
    """Mean magnitude, rms and peak to peak of each wave."""
    span = seconds[-1] - seconds[0]

    def mean(wave):
        return np.trapezoid(wave, seconds) / span

    return np.array([value for w in waves for value in (mean(np.abs(w)), mean(w**2) ** 0.5, np.ptp(w))])


def exact(case) -> np.ndarray:
    run = case.network().steady()
    pieces = [np.linspace(p.begin, p.end, 400 + int(400_000 * (p.end - p.begin) / PERIOD)) for p in run.pieces]
    times = np.concatenate([[p[0], *(p[0] + (p[1] - p[0]) * np.geomspace(1e-6, 1, 40)), *p[2:]] for p in pieces])
    times = np.clip(times, run.begin, run.end)
    return figures(times, list(run.quantities(wanted_of(case), times)))


def ours(case) -> float:
    """Seconds to build, settle and sample what a bench shows."""

    def once():
        run = case.network().steady()
        run.quantities(wanted_of(case), run.times(SAMPLES))

    return best(once, 20)


def best(job, times: int) -> float:
    return min(_seconds(job) for _ in range(times))


def _seconds(job) -> float:
    begin = _processor_seconds()
    job()
    return _processor_seconds() - begin


def _processor_seconds() -> float:
    """Seconds that this process and the processes it has waited for have had of a processor."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def agrees(found: np.ndarray, right: np.ndarray) -> bool:
    return bool((np.abs(found - right) <= WITHIN * np.abs(right) + 1e-9).all())


def spice(case, right: np.ndarray) -> tuple[float, str]:
    """Seconds of an ngspice process with its quickest sufficient tolerance and step, and those."""
    found, how = float("inf"), "never"
    for tolerance in SPICE_TOLERANCES:
        for step in STEPS_US:
            spent, enough = spice_process(case, step, tolerance, right)
            if enough and spent < found:
                found, how = spent, f"{step:g} us, {tolerance:g}"
            if enough or spent > min(found, GIVE_UP_S):
                break
    return found, how


def spice_process(case, step_us: float, tolerance: float, right: np.ndarray) -> tuple[float, bool]:
    """Seconds of one ngspice process, and whether its last period comes within 0.1 %."""
    with tempfile.TemporaryDirectory() as folder:
        output, source = Path(folder, "out.txt"), Path(folder, "circuit.cir")
        length = (case.settled_cycles + 1) * PERIOD
        options = f"reltol={tolerance:g}" + (" abstol=1e-9 vntol=1e-6" if tolerance < 1e-4 else "")
        source.write_text(netlist(case.network(), length, 1e-6 * step_us, wanted_of(case), output, options=options))
        command = ["ngspice", "-b", str(source)]
        begin = _processor_seconds()
        done = subprocess.run(command, capture_output=True, text=True, cwd=folder)
        spent = _processor_seconds() - begin
        if not output.exists() or "aborted" in done.stdout + done.stderr:
            return spent, False
        table = np.loadtxt(output)
        last = Record(table[:, 0], {k: table[:, k + 1] for k in range(3)}).last(PERIOD)
        if not agrees(figures(last.seconds, list(last.values.values())), right):
            return spent, False
        return min(spent, best(lambda: subprocess.run(command, capture_output=True, cwd=folder), 2)), True


def scipy(case, right: np.ndarray) -> tuple[float, str]:
    """Seconds of solve_ivp (LSODA, terminal events) at its loosest sufficient tolerance, and that tolerance."""
    net = case.network()
    if not net._solver().layout.state:
        return float("nan"), "no state"
    for tolerance in TOLERANCES:
        begin = _processor_seconds()
        walked = march(net, (case.settled_cycles + 1) * PERIOD, tolerance, wanted_of(case), begin + GIVE_UP_S)
        if walked is None:
            break
        if agrees(figures(walked[0], walked[1:]), right):
            return _processor_seconds() - begin, f"{tolerance:g}"
    return float("inf"), "never"


def march(net: Network, length: float, tolerance: float, wanted: list, until: float) -> np.ndarray | None:
    """The last period of a walk from rest over the same state equations, stepped instead of solved: instants, values.

    None where it is not there when the processor's clock shows `until`.
    """
    walker = net._solver()
    now, state, modes = 0.0, walker.layout.start, walker.first_modes()
    begin, table = length - PERIOD, []
    while now < length - 1e-12:
        if _processor_seconds() > until:
            return None
        pattern = walker._settle(now, walker.layout.given(now, state), [walker._scheduled(now, modes)]).pattern
        end = min([length, *(timetable(now)[1] for _, timetable in walker._timed)])
        limits = {"rtol": tolerance, "atol": 1e-3 * tolerance, "max_step": PERIOD / 50}
        done = solve_ivp(
            _slope(pattern), (now, end), state, "LSODA", events=_events(pattern), dense_output=end > begin, **limits
        )
        if done.t[-1] > begin:
            first = max(begin, now)
            times = np.linspace(first, done.t[-1], 3 + int(2 * SAMPLES * (done.t[-1] - first) / PERIOD))
            table.append(_values(pattern, wanted, times, done.sol(times)))
        now, state, modes = done.t[-1], done.y[:, -1], pattern.modes
        for way, times in zip(pattern.exits, done.t_events, strict=False):
            if len(times):
                modes = (*modes[: way[0]], way[1], *modes[way[0] + 1 :])
                now += 1e-15
                break
    return np.concatenate(table, axis=1)


def _slope(pattern):
    states = len(pattern.layout.state)
    return lambda t, x: pattern.motion[:states] @ pattern.layout.given(t, x)


def _events(pattern) -> list:
    def event_of(rows):
        def margin(t, x):
            return min(pattern.watch_given[rows] @ pattern.layout.given(t, x)) - 1e-9

        margin.terminal, margin.direction = True, 1
        return margin

    return [event_of(rows) for _, _, rows in pattern.exits]


def _values(pattern, wanted, times, states) -> np.ndarray:
    given = np.array([pattern.layout.given(t, x) for t, x in zip(times, states.T, strict=True)]).T
    return np.vstack([times, pattern.layout.probes(tuple(wanted)) @ pattern.of_given @ given])


def print_ratios(cases, with_scipy: bool) -> None:
    print(
        f"{'circuit':44} {'ours':>9} {'ngspice':>10} {'ratio':>7} {'step, reltol':>14} {'solve_ivp':>10} {'ratio':>7} {'rtol':>7}"
    )
    ratios, walks = [], []
    for case in cases:
        right, mine = exact(case), ours(case)
        theirs, step = spice(case, right)
        ratios.append(theirs / mine)
        line = f"{case!s:44} {1e3 * mine:6.2f} ms {1e3 * theirs:7.1f} ms {theirs / mine:7.1f} {step:>14}"
        if with_scipy:
            walked, tolerance = scipy(case, right)
            walks.append(walked / mine)
            line += f" {1e3 * walked:7.1f} ms {walked / mine:7.1f} {tolerance:>7}"
        print(line, flush=True)
    print_mean("ngspice", ratios)
    if walks:
        print_mean("solve_ivp", walks)


def print_mean(whom: str, ratios: list[float]) -> None:
    known = np.array([r for r in ratios if np.isfinite(r)])
    never = sum(np.isinf(ratios))
    missing = f"; {never} circuits it did not bring within 0.1 % in {GIVE_UP_S:g} s" if never else ""
    print(f"{whom}: geometric mean {np.exp(np.log(known).mean()):.1f} times slower, least {known.min():.1f}{missing}")


def print_lengths(lengths) -> None:
    """Cost against length: a flat cost a cycle means linear; the peak of memory beside what the samples themselves take."""
    print(
        f"\n{'cycles':>8} {'seconds':>9} {'us a cycle':>11} {'peak MB':>8} {'samples MB':>11}   bridge, 10 samples a cycle"
    )
    for cycles in lengths:
        spent, peak, samples = length(CASES[5].network(), cycles, 10)
        print(f"{cycles:8} {spent:9.4f} {1e6 * spent / cycles:11.0f} {peak:8.2f} {samples:11.2f}", flush=True)


def length(net: Network, cycles: int, per_cycle: int) -> tuple[float, float, float]:
    """Seconds to sample a run, megabytes at the peak of a second one, megabytes of the samples."""
    times = np.linspace(0, cycles * PERIOD, per_cycle * cycles + 1)

    def once():
        return net.sample(times, [("volts", "load")])

    spent = best(once, 3 if cycles <= 100 else 1)
    tracemalloc.start()
    samples = once()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return spent, peak, samples.nbytes / 1e6


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="leave solve_ivp and the longest run out")
    parser.add_argument("--from", dest="first", type=int, default=0, help="number of the first circuit, from 0")
    parser.add_argument("--to", dest="last", type=int, default=len(ALL), help="number after the last circuit")
    chosen = parser.parse_args()
    print_ratios(ALL[chosen.first : chosen.last], with_scipy=not chosen.quick)
    print_lengths((1, 10, 100, 1000) if chosen.quick else (1, 10, 100, 1000, 10_000))

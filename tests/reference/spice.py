"""A second solver: writes a `Network` as an ngspice netlist from its own parts, runs it in batch, reads it back."""

import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from halfcycle.network import (
    Capacitor,
    CurrentSource,
    ExponentialDiode,
    Inductor,
    Network,
    Resistor,
    VoltageSource,
)

__all__ = ["Record", "needs_ngspice", "netlist", "settle", "solve"]

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is missing; install it with: sudo apt-get install -y ngspice"
)

_EDGE_S = 10e-9
"""Time that an edge of a timetable takes, s: ngspice knows no jumps."""
_TIGHT = "method=gear reltol=1e-5 abstol=1e-9 vntol=1e-6"


@dataclass(frozen=True)
class Record:
    """Samples as ngspice's own step control placed them: seconds, and values by (quantity, part)."""

    seconds: np.ndarray
    values: dict[tuple[str, str], np.ndarray]

    def last(self, period_s: float) -> "Record":
        """The last `period_s`, its first instant put in by a straight line."""
        begin = self.seconds[-1] - period_s
        inside = self.seconds > begin
        seconds = np.concatenate([[begin], self.seconds[inside]])
        return Record(seconds, {key: np.interp(seconds, self.seconds, v) for key, v in self.values.items()})

    def mean(self, key: tuple[str, str], power: int = 1) -> float:
        """Mean of the values to a power, by trapezoids."""
        span = self.seconds[-1] - self.seconds[0]
        return float(np.trapezoid(self.values[key] ** power, self.seconds) / span)


def netlist(
    net: Network,
    seconds: float,
    step_s: float,
    wanted: list[tuple[str, str]],
    output: Path,
    *,
    start_s: float = 0.0,
    exponential: ExponentialDiode | None = None,
    initial: dict[str, float] | None = None,
    options: str = _TIGHT,
) -> str:
    """The text of a transient of steps of at most `step_s`, with `wanted` written into `output`.

    It begins at the parts' initial values, or at those in `initial`: volts of capacitors, amperes of inductors.

    Each device gets an ammeter (a source of 0 V), since ngspice does not keep a behavioural source's current. With
    `exponential` every diode is ngspice's own junction model with that law, else a source with the same bent line.
    """
    nodes = {net.ground: "0"}
    for _, plus, minus in net.parts.values():
        for node in (plus, minus):
            nodes.setdefault(node, f"n{len(nodes)}")
    lines = ["written by tests/reference/spice.py"]
    names = list(net.parts)

    def meets(kind: str, name: str) -> str:
        return _vector(kind, names.index(name), *(nodes[n] for n in net.parts[name][1:]))

    for number, (name, (part, plus, minus)) in enumerate(net.parts.items()):
        part = _starting_at(part, (initial or {}).get(name))
        lines += _element(number, part, nodes[plus], nodes[minus], start_s, seconds, exponential, meets)
    if exponential:
        ideality = exponential.emission_volts / 0.025864187
        lines.append(f".model junction D(IS={exponential.saturation_amps} N={ideality} RS=0 CJO=0 TT=0)")
    vectors = [meets(kind, name) for kind, name in wanted]
    return "\n".join(
        [
            *lines,
            f".options {options}",
            f".tran {step_s} {seconds} 0 {step_s} uic",
            ".control",
            "run",
            "set wr_singlescale",
            *(f"let wanted{k} = {vector}" for k, vector in enumerate(vectors)),
            f"wrdata {output} {' '.join(f'wanted{k}' for k in range(len(vectors)))}",
            "quit",
            ".endc",
            ".end",
            "",
        ]
    )


def _starting_at(part, value: float | None):
    if value is None:
        return part
    return replace(part, **{"initial_volts" if isinstance(part, Capacitor) else "initial_amps": value})


def _element(number, part, plus, minus, start_s, seconds, exponential, meets) -> list[str]:
    """The lines of one part; `x` is the node behind its ammeter, `meets` writes a part's quantity as a vector."""
    x = f"x{number}"
    meter = f"Vm{number} {plus} {x} 0"
    if isinstance(part, Resistor):
        return [meter, f"R{number} {x} {minus} {part.ohm}"]
    if isinstance(part, Inductor):
        return [meter, f"L{number} {x} {minus} {part.henry} ic={part.initial_amps}"]
    if isinstance(part, Capacitor):
        return [meter, f"C{number} {x} {minus} {part.farad} ic={part.initial_volts}"]
    if isinstance(part, VoltageSource | CurrentSource):
        return [meter, _source(number, part, x, minus, start_s)]
    if part.timetable and part.laws["on"].offset_amps:
        return [meter, *_pulses(number, part.timetable.__self__, x, minus)]
    if part.timetable:
        return [meter, *_switch(number, part, x, minus, seconds)]
    if "forward held" in part.laws:
        return [meter, *_triac(number, part, x, minus, meets)]
    if exponential:
        return [meter, f"D{number} {x} {minus} junction", f"R{number} {x} {minus} 1g"]
    return [meter, _bent_line(number, part, f"v({x},{minus})", x, minus)]


def _source(number, part, plus, minus, start_s) -> str:
    volts = isinstance(part, VoltageSource)
    dc, peak = (part.dc_volts, part.volts_peak) if volts else (part.dc_amps, part.amps_peak)
    degrees = part.degrees + 360 * part.hertz * start_s
    return f"{'V' if volts else 'I'}{number} {plus} {minus} SIN({dc} {peak} {part.hertz} 0 0 {degrees})"


def _bent_line(number, device, volts, plus, minus) -> str:
    """A two-mode device whose lines meet: a diode of `halfcycle`."""
    off, on = device.laws["off"], device.laws["on"]
    corner = device.exits["off"][0].conditions[0].threshold
    lines = [_line(law, volts) for law in (on, off)]
    return f"B{number} {plus} {minus} I=({volts} > {corner!r}) ? ({lines[0]}) : ({lines[1]})"


def _switch(number, part, plus, minus, seconds) -> list[str]:
    """A conductance that follows the timetable of the switch."""
    points, now = [(0.0, part.timetable(0.0)[0])], 0.0
    while (now := part.timetable(now)[1]) < seconds:
        points.append((now, part.timetable(now)[0]))
    steps = [f"0 {float(points[0][1] == 'on')}"]
    for (_, before), (at, after) in pairwise(points):
        steps += [f"{at!r} {float(before == 'on')}", f"{at + _EDGE_S!r} {float(after == 'on')}"]
    off, on = (part.laws[mode].siemens for mode in ("off", "on"))
    control = f"c{number}"
    conductance = f"({off!r}+v({control})*{on!r})"
    return [
        f"V{number} {control} 0 PWL({' '.join(steps)})",
        f"B{number} {plus} {minus} I={conductance}*v({plus},{minus})",
    ]


def _pulses(number, part, plus, minus) -> list[str]:
    """A clock of height one, and a current that follows it as far as the volts suffice."""
    clock, volts = f"c{number}", f"v({plus},{minus})"
    times = f"{part.delay_s} {_EDGE_S} {_EDGE_S} {part.width_s} {part.period_s}"
    limit = f"*max(0,min(1,{volts}/{part.compliance_volts!r}))" if part.compliance_volts else ""
    return [
        f"V{number} {clock} 0 PULSE(0 1 {times})",
        f"B{number} {plus} {minus} I={part.amps!r}*v({clock}){limit}",
        f"R{number} {plus} {minus} 1g",
    ]


def _triac(number, device, plus, minus, meets) -> list[str]:
    """A latch for each direction and one for held, each a capacitor charged through 0.1 µs to what its logic says.

    The logic is written from the device's own exits; the conductance follows the latches.
    """
    forward, reverse, held = (f"{letter}{number}" for letter in "pqh")
    off, volts = device.laws["off"], f"v({plus},{minus})"

    def true(conditions) -> str:
        own = {"volts": volts, "amps": f"i(Vm{number})"}
        seen = [own[c.quantity] if c.part is None else f"({meets(c.quantity, c.part)})" for c in conditions]
        tests = [f"u({c.sign}*({what}-({c.threshold!r})))" for c, what in zip(conditions, seen, strict=True)]
        return "*".join(tests)

    def any_exit(mode: str, to: str) -> str:
        return "(1" + "".join(f"*(1-{true(way.conditions)})" for way in device.exits[mode] if way.to == to) + ")"

    lines, latched = [], []
    for node, other, way in ((forward, reverse, "forward"), (reverse, forward, "reverse")):
        stays = f"(u(v({held})-0.5)*{any_exit(f'{way} held', 'off')}+u(0.5-v({held}))*{any_exit(way, 'off')})"
        fires = f"(1-{any_exit('off', way)})*u(0.5-v({other}))"
        lines += _latch(node, f"u(v({node})-0.5)*{stays}+u(0.5-v({node}))*{fires}")
        latched.append(f"u(v({node})-0.5)*max(u(v({held})-0.5),1-{any_exit(way, f'{way} held')})")
    lines += _latch(held, "+".join(latched))
    currents = [
        f"v({node})*({_line(device.laws[way], volts)})" for node, way in ((forward, "forward"), (reverse, "reverse"))
    ]
    leak = f"(1-v({forward})-v({reverse}))*({_line(off, volts)})"
    return [*lines, f"B{number} {plus} {minus} I={'+'.join([*currents, leak])}"]


def _line(law, volts: str) -> str:
    return f"{law.siemens!r}*{volts}+({law.offset_amps!r})"


def _latch(node: str, logic: str) -> list[str]:
    """A node that follows `logic`, 0 or 1, with a time constant of 0.1 µs."""
    return [f"Bl{node} {node}l 0 V={logic}", f"Rl{node} {node}l {node} 1k", f"Cl{node} {node} 0 100p ic=0"]


def _vector(kind, number, plus, minus) -> str:
    if kind == "amps":
        return f"i(Vm{number})"
    return f"v({plus})" if minus == "0" else f"-v({minus})" if plus == "0" else f"v({plus})-v({minus})"


def solve(net: Network, seconds: float, step_s: float, wanted: list[tuple[str, str]], **settings) -> Record:
    """Run the netlist in an ngspice process and read what it wrote."""
    with tempfile.TemporaryDirectory() as folder:
        output, source = Path(folder, "out.txt"), Path(folder, "circuit.cir")
        source.write_text(netlist(net, seconds, step_s, wanted, output, **settings))
        done = subprocess.run(["ngspice", "-b", str(source)], capture_output=True, text=True, cwd=folder, timeout=300)
        if not output.exists() or re.search(r"(?i)timestep too small|aborted", done.stdout + done.stderr):
            raise RuntimeError(f"ngspice failed:\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}")
        table = np.loadtxt(output, ndmin=2)
    return Record(table[:, 0], {key: table[:, k + 1] for k, key in enumerate(wanted)})


def settle(
    net: Network,
    period_s: float,
    cycles: int,
    coarse_s: float,
    fine_s: float,
    wanted: list[tuple[str, str]],
    **settings,
) -> Record:
    """One period of the steady state: `cycles` periods at the coarse step, then one more at the fine step."""
    layout = net._solver().layout
    states = [("volts", n) for n in layout.capacitors] + [("amps", n) for n in layout.inductors]
    walked = solve(net, cycles * period_s, coarse_s, states or wanted, **settings)
    initial = {name: float(walked.values[kind, name][-1]) for kind, name in states}
    return solve(net, period_s, fine_s, wanted, initial=initial, **settings)

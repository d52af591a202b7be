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
    CurrentPulses,
    CurrentSource,
    ExponentialDiode,
    Inductor,
    Network,
    Resistor,
    Switch,
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
    for number, (name, (part, plus, minus)) in enumerate(net.parts.items()):
        part = _starting_at(part, (initial or {}).get(name))
        lines += _element(number, part, nodes[plus], nodes[minus], start_s, seconds, exponential)
    if exponential:
        ideality = exponential.emission_volts / 0.025864187
        lines.append(f".model junction D(IS={exponential.saturation_amps} N={ideality} RS=0 CJO=0 TT=0)")
    names = list(net.parts)
    vectors = [_vector(kind, names.index(name), *(nodes[n] for n in net.parts[name][1:])) for kind, name in wanted]
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


def _element(number, part, plus, minus, start_s, seconds, exponential) -> list[str]:
    """The lines of one part; `x` is the node behind its ammeter."""
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
    if isinstance(part, CurrentPulses):
        times = f"{part.delay_s} {_EDGE_S} {_EDGE_S} {part.width_s} {part.period_s}"
        return [meter, f"I{number} {x} {minus} PULSE(0 {part.amps} {times})", f"R{number} {x} {minus} 1g"]
    if isinstance(part, Switch):
        return [meter, *_switch(number, part, x, minus, seconds)]
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
    lines = [f"{law.siemens!r}*{volts}+({law.offset_amps!r})" for law in (on, off)]
    return f"B{number} {plus} {minus} I=({volts} > {corner!r}) ? ({lines[0]}) : ({lines[1]})"


def _switch(number, part, plus, minus, seconds) -> list[str]:
    """A conductance that follows the timetable of the switch."""
    points, now = [(0.0, part.scheduled_mode(0.0))], 0.0
    while (now := part.next_change(now)) < seconds:
        points.append((now, part.scheduled_mode(now)))
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

"""The boiler's panel of lesson 00: its line side and its 24 V side, a scope's grounded clip, a short and its fuses, a bleeder.

Pictures show themselves in a notebook, each with the same content in words.
"""

from functools import lru_cache

from .. import wiring
from ..amounts import amount
from ..instruments import true_rms
from ..network import Network
from ..showing import quantity, show
from ..supply import Supply
from ..waveforms import Waveform
from .one_capacitor import fall_picture

__all__ = ["clip_picture", "fall_picture", "loop_amps", "panel_picture", "short_picture", "volts_left"]

_TOP = 5.4
_LIVE, _DASHED = wiring.CONDUCTING, wiring.BLOCKING


@lru_cache(maxsize=4096)
def loop_amps(volts_rms: float, *ohms: float) -> float:
    """Rms amperes that a sine of `volts_rms` (V, no load) drives round resistances in series (Ω), by the exact solver.

    >>> round(loop_amps(25.92, 0.4608, 0.05), 1)
    50.7
    """
    net = Network(ground="0")
    net.voltage_source("secondary", str(len(ohms)), "0", volts_peak=Supply(volts_rms).volts_peak)
    for place, ohm in enumerate(ohms):
        net.resistor(f"part {place}", str(place + 1), str(place), ohm)
    run = net.run(2 * net.period_s)
    seconds = run.times(1000)
    return true_rms(Waveform(seconds, run.amps("part 0", seconds), "A"))


def volts_left(start_volts: float, ohm: float, farad: float, seconds: float) -> float:
    """Volts left on a capacitor (F) that has emptied through `ohm` (Ω) for `seconds`, by the exact solver.

    >>> round(volts_left(40.0, 500.0, 0.002, 1.0), 2)  # one time constant
    14.72
    """
    net = Network()
    net.capacitor("capacitor", "plus", "common", farad, initial_volts=start_volts)
    net.resistor("bleeder", "plus", "common", ohm)
    return float(net.run(seconds).volts("capacitor", seconds))


def panel_picture(line_volts: float) -> None:
    """Show both sides of the panel: line, disconnect, F1, pump and contact; F2, R and C, thermostat, coil, actuator."""
    words = (
        f"Wiring picture of the panel. Left of the dashed line, at {line_volts:g} V: the disconnect switch; behind it the pump "
        "with the contact of the pump relay, and fuse F1 with the transformer's primary. Right of it, at 24 V: the secondary, fuse F2, "
        "the screws R and C, the thermostat with the coil of the pump relay, and the zone actuator. Only the transformer and "
        "the pump relay stand on both sides, and in neither does a wire cross over."
    )
    _show(wiring.filled(_panel_drawing(), words, {"line": f"{line_volts:g} V"}), words)


def clip_picture(volts_rms: float, source_ohm: float, lead_ohm: float, *, clip: str) -> None:
    """Show a scope plugged into the wall with its ground clip on "R" or "C", where C is grounded, and the current in the clip."""
    amps = loop_amps(volts_rms, source_ohm, lead_ohm) if clip == "R" else 0.0
    does = f"{amount(amps, 'A')} in the clip" if amps else "no current in the clip"
    words = (
        f"Wiring picture: a transformer of {volts_rms:g} V and {quantity(source_ohm, 'Ω')}; C is joined to ground. A scope, "
        f"grounded through its plug, has its ground clip on {clip}. {does[0].upper()}{does[1:]}."
    )
    values = {"source": quantity(source_ohm, "Ω"), "does": does, "volts": f"{volts_rms:g} V"}
    _show(wiring.filled(_clip_drawing(clip), words, values), words)


def short_picture(line_volts: float, volts_rms: float, source_ohm: float, wire_ohm: float, *, place: int) -> None:
    """Show R shorted to C at the end of a run, before fuse F3 (`place` 1) or behind it (`place` 2), and who carries the current."""
    amps = loop_amps(volts_rms, source_ohm, wire_ohm, wire_ohm)
    line = amps * volts_rms / line_volts
    carried = "F1 and F2 carry the fault, F3 nothing" if place == 1 else "F1, F2 and F3 carry the fault"
    words = (
        f"Wiring picture: line of {line_volts:g} V with fuse F1; a transformer of {volts_rms:g} V and "
        f"{quantity(source_ohm, 'Ω')}; fuse F2; a run of {quantity(wire_ohm, 'Ω')} out and the same back; fuse F3; an actuator. "
        f"R and C are joined {'before' if place == 1 else 'behind'} F3: {amount(amps, 'A')} on the 24 V side, "
        f"{amount(line, 'A')} in the line. {carried}."
    )
    values = {"line": amount(line, "A"), "amps": amount(amps, "A"), "wire": quantity(wire_ohm, "Ω")}
    values["source"] = quantity(source_ohm, "Ω")
    _show(wiring.filled(_short_drawing(place), words, values), words)


@lru_cache(maxsize=1)
def _panel_drawing() -> str:
    sketch = wiring.Sketch()
    _switch(sketch, (-1.3, _TOP))
    sketch.words((-0.5, 6.4), "disconnect", align="center", size=13)
    sketch.wire((0.4, _TOP), (1.7, _TOP))
    sketch.part("Fuse", (1.7, _TOP), (2.7, _TOP))
    sketch.words((2.2, _TOP - 0.5), "F1", align="center", size=14)
    sketch.wire((2.7, _TOP), (3.4, _TOP), (3.4, 4.6))
    sketch.wire((3.4, 2.6), (3.4, 0.0), (-1.3, 0.0))
    sketch.words((-1.5, 3.0), "@line@", size=14)
    _windings(sketch, 3.4, 4.7, (2.6, 4.6))
    _box(sketch, 1.2, (_TOP, 2.2), "pump", align="right")
    _contact(sketch, 1.2, (1.0, 1.8), (0.0, 2.2))
    sketch.words((0.95, 1.4), "contact", align="right", size=13)
    sketch.words((3.1, 3.0), "primary", align="right", size=12)
    sketch.words((5.0, 2.9), "secondary", size=12)
    sketch.wire((1.4, 1.4), (6.85, 1.4), state=_DASHED)
    sketch.wire((4.05, 6.7), (4.05, -1.2), state=_DASHED)
    sketch.words((1.6, 6.6), "line side", size=14)
    sketch.words((4.4, 6.6), "24 V side", size=14)
    sketch.wire((4.7, 4.6), (4.7, _TOP), (5.0, _TOP))
    sketch.part("Fuse", (5.0, _TOP), (6.0, _TOP))
    sketch.words((5.5, _TOP - 0.5), "F2", align="center", size=14)
    sketch.wire((6.0, _TOP), (9.5, _TOP))
    sketch.wire((4.7, 2.6), (4.7, 0.0), (9.5, 0.0))
    for y, letter in ((_TOP, "R"), (0.0, "C")):
        sketch.dot((6.2, y))
        sketch.words((6.2, y + 0.45), letter, align="center")
    _contact(sketch, 7.2, (3.5, 4.3), (2.6, _TOP))
    sketch.words((6.95, 3.9), "thermostat", align="right", size=13)
    _box(sketch, 7.2, (2.6, 0.0), "coil", align="left")
    _box(sketch, 9.5, (_TOP, 0.0), "actuator", align="right")
    return sketch.svg()


@lru_cache(maxsize=2)
def _clip_drawing(clip: str) -> str:
    sketch, path = wiring.Sketch(), _LIVE if clip == "R" else wiring.IDLE
    _source(sketch, path, 0.6)
    sketch.wire((0.6, _TOP), (4.9, _TOP), state=path)
    sketch.wire((0.6, 0.0), (1.5, 0.0), state=path)
    sketch.wire((1.5, 0.0), (4.9, 0.0))
    for y, letter in ((_TOP, "R"), (0.0, "C")):
        sketch.dot((2.2, y))
        sketch.words((2.2, y + 0.5), letter, align="center")
    sketch.part("RBox", (3.4, _TOP), (3.4, 0.0))
    sketch.words((3.4, -0.55), "load", align="center", size=14)
    _ground(sketch, path)
    clip_y, tip_y = (_TOP, 0.0) if clip == "R" else (0.0, _TOP)
    near, far = (3.5, 2.1) if clip == "R" else (2.1, 3.5)
    sketch.wire((4.9, clip_y), (4.9, near), (6.2, near), state=path)
    sketch.dot((4.9, clip_y), path)
    sketch.words((5.1, near + 0.35), "clip", size=14)
    sketch.wire((4.9, tip_y), (5.5, tip_y), (5.5, far), (6.2, far), state=_DASHED)
    sketch.words((5.6, tip_y), "tip", size=14)
    sketch.wire((6.2, 1.5), (9.0, 1.5), (9.0, 4.1), (6.2, 4.1), (6.2, 1.5))
    sketch.words((7.6, 3.3), "scope", align="center")
    sketch.wire(
        (6.2, near), (6.6, near), (6.6, 2.0 if clip == "C" else 2.4), (8.4, 2.0 if clip == "C" else 2.4), state=path
    )
    sketch.wire((8.4, 2.0 if clip == "C" else 2.4), (8.4, -1.0), (1.5, -1.0), state=path)
    sketch.words((5.0, -0.55), "ground in its plug", size=13)
    sketch.words((7.75, 4.6), "@does@", align="center", size=13)
    return sketch.svg()


@lru_cache(maxsize=2)
def _short_drawing(place: int) -> str:
    sketch = wiring.Sketch()
    behind = _LIVE if place == 2 else wiring.IDLE
    sketch.wire((-1.4, _TOP), (-1.2, _TOP), state=_LIVE)
    sketch.part("Fuse", (-1.2, _TOP), (-0.2, _TOP), state=_LIVE)
    sketch.words((-0.7, _TOP + 0.55), "F1", align="center", size=14)
    sketch.wire((-0.2, _TOP), (0.2, _TOP), (0.2, 3.2), state=_LIVE)
    sketch.wire((0.2, 1.2), (0.2, 0.0), (-1.4, 0.0), state=_LIVE)
    sketch.words((-1.5, 2.4), "@line@", size=14)
    _windings(sketch, 0.2, 1.5, (1.2, 3.2), _LIVE)
    sketch.part("ResistorIEC", (1.5, 3.2), (1.5, 4.9), state=_LIVE)
    sketch.words((1.9, 4.05), "@source@", size=13)
    sketch.wire((1.5, 4.9), (1.5, _TOP), (1.7, _TOP), state=_LIVE)
    sketch.part("Fuse", (1.7, _TOP), (2.7, _TOP), state=_LIVE)
    sketch.words((2.2, _TOP + 0.55), "F2", align="center", size=14)
    sketch.wire((2.7, _TOP), (3.4, _TOP), state=_LIVE)
    sketch.wire((1.5, 1.2), (1.5, 0.0), (3.4, 0.0), state=_LIVE)
    for y, letter in ((_TOP, "R"), (0.0, "C")):
        sketch.dot((3.1, y), _LIVE)
        sketch.words((3.1, y + 0.45), letter, align="center")
        sketch.part("ResistorIEC", (3.4, y), (5.2, y), state=_LIVE)
        sketch.words((4.3, y + 0.55), "@wire@", align="center", size=13)
        sketch.wire((5.2, y), (6.2, y), state=_LIVE)
    sketch.part("Fuse", (6.2, _TOP), (7.2, _TOP), state=behind)
    sketch.words((6.7, _TOP + 0.55), "F3", align="center", size=14)
    sketch.wire((7.2, _TOP), (7.8, _TOP), state=behind)
    sketch.wire((6.2, 0.0), (7.8, 0.0), state=behind)
    for y in (_TOP, 0.0):
        sketch.wire((7.8, y), (9.1, y))
    _box(sketch, 9.1, (_TOP, 0.0), "", align="left")
    sketch.words((9.6, -0.6), "actuator", align="right", size=13)
    x = 5.7 if place == 1 else 7.8
    sketch.wire((x, _TOP), (x, 0.0), state=_LIVE)
    sketch.words((x - 0.25, 3.1), "the short", align="right", size=14)
    sketch.words((x - 0.25, 2.45), "@amps@", align="right", size=14)
    return sketch.svg()


def _source(sketch: wiring.Sketch, state: str, x: float) -> None:
    """The secondary and its resistance between the rails at `x`."""
    sketch.part("Inductor", (x, 1.0), (x, 2.8), state=state, loops=7)
    sketch.part("ResistorIEC", (x, 2.8), (x, 4.6), state=state)
    sketch.wire((x, 4.6), (x, _TOP), state=state)
    sketch.wire((x, 1.0), (x, 0.0), state=state)
    sketch.words((x - 0.4, 3.7), "@source@", align="right", size=13)
    sketch.words((x - 0.4, 1.9), "@volts@", align="right", size=13)


def _ground(sketch: wiring.Sketch, state: str) -> None:
    """From C down to the bare metal of the panel."""
    sketch.wire((1.5, 0.0), (1.5, -1.0), state=state)
    sketch.dot((1.5, 0.0), state)
    for half, y in ((0.4, -1.0), (0.27, -1.13), (0.14, -1.26)):
        sketch.wire((1.5 - half, y), (1.5 + half, y))


def _windings(
    sketch: wiring.Sketch, left: float, right: float, ends: tuple[float, float], state: str = wiring.IDLE
) -> None:
    bottom, top = ends
    sketch.part("Inductor", (left, top), (left, bottom), state=state, loops=7)
    sketch.part("Inductor", (right, bottom), (right, top), state=state, loops=7)
    for x in ((left + right) / 2 - 0.12, (left + right) / 2 + 0.12):
        sketch.wire((x, bottom + 0.1), (x, top - 0.1))


def _switch(sketch: wiring.Sketch, at: tuple[float, float]) -> None:
    """An open switch from `at`, 1.7 units long."""
    x, y = at
    sketch.wire(at, (x + 0.4, y))
    sketch.wire((x + 0.4, y), (x + 1.15, y + 0.55))
    sketch.wire((x + 1.2, y), (x + 1.7, y))
    for end in (x + 0.4, x + 1.2):
        sketch.dot((end, y), open=True)


def _contact(sketch: wiring.Sketch, x: float, gap: tuple[float, float], ends: tuple[float, float]) -> None:
    """An open contact in a wire that runs upwards at `x`."""
    sketch.wire((x, ends[0]), (x, gap[0]))
    sketch.wire((x, gap[0]), (x + 0.4, gap[1]))
    sketch.wire((x, gap[1]), (x, ends[1]))
    for y in gap:
        sketch.dot((x, y), open=True)


def _box(sketch: wiring.Sketch, x: float, ends: tuple[float, float], name: str, *, align: str) -> None:
    sketch.part("RBox", (x, ends[0]), (x, ends[1]))
    if name:
        sketch.words((x + (0.45 if align == "left" else -0.45), sum(ends) / 2), name, align=align, size=13)


def _show(drawn: str, words: str) -> None:
    show(words, f'<div style="max-width:40em">{drawn}</div>')

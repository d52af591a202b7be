"""The circuits of lesson 03, one diode: a heater, a diode with a capacitor behind it, a relay coil. Solved and drawn.

The source is stiff and every diode has a drop and no slope worth mentioning, as the lesson reckons. Pictures and tables
show themselves in a notebook, each with the same content in words.
"""

from collections.abc import Sequence

from .. import wiring
from ..amounts import amount
from ..instruments import dc, true_rms
from ..network import Diode, Network
from ..rectifier import SteadyRectified, rectify
from ..scope import Level, Trace, scope_svg
from ..supply import Supply
from ..waveforms import Waveform
from .page import show_pair, twice

__all__ = [
    "block_picture",
    "heater",
    "heater_picture",
    "relay",
    "relay_picture",
    "straight",
]

_ON_OHM = 1e-4
_COIL_SECONDS = 0.02  # L/R of a relay coil, s; while the current never stops, its mean does not depend on it
_SAMPLES = 1000
_NO_LOAD_OHM = 1e7


def heater(
    volts_rms: float, *, drop_volts: float, load_ohm: float = _NO_LOAD_OHM, capacitor_farad: float = 0.0
) -> SteadyRectified:
    """One diode, a resistance of `load_ohm` (Ω; next to none unless given), a capacitor (F) or none, in the steady state.

    >>> round(dc(heater(24.0, drop_volts=0.8, load_ohm=100).load_volts), 2)
    10.41
    """
    diode = Diode(drop_volts, _ON_OHM)
    return rectify(Supply(volts_rms), load_ohm=load_ohm, capacitor_farad=capacitor_farad, diode=diode).steady()


def straight(volts_rms: float) -> Waveform:
    """One cycle of the secondary itself, V, at 60 Hz."""
    return Waveform.sine(volts_peak=Supply(volts_rms).volts_peak)


def relay(volts_rms: float, *, drop_volts: float, coil_ohm: float) -> tuple[Waveform, Waveform]:
    """A relay coil behind a diode, with a flywheel diode across it: volts across it and amps through it, one cycle.

    The coil has an inductance; the lesson's mean current holds for any that keeps the current going.

    >>> volts, amps = relay(24.0, drop_volts=0.8, coil_ohm=100)
    >>> round(dc(volts), 2), round(dc(amps), 4)
    (10.0, 0.1)
    """
    net = Network()
    net.voltage_source("secondary", "line", "common", volts_peak=Supply(volts_rms).volts_peak)
    net.diode("series", "line", "coil", Diode(drop_volts, _ON_OHM))
    net.diode("flywheel", "common", "coil", Diode(drop_volts, _ON_OHM))
    net.resistor("winding", "coil", "inside", coil_ohm)
    net.inductor("inductance", "inside", "common", coil_ohm * _COIL_SECONDS)
    run = net.steady()
    seconds = run.times(_SAMPLES)
    volts, amps = run.quantities([("volts", "flywheel"), ("amps", "winding")], seconds)
    return Waveform(seconds - seconds[0], -volts, "V"), Waveform(seconds - seconds[0], amps, "A")


def heater_picture(volts_rms: float, *, drop_volts: float, load_ohm: float, readings: bool = True) -> None:
    """Show the heater behind one diode: wiring, and two cycles of the secondary and of the heater's voltage."""
    load = heater(volts_rms, drop_volts=drop_volts, load_ohm=load_ohm).load_volts
    levels = [
        Level(dc(load), f"mean {amount(dc(load), 'V')}"),
        Level(true_rms(load), f"rms {amount(true_rms(load), 'V')}"),
    ]
    scope = scope_svg(
        [Trace(twice(straight(volts_rms)), "supply", "Secondary"), Trace(twice(load), "load", "Heater")],
        levels if readings else (),
        title="Scope picture of a heater behind one diode, two cycles",
    )
    words = f"Wiring picture: a transformer, {volts_rms:g} V; one diode in the line; a heater of {load_ohm:g} Ω."
    values = _values(volts_rms, "conducts", f"{load_ohm:g} Ω")
    drawn = wiring.half_wave(words, values, diode=wiring.CONDUCTING, capacitor="", load=wiring.CONDUCTING)
    show_pair(drawn, scope, f"{words} {_read_off(levels) if readings else ''}")


def block_picture(volts_rms: float, *, drop_volts: float, capacitor_farad: float) -> None:
    """Show a diode at the worst moment: a full capacitor holds one side up, the secondary pulls the other side down."""
    solved = heater(volts_rms, drop_volts=drop_volts, capacitor_farad=capacitor_farad)
    blocked = -float(solved.diode_volts.values.min())
    scope = scope_svg(
        [
            Trace(twice(straight(volts_rms)), "supply", "Secondary"),
            Trace(twice(solved.load_volts), "load", "Capacitor"),
            Trace(twice(solved.diode_volts), "diode", "Across the diode"),
        ],
        [Level(-blocked, f"blocks {amount(blocked, 'V')}")],
        title="Scope picture of a diode with a full capacitor behind it, two cycles",
    )
    words = (
        f"Wiring picture: a transformer, {volts_rms:g} V; one diode, blocking {amount(blocked, 'V')} at the lowest moment; "
        f"behind it a capacitor of {amount(capacitor_farad, 'F')} and next to no load."
    )
    values = _values(volts_rms, f"blocks {amount(blocked, 'V')}", "none") | {"capacitor": amount(capacitor_farad, "F")}
    drawn = wiring.half_wave(words, values, diode=wiring.BLOCKING, capacitor=wiring.IDLE, load=wiring.BROKEN)
    show_pair(drawn, scope, words)


def relay_picture(volts_rms: float, *, drop_volts: float, coil_ohm: float) -> None:
    """Show the relay coil with its flywheel diode: wiring, two cycles of its voltage and of its current, their means marked."""
    volts, amps = relay(volts_rms, drop_volts=drop_volts, coil_ohm=coil_ohm)
    levels = [
        Level(dc(volts), f"mean {amount(dc(volts), 'V')}"),
        Level(dc(amps), amount(dc(amps), "A"), "A"),
    ]
    scope = scope_svg(
        [Trace(twice(volts), "load", "Coil, volts"), Trace(twice(amps), "current", "Coil, current")],
        levels,
        title="Scope picture of a relay coil with a flywheel diode, two cycles",
    )
    words = (
        f"Wiring picture: a transformer, {volts_rms:g} V; one diode in the line; a relay coil of {coil_ohm:g} Ω; "
        "across the coil a flywheel diode, which points back up from the common."
    )
    values = {"words": words, "supply": f"{volts_rms:g} V", "coil": f"coil {coil_ohm:g} Ω"}
    show_pair(wiring.filled(_relay_drawing(), words, values), scope, f"{words} {_read_off(levels)}")


def _values(volts_rms: float, does: str, load: str) -> dict[str, str]:
    return {"line": "line", "supply": f"{volts_rms:g} V", "diode": "diode", "diode_does": does, "load": load}


def _read_off(levels: Sequence[Level]) -> str:
    return f"Read off: {', '.join(level.label for level in levels)}."


def _relay_drawing() -> str:
    """Secondary, series diode, flywheel diode, coil; places for supply and coil."""
    sketch, top, live = wiring.Sketch(), 5.4, wiring.CONDUCTING
    sketch.part("Inductor", (0.0, 1.7), (0.0, 3.7), state=live, loops=7)
    sketch.wire((0.0, 3.7), (0.0, top), (1.4, top), state=live)
    sketch.wire((0.0, 1.7), (0.0, 0.0), (6.6, 0.0), state=live)
    sketch.part("Diode", (1.4, top), (3.6, top), state=live)
    sketch.wire((3.6, top), (6.6, top), state=live)
    sketch.part("Diode", (4.4, 0.0), (4.4, top))
    sketch.part("RBox", (6.6, top), (6.6, 0.0), state=live)
    for y in (0.0, top):
        sketch.dot((4.4, y), live)
    sketch.words((0.5, 2.7), "@supply@")
    sketch.words((2.5, top + 0.75), "series diode", align="center")
    sketch.words((4.1, 1.6), "flywheel", align="right", size=14)
    sketch.words((4.1, 1.1), "diode", align="right", size=14)
    sketch.words((7.1, 2.7), "@coil@")
    return sketch.svg()

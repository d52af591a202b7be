"""The circuits of lesson 01: a 24 V secondary, the loads side by side on it, and one run of wire to a far load.

Pictures and tables show themselves in a notebook, each with the same content in words. A load is taken as a resistance.
"""

from collections.abc import Sequence

from .. import wiring
from ..amounts import amount, plain
from ..instruments import true_rms
from ..network import Network
from ..scope import Level, Point, Span, Trace, scope_svg
from ..showing import show
from ..supply import Supply
from ..waveforms import Waveform
from ..wire import Wire
from .page import table

__all__ = ["left_volts", "loads_picture", "run_picture", "sine_picture", "wire_table"]

_TOP = 5.4
_LIVE = wiring.CONDUCTING


def left_volts(near_volts: float, loop_ohm: float, load_ohm: float) -> float:
    """Rms volts across a load of `load_ohm` (Ω) behind `loop_ohm` (Ω) of wire, by the exact solver and the rms meter.

    >>> round(left_volts(25.2, 1.0, 15.8), 2)
    23.7
    """
    return true_rms(_far_wave(near_volts, loop_ohm, load_ohm))


def sine_picture(volts_rms: float, *, hertz: float = 60.0) -> None:
    """Show a secondary with a meter and a scope on R and C, and two cycles with rms, peak, peak to peak and period."""
    supply = Supply(volts_rms, hertz)
    wave = Waveform.sine(volts_peak=supply.volts_peak, hertz=hertz, cycles=2)
    peak, period = supply.volts_peak, amount(supply.period_s, "s")
    marks = [
        Level(volts_rms, f"rms {amount(volts_rms, 'V')}"),
        Level(peak, f"peak {amount(peak, 'V')}"),
        Point(supply.period_s, 0.0, f"cycle {period}"),
        Span(-peak, 0.0, f"below: {amount(peak, 'V')}"),
    ]
    scope = scope_svg([Trace(wave, "supply", "Secondary")], marks, title="Scope picture of a secondary, two cycles")
    words = (
        f"Wiring picture: a transformer with a meter and a scope, both on its terminals R and C. The meter shows "
        f"{amount(volts_rms, 'V')} rms; the scope shows {amount(2 * peak, 'V')} from lowest to highest point."
    )
    values = {"words": words, "meter": amount(volts_rms, "V"), "scope": f"{amount(2 * peak, 'V')}"}
    _show_pair(wiring.filled(_metered_drawing(), words, values), scope, words)


def loads_picture(loads: Sequence[tuple[str, float]]) -> None:
    """Show up to three (name, VA) loads side by side on one secondary.

    >>> loads_picture([("thermostat", 5), ("relay", 12)])
    Wiring picture: a transformer, and side by side on its terminals R and C: thermostat 5 VA, relay 12 VA.
    """
    listed = ", ".join(f"{name} {va:g} VA" for name, va in loads)
    words = f"Wiring picture: a transformer, and side by side on its terminals R and C: {listed}."
    values = {f"name{k}": name for k, (name, _) in enumerate(loads)} | {
        f"va{k}": f"{va:g} VA" for k, (_, va) in enumerate(loads)
    }
    _show(wiring.filled(_loads_drawing(len(loads)), words, values), words)


def run_picture(near_volts: float, wire: Wire, load_ohm: float, *, load: str, needs_volts: float = 0.0) -> None:
    """Show a run of `wire` to one load of `load_ohm` called `load`: wiring, and the voltage at both ends for two cycles."""
    far = _far_wave(near_volts, wire.loop_ohm, load_ohm)
    far_volts, each = true_rms(far), amount(wire.one_way_ohm, "Ω")
    near = Waveform.sine(volts_peak=Supply(near_volts).volts_peak, cycles=2)
    marks = [Level(wave.values.max(), f"peak {amount(float(wave.values.max()), 'V')}") for wave in (near, far)]
    if needs_volts:
        marks.append(Level(Supply(needs_volts).volts_peak, f"needs {amount(Supply(needs_volts).volts_peak, 'V')}"))
    traces = [Trace(near, "supply", "At the transformer"), Trace(far, "load", "At the far end")]
    scope = scope_svg(traces, marks, title="Scope picture of both ends of a run, two cycles")
    words = (
        f"Wiring picture: a transformer with {amount(near_volts, 'V')} at R and C; a run of {wire.length_ft:g} ft, "
        f"{wire.gauge_awg} AWG, {each} out and {each} back; {amount(far_volts, 'V')} left at the {load}."
    )
    values = {"near": amount(near_volts, "V"), "out": each, "back": each, "far": amount(far_volts, "V"), "load": load}
    _show_pair(wiring.filled(_run_drawing(), words, values), scope, words)


def wire_table(gauges: Sequence[int] = (14, 16, 18, 20, 22, 24)) -> None:
    """Show diameter (in) and resistance (Ω per 1,000 ft, one conductor, 20 °C) of solid copper wire.

    >>> wire_table([18])
    Solid copper wire at 20 °C (68 °F)
    18 AWG | 0.0403 in | 6.385 Ω
    """
    rows = []
    for gauge in gauges:
        wire = Wire(gauge, 0)
        rows.append((f"{gauge} AWG", f"{wire.diameter_in:.4f} in", f"{plain(wire.ohm_per_1000ft, 4)} Ω"))
    heads = ("Gauge", "Diameter of the copper", "Resistance of one conductor, each 1,000 ft")
    table("Solid copper wire at 20 °C (68 °F)", heads, rows)


def _far_wave(near_volts: float, loop_ohm: float, load_ohm: float) -> Waveform:
    net = Network(ground="C")
    net.voltage_source("secondary", "R", "C", volts_peak=Supply(near_volts).volts_peak)
    net.resistor("out", "R", "far R", loop_ohm / 2)
    net.resistor("back", "far C", "C", loop_ohm / 2)
    net.resistor("load", "far R", "far C", load_ohm)
    run = net.run(2 * net.period_s)
    seconds = run.times(1000)
    return Waveform(seconds, run.volts("load", seconds), "V")


def _metered_drawing() -> str:
    sketch = _with_secondary(6.2)
    for x, name, value in ((3.5, "meter", "@meter@"), (6.2, "scope", "@scope@")):
        sketch.part("RBox", (x, _TOP), (x, 0.0))
        sketch.words((x + 0.45, 3.0), name)
        sketch.words((x + 0.45, 2.35), value, size=14)
    sketch.words((6.65, 1.75), "peak to peak", size=14)
    return sketch.svg()


def _loads_drawing(count: int) -> str:
    sketch = _with_secondary(1.2 + 2.3 * count)
    for number in range(count):
        x = 3.5 + 2.3 * number
        sketch.part("RBox", (x, _TOP), (x, 0.0), state=_LIVE)
        sketch.words((x, -0.6), f"@name{number}@", align="center", size=13)
        sketch.words((x + 0.4, 2.7), f"@va{number}@", size=14)
    return sketch.svg()


def _run_drawing() -> str:
    sketch = _with_secondary(2.2)
    for y, name in ((_TOP, "@out@"), (0.0, "@back@")):
        sketch.part("ResistorIEC", (2.2, y), (5.0, y), state=_LIVE)
        sketch.wire((5.0, y), (7.2, y), state=_LIVE)
        sketch.words((3.6, y + 0.7), name, align="center", size=14)
    sketch.part("RBox", (7.2, _TOP), (7.2, 0.0), state=_LIVE)
    sketch.words((1.75, 2.7), "@near@", size=14)
    sketch.words((6.7, 2.7), "@far@", align="right", size=14)
    sketch.words((7.2, -0.6), "@load@", align="center", size=14)
    return sketch.svg()


def _with_secondary(right: float) -> wiring.Sketch:
    """A sketch with the secondary, its terminals R and C, and both rails as far as `right`."""
    sketch = wiring.Sketch()
    sketch.part("Inductor", (0.9, 1.7), (0.9, 3.7), state=_LIVE, loops=7)
    sketch.words((0.4, 3.1), "24 V", align="right", size=14)
    sketch.words((0.4, 2.5), "side", align="right", size=14)
    for y, end, letter in ((_TOP, 3.7, "R"), (0.0, 1.7, "C")):
        sketch.wire((0.9, end), (0.9, y), (right, y), state=_LIVE)
        sketch.dot((1.75, y), _LIVE)
        sketch.words((1.75, y + 0.5), letter, align="center")
    return sketch


def _show(drawn: str, words: str) -> None:
    show(words, f'<div style="max-width:36em">{drawn}</div>')


def _show_pair(drawn: str, scope: str, words: str) -> None:
    sides = "".join(f'<div style="flex:1 1 22em;min-width:0">{svg}</div>' for svg in (drawn, scope))
    show(words, f'<div style="display:flex;flex-wrap:wrap;gap:0.5em;max-width:72em">{sides}</div>')

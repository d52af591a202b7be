"""Pictures of lesson 08: the board with its gap, the LED against the window, a dark output that leaks.

Each shows itself in a notebook: wiring beside a scope picture, and the same in words with its numbers.
"""

import numpy as np

from .. import wiring
from ..amounts import amount
from ..instruments import dc, peak, true_rms
from ..optotriac import Coil
from ..scope import Level, Point, Trace, scope_svg
from ..supply import Supply
from ..waveforms import Waveform
from .across_the_gap import PULL_IN_AMPS, degrees_above, led_amps, phantom, relay
from .page import show_pair, twice

__all__ = ["board_picture", "leak_picture", "load_picture", "window_picture"]

_LIVE, _DARK, _IDLE, _BROKEN = wiring.CONDUCTING, wiring.BLOCKING, wiring.IDLE, wiring.BROKEN
_TOP = 5.4


def board_picture(volts_rms: float, *, led_drop_volts: float, resistor_ohm: float) -> None:
    """Show one channel of the board, and two cycles of its secondary and of the LED's current, peak and average marked."""
    amps = led_amps(volts_rms, led_drop_volts=led_drop_volts, resistor_ohm=resistor_ohm)
    levels = [
        Level(peak(amps), f"peak {amount(peak(amps), 'A')}", "A"),
        Level(dc(amps), f"mean {amount(dc(amps), 'A')}", "A"),
    ]
    secondary = Waveform.sine(volts_peak=Supply(volts_rms).volts_peak, cycles=2)
    scope = scope_svg(
        [Trace(secondary, "supply", "Secondary"), Trace(twice(amps), "current", "LED")],
        levels,
        title="Scope picture of the LED's loop, two cycles",
    )
    words = (
        f"Wiring picture: on the left a transformer, {volts_rms:g} V, two diodes, a resistor of {amount(resistor_ohm, 'Ω')} "
        "and the LED in one loop. A gap that only light crosses. On the right a second transformer, a relay coil and the "
        f"triac in one loop. Read off: LED {levels[0].label}, {levels[1].label}."
    )
    values = {"words": words, "volts": f"{volts_rms:g} V", "ohm": amount(resistor_ohm, "Ω"), "load": "relay coil"}
    show_pair(wiring.filled(_board(), words, values), scope, words)


def window_picture(
    volts_rms: float, *, led_drop_volts: float, led_resistor_ohm: float, trigger_amps: float, inhibit_volts: float
) -> None:
    """Show, over two cycles, the LED's current against the trigger current, and the voltage across the output and the coil."""
    channel = {"led_drop_volts": led_drop_volts, "led_resistor_ohm": led_resistor_ohm, "trigger_amps": trigger_amps}
    solved = relay(volts_rms, **channel, inhibit_volts=inhibit_volts)
    fires, _ = degrees_above(solved.led_amps, trigger_amps)
    closes = float(np.degrees(np.arcsin(inhibit_volts / Supply(volts_rms).volts_peak)))
    marks = [
        Level(inhibit_volts, f"window {inhibit_volts:g} V"),
        Level(trigger_amps, f"needs {amount(trigger_amps, 'A', 2)}", "A"),
    ]
    traces = [
        Trace(twice(solved.output_volts), "diode", "Across the output"),
        Trace(twice(solved.load_volts), "load", "Coil"),
        Trace(twice(solved.led_amps), "current", "LED"),
    ]
    cursor = fires / 360 / 60
    scope = scope_svg(
        traces, marks, cursor_s=cursor, cursor_label=f"{fires:.0f}°", title="Scope picture of one channel, two cycles"
    )
    outcome = "the relay pulls in" if solved.pulled_in else "the relay does not pull in"
    words = (
        f"Wiring picture: LED resistor {amount(led_resistor_ohm, 'Ω')}; {outcome}, its coil carries "
        f"{amount(solved.coil_rms_amps, 'A') if solved.pulled_in else 'next to nothing'} and needs {amount(PULL_IN_AMPS, 'A')}. "
        f"The LED gets to its trigger current {fires:.1f}° after the zero; the window closes at {closes:.1f}°."
    )
    state = _LIVE if solved.pulled_in else _DARK
    values = {"words": words, "volts": f"{volts_rms:g} V", "ohm": amount(led_resistor_ohm, "Ω"), "load": "relay coil"}
    show_pair(wiring.filled(_board(state), words, values), scope, words)


def load_picture(volts_rms: float, *, load_ohm: float, latching_amps: float, holding_amps: float) -> None:
    """Show a plain load on an output that half waves trigger, and its current against the latching and the holding current.

    The LED has 1.2 V and 1800 Ω, the part triggers at 8 mA and has no window.
    """
    channel = {"led_drop_volts": 1.2, "led_resistor_ohm": 1800, "trigger_amps": 0.008, "inhibit_volts": None}
    own = {"latching_amps": latching_amps, "holding_amps": holding_amps}
    solved = relay(volts_rms, **channel, **own, coil=Coil(load_ohm, 1e-4))
    on = [begin for begin, _, mode in solved.run.modes("output") if mode.startswith("forward")]
    ends = max(end for _, end, mode in solved.run.modes("output") if mode.startswith("forward"))
    latched = any(mode == "forward held" for _, _, mode in solved.run.modes("output"))
    marks = [
        Level(latching_amps, f"latches {amount(latching_amps, 'A', 2)}", "A"),
        Level(holding_amps, f"holds {amount(holding_amps, 'A', 2)}", "A"),
    ]
    secondary = Waveform.sine(volts_peak=Supply(volts_rms).volts_peak, cycles=2)
    scope = scope_svg(
        [Trace(secondary, "supply", "Secondary"), Trace(twice(solved.coil_amps), "current", "Load")],
        marks,
        title="Scope picture of a load on the output, two cycles",
    )
    words = (
        f"Wiring picture: a load of {amount(load_ohm, 'Ω')} on the output. Its current reaches "
        f"{amount(peak(solved.coil_amps), 'A')}; the output {'latches' if latched else 'does not latch'}. It is on from "
        f"{_degrees(min(on))} to {_degrees(ends)}, and the LED is bright enough up to "
        f"{degrees_above(solved.led_amps, 0.008)[1]:.0f}°."
    )
    values = {"words": words, "volts": f"{volts_rms:g} V", "ohm": "1.80 kΩ", "load": amount(load_ohm, "Ω")}
    show_pair(wiring.filled(_board(), words, values), scope, words)


def _degrees(seconds: float) -> str:
    return f"{360 * 60 * seconds:.0f}°"


def leak_picture(
    volts_rms: float, *, snubber_farad: float, across_ohm: float, across: str, bleeder_ohm: float = 0.0
) -> None:
    """Show a dark output with its snubber, what lies across its terminals (`across`), a bleeder or none; and what is left."""
    side_by_side_ohm = 1 / (1 / across_ohm + 1 / bleeder_ohm) if bleeder_ohm else across_ohm
    wave = phantom(volts_rms, snubber_farad=snubber_farad, across_ohm=side_by_side_ohm)
    left = true_rms(wave)
    secondary = Waveform.sine(volts_peak=Supply(volts_rms).volts_peak, cycles=2)
    top = int(wave.values.argmax())
    scope = scope_svg(
        [Trace(secondary, "supply", "Secondary"), Trace(twice(wave), "load", across.capitalize())],
        [Point(float(wave.seconds[top]), float(wave.values[top]), f"{amount(left, 'V')} rms")],
        title="Scope picture of a dark output's terminals, two cycles",
    )
    bleeder = f"across it a bleeder of {amount(bleeder_ohm, 'Ω')}; " if bleeder_ohm else ""
    words = (
        f"Wiring picture: a transformer, {volts_rms:g} V; the {across}, {amount(across_ohm, 'Ω')}; {bleeder}the triac, off; "
        f"side by side with the triac a snubber of {amount(snubber_farad, 'F')} and a small resistor. "
        f"Read off: {amount(left, 'V')} rms across the {across}."
    )
    values = {"words": words, "volts": f"{volts_rms:g} V", "across": f"{across} {amount(across_ohm, 'Ω')}"}
    values |= {"farad": amount(snubber_farad, "F"), "bleeder": amount(bleeder_ohm, "Ω") if bleeder_ohm else ""}
    show_pair(wiring.filled(_leaking(bool(bleeder_ohm)), words, values), scope, words)


def _board(output: str = _LIVE) -> str:
    """LED's loop on the left, output's loop on the right, the gap between; places for volts and ohm."""
    sketch = wiring.Sketch()
    _secondary(sketch, 0.0, _LIVE)
    sketch.wire((0.0, 3.7), (0.0, _TOP), state=_LIVE)
    for begin, end in ((0.0, 1.3), (1.3, 2.6)):
        sketch.part("Diode", (begin, _TOP), (end, _TOP), state=_LIVE)
    sketch.wire((2.6, _TOP), (3.8, _TOP), (3.8, 5.0), state=_LIVE)
    sketch.part("ResistorIEC", (3.8, 5.0), (3.8, 3.0), state=_LIVE)
    sketch.part("LED", (3.8, 3.0), (3.8, 1.0), state=_LIVE)
    sketch.wire((3.8, 1.0), (3.8, 0.0), (0.0, 0.0), (0.0, 1.7), state=_LIVE)
    sketch.words((1.3, _TOP + 0.75), "two diodes", align="center")
    sketch.words((3.3, 4.0), "@ohm@", align="right")
    sketch.words((3.2, 2.0), "LED", align="right")
    sketch.words((0.5, 2.7), "@volts@")
    sketch.wire((5.0, -0.7), (5.0, 6.4), state=_DARK)
    sketch.words((5.0, -1.1), "gap: only light crosses", align="center", size=14)
    _output(sketch, output)
    return sketch.svg()


def _output(sketch: wiring.Sketch, state: str) -> None:
    wire = _LIVE if state == _LIVE else _IDLE
    sketch.part("Triac", (6.2, 0.0), (6.2, 2.4), state=state)
    sketch.wire((6.2, 2.4), (6.2, 3.0), state=wire)
    sketch.part("RBox", (6.2, 3.0), (6.2, _TOP), state=wire)
    _secondary(sketch, 9.0, wire)
    sketch.wire((6.2, _TOP), (9.0, _TOP), (9.0, 3.7), state=wire)
    sketch.wire((6.2, 0.0), (9.0, 0.0), (9.0, 1.7), state=wire)
    sketch.words((6.9, 1.2), "triac")
    sketch.words((6.7, 4.2), "@load@", size=14)
    sketch.words((8.5, 2.7), "@volts@", align="right")


def _secondary(sketch: wiring.Sketch, x: float, state: str) -> None:
    sketch.part("Inductor", (x, 1.7), (x, 3.7), state=state, loops=7)


def _leaking(bled: bool) -> str:
    """Secondary, what lies across the terminals, the dark triac with its snubber; places for volts, across and farad."""
    sketch = wiring.Sketch()
    _secondary(sketch, 0.0, _LIVE)
    sketch.wire((0.0, 3.7), (0.0, _TOP), (4.6, _TOP), state=_LIVE)
    sketch.wire((0.0, 1.7), (0.0, 0.0), (6.4, 0.0), state=_LIVE)
    sketch.part("RBox", (4.6, _TOP), (4.6, 3.2), state=_LIVE)
    sketch.wire((4.6, 3.2), (4.6, 2.7), (6.4, 2.7), state=_LIVE)
    sketch.part("Triac", (4.6, 0.0), (4.6, 2.7), state=_DARK)
    sketch.part("ResistorIEC", (6.4, 2.7), (6.4, 1.4), state=_LIVE)
    sketch.part("Capacitor", (6.4, 1.4), (6.4, 0.0), state=_LIVE)
    for at in ((4.6, 2.7), (4.6, 0.0)):
        sketch.dot(at, _LIVE)
    if bled:
        sketch.wire((4.6, _TOP), (2.8, _TOP), state=_LIVE)
        sketch.part("ResistorIEC", (2.8, _TOP), (2.8, 3.2), state=_LIVE)
        sketch.wire((2.8, 3.2), (2.8, 2.7), (4.6, 2.7), state=_LIVE)
        sketch.words((2.3, 4.6), "bleeder", align="right", size=14)
        sketch.words((2.3, 4.0), "@bleeder@", align="right", size=14)
    sketch.words((5.2, 4.5), "@across@")
    sketch.words((3.9, 1.2), "triac, off", align="right", size=14)
    sketch.words((7.0, 1.7), "snubber")
    sketch.words((7.0, 0.8), "@farad@", size=14)
    sketch.words((0.5, 2.2), "@volts@")
    return sketch.svg()

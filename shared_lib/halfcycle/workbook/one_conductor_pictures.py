"""Pictures and lists of lesson 09: the two half cycles, the four states, the zero from near, captures with a cursor.

Pictures show themselves in a notebook, each with the same content in words.
"""

from collections.abc import Sequence
from html import escape

from .. import wiring
from ..amounts import amount
from ..benches.two_calls_wiring import two_calls
from ..instruments import ac_rms, dc
from ..scope import Level, Trace, scope_svg
from ..showing import show
from ..steering import FAULTS
from ..waveforms import Waveform
from .one_conductor import PLANS, STATES, WIRINGS, conductor, led_amps
from .one_diode import straight
from .page import show_pair, table, twice

__all__ = [
    "capture_picture",
    "captures_picture",
    "fault_list",
    "halves_picture",
    "known_capture_picture",
    "own_capture_picture",
    "plan_list",
    "states_picture",
    "wiring_list",
    "zero_picture",
]

_HERTZ = 60.0
_NEAR_S = 0.6e-3
_NAMES = {
    (False, False): "no call",
    (True, False): "call A alone",
    (False, True): "call B alone",
    (True, True): "both calls",
}
_LIVE, _OFF, _IDLE = wiring.CONDUCTING, wiring.BLOCKING, wiring.IDLE
_STANDS_OUT_VOLTS = 3.0
_SCREEN_VOLTS = 40.0


def halves_picture(volts_rms: float, *, led_drop_volts: float, led_resistor_ohm: float, wire_ohm: float) -> None:
    """Show the circuit with both calls closed in its two half cycles, side by side; volts and ohms as named."""
    peaks = {
        led: amount(
            float(led_amps(volts_rms, True, True, led=led, led_drop_volts=led_drop_volts,
                           led_resistor_ohm=led_resistor_ohm, wire_ohm=wire_ohm).values.max()), "A"
        )
        for led in "AB"
    }  # fmt: skip
    said = {
        "A": "R above C: out of R through contact A and diode A, along the conductor, down through LED A to C. Diode B and LED B block.",
        "B": "R below C: out of C up through LED B, back along the conductor, through diode B and contact B to R. Diode A and LED A block.",
    }
    drawn = []
    for led, words in said.items():
        values = {
            "line": "line",
            "supply": f"{volts_rms:g} V",
            "wire": amount(wire_ohm, "Ω"),
            "dial": "meter",
            "meter": "",
        }
        values |= {"resistor": f"{led_resistor_ohm:g} Ω", "output A": "on", "output B": "on"}
        values |= {f"led {other}": peaks[other] if other == led else "dark" for other in "AB"}
        states = tuple(_LIVE if other == led else _OFF for other in "AB")
        parts = ((True, True), states, (False, False), states, states, (_LIVE, _LIVE))
        drawn.append(wiring.Picture(two_calls, parts, values, f"Wiring picture, both calls closed. {words}").svg())
    show_pair(*drawn, f"Two wiring pictures, both calls closed. {said['A']} {said['B']} Peak in each LED {peaks['A']}.")


def states_picture(volts_rms: float) -> None:
    """Show the shared conductor in the four states, each with what a dc meter and an ac meter on it read."""
    boxes, said = [], []
    for state in STATES:
        wave = conductor(volts_rms, *state)
        reads = f"dc meter {_meter(dc(wave))}, ac meter {_meter(ac_rms(wave))}"
        caption = f"{_NAMES[state][0].upper()}{_NAMES[state][1:]}: {reads}"
        traces = [Trace(twice(straight(volts_rms)), "supply", "R to C"), Trace(twice(wave), "load", "Conductor")]
        boxes.append((caption, scope_svg(traces, title=f"Scope picture, {_NAMES[state]}, two cycles")))
        said.append(caption)
    _grid(boxes, "\n".join(said))


def zero_picture(volts_rms: float, *, led_drop_volts: float, led_resistor_ohm: float, wire_ohm: float) -> None:
    """Show, with both calls closed, a little more than a millisecond about a zero, and the top of the same wave."""
    whole, sine = conductor(volts_rms, True, True), straight(volts_rms)
    led = {"led_drop_volts": led_drop_volts, "led_resistor_ohm": led_resistor_ohm, "wire_ohm": wire_ohm}
    near = [
        Trace(_about(wave, 0.5), quantity, name)
        for wave, quantity, name in (
            (sine, "supply", "R to C"),
            (whole, "load", "Conductor"),
            (led_amps(volts_rms, True, True, led="A", **led), "current", "LED A"),
            (led_amps(volts_rms, True, True, led="B", **led), "diode", "LED B"),
        )
    ]
    top = [Trace(_about(sine, 0.25), "supply", "R to C"), Trace(_about(whole, 0.25), "load", "Conductor")]
    tops = [
        Level(float(sine.values.max()), amount(float(sine.values.max()), "V")),
        Level(float(whole.values.max()), amount(float(whole.values.max()), "V")),
    ]
    words = (
        "Two scope pictures with both calls closed. About a zero: the conductor stays flat at zero while R to C crosses it, and "
        f"no LED carries current for longer still. At the top: R to C reaches {tops[0].label}, the conductor {tops[1].label}."
    )
    show_pair(
        scope_svg(near, title="Scope picture of the zero from near"),
        scope_svg(top, tops, title="Scope picture of the top from near"),
        words,
    )


def captures_picture(captures: Sequence[Waveform]) -> None:
    """Show captures side by side under their numbers, and nothing that says what they are."""
    boxes = [(f"Capture {number}", _capture(wave, number)) for number, wave in enumerate(captures, start=1)]
    _grid(boxes, "\n".join(f"Capture {number}: {_reach(wave)}" for number, wave in enumerate(captures, start=1)))


def capture_picture(captures: Sequence[Waveform], number: int, *, cursor_volts: float = 0.0) -> None:
    """Show one capture (they count from 1), larger, with a line at `cursor_volts` (V, kept on the screen) to measure by."""
    if number not in range(1, len(captures) + 1):
        return show(f"There are captures 1 to {len(captures)}.", f"<p>There are captures 1 to {len(captures)}.</p>")
    wave, at = captures[number - 1], max(-_SCREEN_VOLTS, min(_SCREEN_VOLTS, float(cursor_volts)))
    drawn = _capture(wave, number, [Level(at, f"cursor {amount(at, 'V')}")], 760, 460)
    text = f"Capture {number}: {_reach(wave)}; the cursor's line stands at {amount(at, 'V')}."
    return show(text, f'<div style="max-width:60em">{drawn}</div>')


def known_capture_picture(wave: Waveform, call_a: bool, call_b: bool) -> None:
    """Show capture 5 and which calls were closed while it was taken."""
    caption = f"Capture 5. Closed at the thermostat: {_NAMES[call_a, call_b]}"
    _grid([(caption, _capture(wave, 5))], f"{caption}. {_reach(wave)}")


def own_capture_picture(wave: Waveform) -> None:
    """Show a capture of anybody's own: the picture, what both meters read, and which humps stand out of the noise."""
    readings = [("dc meter (the mean)", _meter(dc(wave))), ("ac meter (true rms, dc blocked)", _meter(ac_rms(wave)))]
    readings += [("highest", amount(float(wave.values.max()), wave.unit))]
    readings += [("lowest", amount(float(wave.values.min()), wave.unit)), ("humps that stand out", _humps(wave))]
    show(
        "A capture of a conductor.",
        f'<div style="max-width:36em">{scope_svg([Trace(wave, "load", "Conductor")], title="Scope picture of a capture")}</div>',
    )
    table("Read from this capture", ("", "Reading"), readings)


def wiring_list() -> None:
    """Show the list of wirings: where the bands of the diodes are, and which LED points which way."""
    ends = {"A": {"upper": "conductor", "lower": "contact"}, "B": {"upper": "conductor", "lower": "contact"}}
    rows = [
        (
            f"{number}",
            f"towards the {ends['A'][half_a]}",
            f"towards the {ends['B'][half_b]}",
            *("from conductor to C" if led == upper else "from C to conductor" for led in "AB"),
        )
        for number, (half_a, half_b, upper) in WIRINGS.items()
    ]
    heads = ("Number", "Band of diode A", "Band of diode B", "LED A's branch points", "LED B's branch points")
    table("Wirings", heads, rows)


def fault_list() -> None:
    """Show the list of faults with their numbers."""
    rows = [(f"{number}", fault) for number, fault in enumerate(FAULTS, start=1)]
    table("Faults", ("Number", "Fault"), rows)


def plan_list() -> None:
    """Show the list of plans for the old run with their numbers."""
    table("Plans", ("Number", "The plan"), [(f"{number}", words) for number, words in PLANS.items()])


def _about(wave: Waveform, share: float) -> Waveform:
    """The part of one cycle near a share of it."""
    middle = share / _HERTZ
    return wave.slice(middle - _NEAR_S, middle + _NEAR_S)


def _meter(volts: float) -> str:
    """A meter's reading to a tenth of a volt."""
    return "0 V" if abs(volts) < 0.05 else f"{volts:.1f} V".replace("-", "\N{MINUS SIGN}")


def _reach(wave: Waveform) -> str:
    return f"from {amount(float(wave.values.min()), 'V')} to {amount(float(wave.values.max()), 'V')}"


def _humps(wave: Waveform) -> str:
    up, down = wave.values.max() > _STANDS_OUT_VOLTS, wave.values.min() < -_STANDS_OUT_VOLTS
    return {(True, True): "upper and lower", (True, False): "upper alone", (False, True): "lower alone"}.get(
        (bool(up), bool(down)), "none"
    )


def _capture(wave: Waveform, number: int, marks: Sequence[Level] = (), width: int = 500, height: int = 342) -> str:
    """A capture inside the screen's edges, which are the same for all, so that heights can be compared."""
    begin, end = float(wave.seconds[0]), float(wave.seconds[-1])
    frame = Waveform([begin, begin, end, end], [-_SCREEN_VOLTS, _SCREEN_VOLTS, _SCREEN_VOLTS, -_SCREEN_VOLTS], "V")
    return scope_svg(
        [Trace(frame, "diode", "Screen"), Trace(wave, "load", "Conductor to C")],
        marks,
        width=width,
        height=height,
        title=f"Scope picture, capture {number}",
    )


def _grid(boxes: Sequence[tuple[str, str]], text: str) -> None:
    figures = "".join(
        f'<figure style="flex:1 1 26em;max-width:34em;margin:0"><figcaption style="padding:0.3em 0"><b>{escape(caption)}</b>'
        f"</figcaption>{drawn}</figure>"
        for caption, drawn in boxes
    )
    show(text, f'<div style="display:flex;flex-wrap:wrap;gap:1em;max-width:66em">{figures}</div>')

"""Pictures of two devices on one grounded common: healthy, the two half cycles after the wire, and the wiring cards.

Pictures show themselves in a notebook, each with the same content in words.
"""

from functools import lru_cache
from html import escape

from .. import wiring
from ..amounts import amount
from ..instruments import true_rms
from ..scope import Level, Trace, scope_svg
from ..showing import show
from .page import show_pair, twice
from .shared_common import TwoDevices

__all__ = ["CARDS", "half_cycles_picture", "short_picture", "two_devices_picture", "wiring_cards"]

CARDS = (
    "One transformer. Each device has R and C. No wire between the dc sides: the signal crosses by the contact of an isolation relay.",
    "One transformer. Each device has R and C. A wire joins the two dc minus terminals.",
    "Two transformers, each with its C grounded. A wire joins the two dc minus terminals.",
    "Two transformers. The thermostat's C is grounded; the actuator's secondary is grounded nowhere. A wire joins the two dc minus terminals.",
    "One transformer. No wire between the dc sides. The actuator's dc minus is screwed to its grounded metal case.",
    "One transformer. The actuator is a half-wave one: its dc minus is its C. Each has R and C. A wire joins the two dc minus terminals.",
    "As card 6, but at the actuator R lands on its terminal C, and C lands on its terminal R.",
    "One transformer. The thermostat has a bridge too. Each has R and C. A wire joins the two dc minus terminals.",
)
_RAIL, _PLUS, _MINUS = 6.2, 5.0, 1.2  # heights of R, and of the bridge's dc terminals, grid units
_LIVE, _IDLE, _OFF = wiring.CONDUCTING, wiring.IDLE, wiring.BLOCKING


def two_devices_picture(devices: TwoDevices) -> None:
    """Show both devices before the wire is there: nothing but R and C in common."""
    words = (
        "Wiring picture: one transformer, its C grounded; a thermostat with one diode between R and C, whose dc minus is C; "
        "an actuator with four diodes, R on terminal 1, C on terminal 2, dc plus 3, dc minus 4. Nothing joins 4 and C."
    )
    scope = scope_svg(
        [
            Trace(twice(devices.wave("volts", "actuator")), "load", "Actuator"),
            Trace(twice(devices.wave("volts", "thermostat")), "other", "Thermostat"),
        ],
        title="Scope picture of both devices before the wire is there, two cycles",
    )
    show_pair(_filled("apart", words, devices), scope, words)


def half_cycles_picture(devices: TwoDevices) -> None:
    """Show the same circuit with the new wire from terminal 4 to C, in its two half cycles side by side."""
    above = (
        "R above C: the actuator's current goes through D1 and its board, and returns by the new wire in place of D4. "
        "Nothing looks wrong."
    )
    below = (
        "R below C: from C through the new wire to terminal 4, through D3 to R. No load is in this loop: a short. "
        "Next to nothing goes any other way."
    )
    drawn = [
        _filled(state, f"Wiring picture. {words}", devices) for state, words in (("above", above), ("below", below))
    ]
    show_pair(*drawn, f"Two wiring pictures with the new wire. {above} {below}")


def short_picture(devices: TwoDevices) -> None:
    """Show the short: wiring, and two cycles of R to C, of the actuator's voltage and of the current in the fuse."""
    amps = devices.secondary_amps
    levels = [Level(float(amps.values.min()), f"peak {amount(devices.most_amps, 'A')}", "A")]
    scope = scope_svg(
        [
            Trace(twice(devices.terminal_volts), "supply", "R to C"),
            Trace(twice(devices.wave("volts", "actuator")), "load", "Actuator"),
            Trace(twice(amps), "current", "In the fuse"),
        ],
        levels,
        title="Scope picture of the short, two cycles",
    )
    words = (
        f"Wiring picture: R below C; {amount(devices.most_amps, 'A')} at the peak go through the new wire and D3 alone. "
        f"Rms in the fuse {amount(true_rms(amps), 'A')}. The lower half of R to C is crushed."
    )
    show_pair(_filled("below", words, devices), scope, words)


def wiring_cards() -> None:
    """Show the eight wiring cards, each a small picture and a sentence; none says whether it is safe."""
    boxes = "".join(
        f'<figure style="flex:0 1 17em;margin:0"><figcaption style="padding:0.3em 0"><b>Card {number}.</b> {escape(words)}'
        f"</figcaption>{wiring.filled(_card_drawing(number), f'Card {number}. {words}', {})}</figure>"
        for number, words in enumerate(CARDS, start=1)
    )
    text = "\n".join(f"Card {number}. {words}" for number, words in enumerate(CARDS, start=1))
    show(text, f'<div style="display:flex;flex-wrap:wrap;gap:1em;max-width:72em">{boxes}</div>')


def _filled(state: str, words: str, devices: TwoDevices) -> str:
    values = {"supply": f"{devices.supply.volts_rms:g} V", "load": f"{devices.load_ohm:g} Ω"}
    return wiring.filled(_drawing(state), words, values)


@lru_cache(maxsize=4)
def _drawing(state: str) -> str:
    """Secondary, thermostat and bridge, as one schematic; `state` is "apart" (no new wire), "above" or "below"."""
    sketch = wiring.Sketch()
    above, below = state == "above", state == "below"
    flows = {True: _LIVE, False: _IDLE}
    _source(sketch, flows[above or below])
    _thermostat(sketch, flows[above], _LIVE if above else _OFF if below else _IDLE)
    sketch.wire((1.7, _RAIL), (3.9, _RAIL), (3.9, 3.4), (4.7, 3.4), state=flows[above or below])
    sketch.wire((1.7, 0.0), (3.1, 0.0), state=flows[above or below])
    sketch.wire((3.1, 0.0), (6.0, 0.0), (6.0, _MINUS - 0.15))
    sketch.wire((6.0, _MINUS + 0.15), (6.0, 2.6), (6.5, 2.6))
    if state != "apart":
        sketch.wire((3.1, 0.0), (3.1, _MINUS), (4.7, _MINUS), state=_LIVE)
        sketch.dot((3.1, 0.0), _LIVE)
        sketch.words((3.3, 0.55), "new wire", size=14)
    _bridge(sketch, above, below)
    return sketch.svg()


def _source(sketch: wiring.Sketch, state: str) -> None:
    sketch.part("Inductor", (-0.6, 2.0), (-0.6, 4.2), state=state, loops=7)
    sketch.wire((-0.6, 4.2), (-0.6, _RAIL), (1.7, _RAIL), state=state)
    sketch.wire((-0.6, 2.0), (-0.6, 0.0), (1.7, 0.0), state=state)
    _ground(sketch, (-0.6, 0.0))
    sketch.words((-0.2, 3.1), "@supply@", size=14)
    sketch.words((0.4, _RAIL - 0.4), "R", align="center")
    sketch.words((0.4, 0.4), "C", align="center")


def _ground(sketch: wiring.Sketch, at: tuple[float, float]) -> None:
    """The ground symbol of three bars under a point."""
    x, y = at
    sketch.wire((x, y), (x, y - 0.4))
    for step, half in enumerate((0.45, 0.28, 0.12)):
        sketch.wire((x - half, y - 0.4 - 0.2 * step), (x + half, y - 0.4 - 0.2 * step))


def _thermostat(sketch: wiring.Sketch, state: str, diode: str) -> None:
    sketch.part("Diode", (1.7, _RAIL), (1.7, 4.0), state=diode)
    sketch.part("RBox", (1.7, 4.0), (1.7, 1.8), state=state)
    sketch.wire((1.7, 1.8), (1.7, 0.0), state=state)
    for y in (0.0, _RAIL):
        sketch.dot((1.7, y), state)
    sketch.words((2.1, 2.3), "thermostat", size=14)


def _bridge(sketch: wiring.Sketch, above: bool, below: bool) -> None:
    states = {(False, False): (_IDLE,) * 4, (True, False): (_LIVE, _OFF, _OFF, _OFF)}
    one, two, three, four = states.get((above, below), (_OFF, _OFF, _LIVE, _OFF))
    load = _LIVE if above else _IDLE
    for x, middle, up, down, names in ((4.7, 3.4, one, three, ("D1", "D3")), (6.5, 2.6, two, four, ("D2", "D4"))):
        sketch.part("Diode", (x, middle), (x, _PLUS), state=up)
        sketch.part("Diode", (x, _MINUS), (x, middle), state=down)
        sketch.words((x + 0.45, (middle + _PLUS) / 2), names[0], size=14)
        sketch.words((x + 0.45, (middle + _MINUS) / 2), names[1], size=14)
        sketch.dot((x, middle), _LIVE if _LIVE in (up, down) else _IDLE)
    for number, at in (("1", (4.3, 2.95)), ("2", (6.15, 2.95)), ("3", (7.4, _PLUS + 0.4)), ("4", (7.4, _MINUS - 0.4))):
        sketch.words(at, number, align="center", size=14)
    for y in (_PLUS, _MINUS):
        sketch.wire((4.7, y), (8.1, y), state=load)
    sketch.part("RBox", (8.1, _PLUS), (8.1, _MINUS), state=load)
    sketch.words((8.5, 4.3), "@load@", size=14)


_TWO, _FLOATING, _CASE, _HALF, _SWAPPED, _BOTH, _RELAY = {3, 4}, {4}, {5}, {6, 7}, {7}, {8}, {1}


@lru_cache(maxsize=8)
def _card_drawing(number: int) -> str:
    """A card as boxes: who is fed by what, which dc sides are joined, where ground is."""
    sketch, two = wiring.Sketch(), number in _TWO
    sketch.part("Inductor", (-0.9, 1.7), (-0.9, 3.7), loops=7)
    sketch.wire((-0.9, 3.7), (-0.9, 5.8), (1.9, 5.8), (1.9, 4.4))
    sketch.wire((-0.9, 1.7), (-0.9, 0.0), (1.9, 0.0), (1.9, 1.0))
    _ground(sketch, (-0.9, 0.0))
    _box(sketch, 0.2, "thermostat", "bridge" if number in _BOTH else "half-wave")
    _box(sketch, 5.2, "actuator", "half-wave" if number in _HALF else "bridge")
    _feed(sketch, number, two)
    if number in _RELAY:
        sketch.wire((3.4, 2.0), (5.2, 2.0), state=wiring.BLOCKING)
        sketch.words((4.25, 2.5), "relay", align="center", size=18)
    elif number in _CASE:
        sketch.wire((5.2, 2.0), (4.5, 2.0), (4.5, 0.9))
        _ground(sketch, (4.5, 0.9))
    else:
        sketch.wire((3.4, 2.0), (5.2, 2.0))
    for x, shown in ((3.0, number not in _CASE | _RELAY), (5.5, number not in _RELAY)):
        sketch.words((x, 2.0), "−" if shown else "", align="center", size=22)
    return sketch.svg()


def _box(sketch: wiring.Sketch, left: float, name: str, kind: str) -> None:
    sketch.wire((left, 1.0), (left, 4.4), (left + 3.2, 4.4), (left + 3.2, 1.0), (left, 1.0))
    sketch.words((left + 1.6, 3.8), name, align="center", size=17)
    sketch.words((left + 1.6, 3.0), kind, align="center", size=17)


def _feed(sketch: wiring.Sketch, number: int, two: bool) -> None:
    """R and C of the actuator: from the same secondary, exchanged or not, or from its own."""
    top, bottom = (5.8, 0.0) if number not in _SWAPPED else (0.0, 5.8)
    if not two:
        sketch.wire((1.9, 5.8), (6.0, 5.8))
        sketch.wire((1.9, 0.0), (6.0, 0.0))
    if number in _SWAPPED:
        sketch.wire((6.0, 5.8), (8.8, 5.8), (8.8, 0.5), (7.2, 0.5), (7.2, 1.0))
        sketch.wire((6.0, 0.0), (9.4, 0.0), (9.4, 5.2), (7.2, 5.2), (7.2, 4.4))
    elif not two:
        sketch.wire((6.0, top), (7.2, top), (7.2, 4.4))
        sketch.wire((6.0, bottom), (7.2, bottom), (7.2, 1.0))
    else:
        sketch.part("Inductor", (9.3, 1.7), (9.3, 3.7), loops=7)
        sketch.wire((9.3, 3.7), (9.3, 5.8), (7.2, 5.8), (7.2, 4.4))
        sketch.wire((9.3, 1.7), (9.3, 0.0), (7.2, 0.0), (7.2, 1.0))
        if number not in _FLOATING:
            _ground(sketch, (9.3, 0.0))
    for at, letter in (((0.0, 5.3), "R"), ((0.0, 0.5), "C")):
        sketch.words(at, letter, align="center", size=19)

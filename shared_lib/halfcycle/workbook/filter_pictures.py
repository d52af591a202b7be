"""Pictures of lesson 07: a filter in each place, spikes before and after, the eight places as cards, the four boxes.

Pictures show themselves in a notebook, each with the same content in words.
"""

from functools import lru_cache
from html import escape

import numpy as np

from .. import wiring
from ..amounts import amount
from ..benches import spikes as bench
from ..instruments import true_rms
from ..scope import Level, Point, Trace, scope_svg
from ..showing import quantity, show
from ..waveforms import Waveform
from .claim_test import HALF, Box, boxes, capture, highest
from .filter_places import Bus, probed, supply_of
from .page import show_pair, table

__all__ = ["CARDS", "before_and_after", "box_pictures", "compare", "place_cards", "place_picture", "snubbed_picture"]

CARDS = (
    "A diode and a capacitor in the actuator's own feed.",
    "A resistor and a capacitor in series, across R and C in the panel, at the transformer's secondary.",
    "A resistor and a capacitor in series, across R and C at the actuator's terminals.",
    "A choke in R and a capacitor to C, just ahead of the thermostat.",
    "A line filter (choke and capacitor) in the 120 V lead of the transformer.",
    "A capacitor across the 120 V terminals of the transformer.",
    "A box just ahead of the thermostat that carries the supply straight through.",
    "A choke in R and a capacitor to C, just ahead of the humidifier control.",
)
_MIXED = (
    "One capture is yours and the other is the lesson's: together they prove nothing. Give the names of both files."
)
_NEAR_S = (3e-6, 22e-6)  # shown before and after the top of the highest spike
_HALF_CYCLE_S = 8.2e-3
_LINE, _HUMIDIFIER, _ACTUATOR, _THERMOSTAT = -1.0, 3.4, 6.0, 8.6  # where things stand on a card, x
_RAIL, _DOOR = 4.9, 2.2  # height of the bus on a card, and of the devices' upper edge


def place_picture(bus: Bus, place: str, *, ohm: float = 0.0, farad: float = 0.0, henry: float = 0.0) -> None:
    """Show the wiring with a filter in `place`, and the actuator's half cycle at the bus and at the thermostat."""
    before, after = probed(bus), probed(bus, place, ohm, farad, henry)
    settings = bench.Settings(
        place=place, filter_ohm=ohm, filter_farad=farad, filter_henry=henry, bus_load_ohm=bus.load_ohm,
        source=_winding(bus), store_volts=bus.store_volts, pulses_per_cycle=bus.pulses_per_cycle,
    )  # fmt: skip
    drawn = bench.wiring_picture(settings)
    traces, levels = [Trace(_half(before.bus), "spike", "Bus before")], [_top("before", before.bus)]
    if place != "none":
        traces.append(Trace(_half(after.bus), "load", "Bus after"))
        levels.append(_top("with it", after.bus))
    if place == "lc":
        traces.append(Trace(_half(after.thermostat), "other", "Thermostat"))
    words = (
        f"{drawn.words} Highest at the bus: {_volts(before.top_volts)} before the filter, {_volts(after.top_volts)} with it; "
        f"highest at the thermostat {_volts(float(after.thermostat.values.max()))}; the thermostat's true rms "
        f"{amount(true_rms(after.thermostat), 'V')}."
    )
    show_pair(drawn.svg(), scope_svg(traces, levels, title="Scope picture of the actuator's half cycle"), words)


def snubbed_picture(bus: Bus, ohm: float, farad: float) -> None:
    """Show the highest spike close up, before and after a snubber, with what a scope's cursors read on it."""
    before, after = probed(bus), probed(bus, "snubber", ohm, farad)
    settings = bench.Settings(
        place="snubber", filter_ohm=ohm, filter_farad=farad, bus_load_ohm=bus.load_ohm, source=_winding(bus),
        store_volts=bus.store_volts, pulses_per_cycle=bus.pulses_per_cycle,
    )  # fmt: skip
    drawn = bench.wiring_picture(settings)
    traces = [
        Trace(_near(before.bus, before.at_s), "spike", "Bus before"),
        Trace(_near(after.bus, after.at_s), "load", "Bus after"),
        Trace(_near(before.quiet, before.at_s), "supply", "At rest"),
    ]
    points = [Point(0.0, probe.top_volts, _volts(probe.top_volts)) for probe in (before, after)]
    points.append(Level(before.wave_volts, f"wave {_volts(before.wave_volts)}"))
    rows = [
        ("top of the spike, before (from zero)", _volts(before.top_volts)),
        ("top of the spike, after (from zero)", _volts(after.top_volts)),
        ("the wave itself at that instant", _volts(before.wave_volts)),
    ]
    words = f"{drawn.words} " + "; ".join(": ".join(row) for row in rows) + "."
    show_pair(
        drawn.svg(), scope_svg(traces, points, title="Scope picture of one spike, before and after, close up"), words
    )
    table("What the scope's cursors read", ("", "volts"), rows)


def place_cards() -> None:
    """Show the eight places as cards; none says whether it calms the bus."""
    figures = "".join(
        f'<figure style="flex:0 1 20em;margin:0"><figcaption style="padding:0.3em 0"><b>Card {number}.</b> {escape(words)}'
        f"</figcaption>{wiring.filled(_card(number), f'Card {number}. {words}', {})}</figure>"
        for number, words in enumerate(CARDS, start=1)
    )
    text = "\n".join(f"Card {number}. {words}" for number, words in enumerate(CARDS, start=1))
    show(text, f'<div style="display:flex;flex-wrap:wrap;gap:1em;max-width:72em">{figures}</div>')


def box_pictures(circuit) -> None:
    """Show what was captured before and after each of the learner's four boxes, at the bus and at the thermostat."""
    for box in boxes(circuit):
        _box_picture(box, f"{sorted(circuit.values().items())}")


def before_and_after(bus: Bus, place: str, name: str, **parts: float) -> tuple[Waveform, Waveform]:
    """Captures of the bus before and after a filter, as the course's scope records them; `name` gives their noise.

    >>> before, after = before_and_after(Bus(75, 150), "straight", "a doctest")
    >>> round(float(before.values.max() / after.values.max()), 2)
    1.0
    """
    probes = probed(bus), probed(bus, place, **parts)
    return tuple(capture(probe.bus, f"{name} {when}") for probe, when in zip(probes, ("before", "after"), strict=True))


def compare(before: Waveform, after: Waveform, *, mixed: bool = False) -> None:
    """Show two captures over each other, and how much of the highest spike is left, in per cent and decibels.

    `mixed` says that they are not of one bus, so that they prove nothing.
    """
    found = [highest(wave) for wave in (before, after)]
    rows = [
        (when, _volts(one.top_volts), "under 5 V" if one.height_volts is None else _volts(one.height_volts))
        for when, one in zip(("before", "after"), found, strict=True)
    ]
    scope = _scope(before, after, "Scope picture of two captures, before and after")
    verdict = _MIXED if mixed else _verdict(*(one.height_volts for one in found))
    text = "Before and after. " + "; ".join(f"{when}: top {top}, {high} above the wave" for when, top, high in rows)
    show(f"{text}. {verdict}", f'<div style="max-width:44em">{scope}</div>')
    table("The highest spike of each capture", ("", "top, from zero", "height above the wave"), rows)
    show(verdict, f"<p>{escape(verdict)}</p>")


def _verdict(before: float | None, after: float | None) -> str:
    if before is None:
        return "The capture before shows no spike of 5 V or more: nothing can be proved with it. Was the actuator charging?"
    if after is None:
        return f"Nothing of 5 V or more is left: at most {100 * 5 / before:.0f} %, {_decibels(5 / before)} or lower."
    left = after / before
    holds = "at most half" if left <= HALF else "more than half"
    return f"Left: {100 * left:.1f} %, which is {_decibels(left)}. That is {holds} of the height."


def _decibels(ratio: float) -> str:
    return f"{20 * np.log10(ratio):+.1f} dB".replace("-", "−")


def _box_picture(box: Box, whose: str) -> None:
    loads = [quantity(ohm, "Ω") for ohm in (box.load_before_ohm, box.load_after_ohm)]
    head = f"Box {box.letter}. Other loads on the bus: {loads[0]} before, {loads[1]} after."
    wave = f"The wave itself where the highest spike stands: {_volts(box.before.wave_volts)}."
    drawn, words = [], []
    for place, waves in (
        ("bus", (box.before.bus, box.after.bus)),
        ("thermostat", (box.before.thermostat, box.after.thermostat)),
    ):
        captured = [capture(wave, f"{whose} {box.letter} {place} {k}") for k, wave in enumerate(waves)]
        drawn.append(_scope(*captured, f"Scope picture of box {box.letter} at the {place}"))
        tops = [_volts(float(wave.values.max())) for wave in captured]
        words.append(f"Highest at the {place}: {tops[0]} before, {tops[1]} after.")
    sides = "".join(
        f'<figure style="flex:1 1 22em;min-width:0;margin:0"><figcaption><b>At the {place}</b></figcaption>{svg}</figure>'
        for place, svg in zip(("bus", "thermostat"), drawn, strict=True)
    )
    show(
        " ".join([head, *words, wave]),
        f'<p style="margin:1em 0 0.3em"><b>{escape(head)}</b> {escape(wave)}</p>'
        f'<div style="display:flex;flex-wrap:wrap;gap:0.5em;max-width:72em">{sides}</div>',
    )


def _scope(before: Waveform, after: Waveform, title: str) -> str:
    traces = [Trace(before, "spike", "Before"), Trace(after, "load", "After")]
    return scope_svg(traces, [_top("before", before), _top("after", after)], title=title)


def _top(when: str, wave: Waveform) -> Level:
    highest_volts = float(wave.values.max())
    return Level(highest_volts, f"{when} {_volts(highest_volts)}")


def _winding(bus: Bus) -> bench.Winding:
    supply = supply_of(bus)
    return bench.Winding(bus.volt_amperes, supply.volts_rms, supply.resistance_ohm, supply.leakage_henry)


def _volts(value: float) -> str:
    return amount(value, "V", 4 if abs(value) >= 100 else 3)


def _half(wave: Waveform) -> Waveform:
    return wave.slice(0.0, _HALF_CYCLE_S)


def _near(wave: Waveform, at_s: float) -> Waveform:
    part = wave.slice(at_s - _NEAR_S[0], at_s + _NEAR_S[1])
    return Waveform(part.seconds - at_s, part.values, wave.unit)


@lru_cache(maxsize=8)
def _card(number: int) -> str:
    """A card as one line a pair of conductors: line, transformer, bus, and three devices under it; the filter drawn thick."""
    sketch = wiring.Sketch()
    _block(sketch, (-0.3, _RAIL - 0.8), (2.2, _RAIL + 0.8), ("transformer",))
    sketch.wire((2.2, _RAIL), (_THERMOSTAT, _RAIL))
    sketch.words((3.0, _RAIL + 0.5), "the bus, 24 V", size=16)
    for x, name in ((_HUMIDIFIER, "humidifier"), (_ACTUATOR, "actuator"), (_THERMOSTAT, "thermostat")):
        _block(sketch, (x - 1.25, 0.6), (x + 1.25, _DOOR), (name,))
    _line_side(sketch, number)
    _branch(sketch, _HUMIDIFIER, "choke, capacitor" if number == 8 else "")
    _branch(sketch, _ACTUATOR, "diode, capacitor" if number == 1 else "")
    _branch(sketch, _THERMOSTAT, {4: "choke, capacitor", 7: "the box"}.get(number, ""))
    if number == 2:
        sketch.dot((2.6, _RAIL))
        sketch.wire((2.6, _RAIL), (2.6, 3.7))
        _block(sketch, (0.8, 2.4), (2.9, 3.7), ("R and C", "in series"), thick=True)
    if number == 3:
        sketch.dot((_ACTUATOR, 3.4))
        sketch.wire((_ACTUATOR, 3.4), (6.3, 3.4))
        _block(sketch, (6.3, 2.7), (8.3, 4.1), ("R and C", "in series"), thick=True)
    return sketch.svg()


def _line_side(sketch: wiring.Sketch, number: int) -> None:
    sketch.wire((_LINE, 2.6 if number in (5, 6) else 3.4), (_LINE, _RAIL), (-0.3, _RAIL))
    sketch.words((_LINE - 0.6, _RAIL + 1.3), "120 V line", size=16)
    if number in (5, 6):
        words = ("line", "filter") if number == 5 else ("capacitor",)
        _block(sketch, (_LINE - 0.5, 1.2), (_LINE + 1.7, 2.6), words, thick=True)
    if number == 5:
        sketch.wire((_LINE, 0.2), (_LINE, 1.2))


def _branch(sketch: wiring.Sketch, x: float, filter_words: str) -> None:
    """From the bus down to a device, through a filter where one has words."""
    sketch.dot((x, _RAIL))
    if not filter_words:
        sketch.wire((x, _RAIL), (x, _DOOR))
        return
    sketch.wire((x, _RAIL), (x, 4.2))
    _block(sketch, (x - 1.2, 2.8), (x + 1.2, 4.2), tuple(filter_words.split(", ")), thick=True)
    sketch.wire((x, 2.8), (x, _DOOR))


def _block(sketch: wiring.Sketch, low, high, lines: tuple[str, ...], *, thick: bool = False) -> None:
    (left, bottom), (right, top) = low, high
    state = wiring.CONDUCTING if thick else wiring.IDLE
    sketch.wire((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom), state=state)
    middle = (bottom + top) / 2
    for step, words in enumerate(lines):
        y = middle + 0.22 * (len(lines) - 1) - 0.6 * step
        sketch.words(((left + right) / 2 - 0.12, y), words, align="center", size=13)

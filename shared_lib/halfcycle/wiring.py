"""Wiring pictures that show which path conducts, drawn once per state and kept; as SVG, or on a page to print.

Symbols are those of IEC 60617 / IEEE 315 as the schematic library draws them. What carries current is drawn thick in the
colour of current; what blocks is dashed; what is broken is dotted. Words such as "330 Ω" are put in afterwards, so that a
new value needs no new drawing.

Coordinates are grid units, x to the right and y upwards.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape
from itertools import pairwise
from types import MappingProxyType

from .scope import COLOURS, INK, PAPER

__all__ = [
    "BLOCKING",
    "BROKEN",
    "CONDUCTING",
    "EDGES",
    "IDLE",
    "TOP",
    "Picture",
    "Sketch",
    "bridge",
    "filled",
    "half_wave",
    "run_of_wire",
    "transformer",
]

CONDUCTING, BLOCKING, IDLE, BROKEN = "conducting", "blocking", "idle", "broken"
_GREY = "#4d5a63"
_LINES = {
    CONDUCTING: {"color": COLOURS["current"].colour, "lw": 4.0, "ls": "-"},
    BLOCKING: {"color": _GREY, "lw": 2.0, "ls": "--"},
    IDLE: {"color": INK, "lw": 2.0, "ls": "-"},
    BROKEN: {"color": _GREY, "lw": 2.0, "ls": ":"},
}
_OPEN_LINES = re.compile(
    r'<(path) d="([^"]*)" style="([^"]*fill:none[^"]*)" ?/>|<(polygon) points="([^"]*)" style="([^"]*fill:none[^"]*)" ?/>'
)
_WORDS = re.compile(
    r'<text x="[^"]*" y="([^"]*)" ([^>]*?) *>\s*<tspan x="([^"]*)" dy="([^"]*)">([^<]*)</tspan>\s*</text>'
)
_NEEDLESS_DIGITS = re.compile(r"(\.\d\d)\d+")
_UNIT = 36.0  # picture units in a grid unit
_FONT = 15
EDGES = (-1.7, -1.4, 9.9, 6.9)  # left, bottom, right, top of every picture, grid units
TOP = 5.4  # height of the upper rail; the lower one is at 0


class Sketch:
    """One drawing under way: parts and wires between points, each in a live state.

    Without a canvas it becomes an SVG in which `@name@` holds a place for a value. On a canvas (axes of a page to print)
    it is drawn in black, with `values` put in at once.
    """

    def __init__(self, canvas=None, values: Mapping[str, str] = MappingProxyType({})):
        import schemdraw  # here and not above: it loads slowly, and a lesson without a bench does without

        self.elements = schemdraw.elements
        self.values, self.black = values, canvas is not None
        self.drawing = schemdraw.Drawing(canvas=canvas or "svg", show=False)
        self.drawing.config(fontsize=_FONT if canvas is None else 9, font="sans-serif", color=self._line(IDLE)["color"])

    def _line(self, state: str) -> dict:
        line = _LINES[state]
        return {**line, "color": "black", "lw": line["lw"] * 0.6} if self.black else line

    def wire(self, *points: tuple[float, float], state: str = IDLE) -> None:
        """Straight wires from point to point."""
        for begin, end in pairwise(points):
            self.drawing += self.elements.Line().at(begin).to(end).style(**self._line(state))

    def part(self, symbol: str, begin, end, state: str = IDLE, **options) -> None:
        """A part with two ends, called as the schematic library calls it."""
        self.drawing += getattr(self.elements, symbol)(**options).at(begin).to(end).style(**self._line(state))

    def dot(self, at, state: str = IDLE, *, open: bool = False) -> None:
        self.drawing += self.elements.Dot(open=open, radius=0.1).at(at).color(self._line(state)["color"])

    def words(self, at, text: str, *, align: str = "left", size: float = _FONT) -> None:
        """Text beside a point; `@name@` in it is a place for a value."""
        for name, value in self.values.items():
            text = text.replace(f"@{name}@", value)
        size = size * 0.6 if self.black else size
        self.drawing += (
            self.elements.Label().theta(0).at(at).label(text, halign=align, valign="center", fontsize=size, ofst=0)
        )

    def svg(self) -> str:
        """The drawing as an SVG of the size that all wiring pictures share."""
        raw = self.drawing.get_imagedata("svg").decode()
        inside = raw[raw.index(">") + 1 : raw.rindex("</svg>")]
        inside = inside.replace("stroke-dasharray:-;", "").replace('font-family="sans"', "")
        left, bottom, right, top = EDGES
        box = f"{left * _UNIT:g} {-top * _UNIT:g} {(right - left) * _UNIT:g} {(top - bottom) * _UNIT:g}"
        x, y, wide, high = box.split()
        return (
            f'<svg class="hc-wiring" viewBox="{box}" xmlns="http://www.w3.org/2000/svg" role="img" aria-label="@words@" '
            f'font-family="inherit"><rect x="{x}" y="{y}" width="{wide}" height="{high}" rx="6" fill="{PAPER}"/>'
            f"{_few_elements(inside)}</svg>"
        )


def _few_elements(drawn: str) -> str:
    """The same drawing with all open lines of one style, and all words of one, in one element, which paints sooner."""
    lines: dict[str, list[str]] = {}
    words: dict[str, list[str]] = {}

    def line(element: re.Match) -> str:
        kind, places, style = (one for one in element.groups() if one is not None)
        lines.setdefault(style, []).append(places if kind == "path" else f"M {places.strip()} Z")
        return ""

    def word(element: re.Match) -> str:
        top, style, x, below, text = element.groups()
        words.setdefault(style, []).append(f'<tspan x="{x}" y="{float(top) + float(below):g}">{text}</tspan>')
        return ""

    rest = _WORDS.sub(word, _OPEN_LINES.sub(line, _NEEDLESS_DIGITS.sub(r"\1", drawn)))
    drawn_lines = "".join(f'<path d="{" ".join(places)}" style="{style}"/>' for style, places in lines.items())
    return drawn_lines + rest + "".join(f"<text {style}>{''.join(spans)}</text>" for style, spans in words.items())


@dataclass(frozen=True)
class Picture:
    """What a wiring picture shows: `drawing(sketch, *parts)`, the states of its parts, the values at them, the whole in words."""

    drawing: Callable[..., None]
    parts: tuple
    values: Mapping[str, str] = field(compare=False)
    words: str

    def svg(self) -> str:
        """The picture as SVG with its text alternative; only its first drawing in a state takes time."""
        return filled(_template(self.drawing, self.parts), self.words, self.values)

    __str__ = _repr_html_ = svg

    def draw_on(self, canvas) -> None:
        """Draw the picture in black on matplotlib axes."""
        sketch = Sketch(canvas, self.values)
        self.drawing(sketch, *self.parts)
        sketch.drawing.draw(show=False)


def filled(template: str, words: str, values: Mapping[str, str]) -> str:
    """Put the text alternative and the values into the SVG of a sketch."""
    texts, pieces = {"words": words, **values}, template.split("@")
    pieces[1::2] = [escape(texts[name], quote=True) for name in pieces[1::2]]
    return "".join(pieces)


@lru_cache(maxsize=128)
def _template(drawing: Callable[..., None], parts: tuple) -> str:
    sketch = Sketch()
    drawing(sketch, *parts)
    return sketch.svg()


def half_wave(
    words: str, values: Mapping[str, str], *, diode: str, capacitor: str, load: str, reversed_diode: bool = False
) -> Picture:
    """One diode, a capacitor or none (state ""), a load; each in its state.

    Values: line, supply, diode, diode_does, capacitor, load.
    """
    return Picture(_half_wave, (diode, capacitor, load, reversed_diode), values, words)


def bridge(
    words: str,
    values: Mapping[str, str],
    *,
    diodes: tuple[str, ...],
    capacitor: str,
    load: str,
    reversed_diode: bool = False,
) -> Picture:
    """Four diodes, `diodes` the states of D1 to D4. Values: line, supply, capacitor, load."""
    return Picture(_bridge, (tuple(diodes), capacitor, load, reversed_diode), values, words)


def run_of_wire(words: str, values: Mapping[str, str], *, pulled_in: bool, actuators: bool) -> Picture:
    """A transformer, a run of two conductors, a relay with its contact, and actuators or none at the far end.

    Values: line, supply, near, out, back, far, coil, contact, actuators.
    """
    return Picture(_run_of_wire, (pulled_in, actuators), values, words)


def _half_wave(sketch: Sketch, diode: str, capacitor: str, load: str, reversed_diode: bool) -> None:
    path = CONDUCTING if diode == CONDUCTING else IDLE
    transformer(sketch, 2.7, path)
    sketch.wire((1.3, 3.7), (1.3, TOP), (2.2, TOP), state=path)
    sketch.wire((1.3, 1.7), (1.3, 0.0), (6.0, 0.0), state=path)
    ends = ((2.2, TOP), (4.4, TOP))
    sketch.part("Diode", *(reversed(ends) if reversed_diode else ends), state=diode)
    sketch.words((3.3, TOP + 0.75), "@diode@", align="center")
    sketch.words((3.3, TOP - 0.8), "@diode_does@", align="center", size=14)
    sketch.wire((4.4, TOP), (6.0, TOP), state=path)
    _capacitor_and_load(sketch, 6.0, (0.0, TOP), capacitor, load)


def _bridge(sketch: Sketch, diodes: tuple[str, ...], capacitor: str, load: str, reversed_diode: bool) -> None:
    one, two, three, four = (state if state == CONDUCTING else IDLE for state in diodes)
    upper, lower = (CONDUCTING if CONDUCTING in pair else IDLE for pair in ((one, three), (two, four)))
    transformer(sketch, 2.7, upper)
    sketch.wire((1.3, 3.7), (2.7, 3.7), state=upper)
    sketch.wire((1.3, 1.7), (2.0, 1.7), (2.0, 2.6), (2.55, 2.6), state=lower)
    sketch.wire((2.85, 2.6), (4.6, 2.6), state=lower)  # passes the first leg without touching it
    _leg(sketch, 2.7, 3.7, 1.9, diodes[0::2], ("D1", "D3"), flipped=reversed_diode)
    _leg(sketch, 4.6, 2.6, 2.6, diodes[1::2], ("D2", "D4"))
    feeds = CONDUCTING if CONDUCTING in diodes and CONDUCTING in (load, capacitor) else IDLE
    for y, first in ((TOP, one), (0.0, three)):
        sketch.wire((2.7, y), (4.6, y), state=first)
        sketch.wire((4.6, y), (6.2, y), state=feeds)
    _capacitor_and_load(sketch, 6.2, (0.0, TOP), capacitor, load)


def _leg(
    sketch: Sketch, x: float, middle: float, below: float, states: tuple[str, ...], names: tuple[str, ...], **turn: bool
) -> None:
    """Two diodes from the lower rail through the leg's middle to the upper rail; the lower one ends at `below`."""
    up, down = states
    ends = ((x, middle), (x, TOP))
    sketch.part("Diode", *(reversed(ends) if turn.get("flipped") else ends), state=up)
    sketch.part("Diode", (x, 0.0), (x, below), state=down)
    if below != middle:
        sketch.wire((x, below), (x, middle), state=down)
    sketch.words((x + 0.4, (middle + TOP) / 2), names[0])
    sketch.words((x + 0.4, below / 2), names[1])
    sketch.dot((x, middle), CONDUCTING if CONDUCTING in states else IDLE)


def transformer(sketch: Sketch, middle: float, state: str) -> None:
    """Primary, core and secondary; the secondary's ends are at x = 1.3, one above and one below `middle`."""
    sketch.part("Inductor", (0.0, middle + 1), (0.0, middle - 1), loops=7)
    sketch.wire((-0.9, middle + 1), (0.0, middle + 1))
    sketch.wire((-0.9, middle - 1), (0.0, middle - 1))
    for x in (0.55, 0.75):
        sketch.wire((x, middle - 0.9), (x, middle + 0.9))
    sketch.part("Inductor", (1.3, middle - 1), (1.3, middle + 1), state=state, loops=7)
    sketch.words((-1.0, middle), "@line@", align="center", size=14)
    sketch.words((1.0, middle - 1.55), "@supply@", align="right")


def _capacitor_and_load(sketch: Sketch, x: float, rails: tuple[float, float], capacitor: str, load: str) -> None:
    bottom, top = rails
    load_x, middle = x + 2.0, (top + bottom) / 2
    if capacitor:
        _capacitor(sketch, x, bottom, top, capacitor)
        sketch.words((x + 0.2, middle - 1.4), "@capacitor@", size=14)
    for y in rails:
        sketch.wire((x, y), (load_x, y), state=CONDUCTING if load == CONDUCTING else IDLE)
    sketch.part("ResistorIEC", (load_x, top), (load_x, bottom), state=load)
    sketch.words((load_x + 0.3, middle), "@load@")


def _capacitor(sketch: Sketch, x: float, bottom: float, top: float, state: str) -> None:
    """A capacitor between the rails; a broken one has a gap in its lead."""
    lead = CONDUCTING if state == CONDUCTING else IDLE
    middle, gap = (top + bottom) / 2, (0.8 if state == BROKEN else 0.0)
    sketch.part("Capacitor", (x, middle + 0.6), (x, middle - 0.6), state=state)
    sketch.wire((x, top), (x, middle + 0.6 + gap), state=lead)
    sketch.wire((x, middle - 0.6), (x, bottom), state=lead)
    for y in (top, bottom):
        sketch.dot((x, y), lead)
    for y in (middle + 0.6 + gap, middle + 0.6) if gap else ():
        sketch.dot((x, y), open=True)
    sketch.words((x - 0.35, middle + 0.4), "+", align="right")


def _run_of_wire(sketch: Sketch, pulled_in: bool, actuators: bool) -> None:
    transformer(sketch, 2.7, CONDUCTING)
    for y, secondary, name, letter in ((TOP, 3.7, "@out@", "R"), (0.0, 1.7, "@back@", "C")):
        sketch.wire((1.3, secondary), (1.3, y), (2.2, y), state=CONDUCTING)
        sketch.part("ResistorIEC", (2.2, y), (4.4, y), state=CONDUCTING)
        sketch.wire((4.4, y), (5.4, y), state=CONDUCTING)
        sketch.words((3.3, y + 0.6), name, align="center", size=14)
        sketch.dot((1.75, y), CONDUCTING)
        sketch.words((1.75, y + 0.5), letter, align="center")
    sketch.words((1.75, 2.7), "@near@", size=14)
    sketch.words((4.9, 2.7), "@far@", align="right", size=14)
    _relay(sketch, 5.4, pulled_in)
    if actuators:
        for y in (TOP, 0.0):
            sketch.wire((5.4, y), (8.4, y), state=CONDUCTING)
        sketch.part("RBox", (8.4, TOP), (8.4, 0.0), state=CONDUCTING)
        sketch.words((8.4, -0.6), "@actuators@", align="center", size=14)


def _relay(sketch: Sketch, x: float, pulled_in: bool) -> None:
    """The coil as a box across the run; dashes join it to the contact that it moves."""
    sketch.part("RBox", (x, TOP), (x, 0.0), state=CONDUCTING)
    sketch.words((x, -0.6), "@coil@", align="center", size=14)
    contact_x = x + 1.5
    sketch.wire((x + 0.35, 2.7), (contact_x + (0.0 if pulled_in else 0.3), 2.7), state=BLOCKING)
    for low, high in ((1.5, 2.0), (3.4, 3.9)):
        sketch.wire((contact_x, low), (contact_x, high))
    sketch.wire((contact_x, 2.0), (contact_x + (0.0 if pulled_in else 0.6), 3.4))
    for y in (2.0, 3.4):
        sketch.dot((contact_x, y), open=True)
    sketch.words((contact_x, 4.35), "contact", align="center", size=14)
    sketch.words((contact_x, 1.0), "@contact@", align="center", size=14)

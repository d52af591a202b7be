"""The live scope picture: waveforms drawn as one SVG that carries its own text alternative.

A record of any length is reduced to what the picture can show: in every column one pixel wide the first, least, greatest
and last sample stay, so neither a spike of two microseconds nor the end of the trace is lost.

Volts are drawn in the upper panel and amperes in a lower one, over one time axis. Every quantity has its colour
everywhere in the course (`COLOURS`), from the palette for colour-blind readers by Okabe and Ito (2008), and its own line.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

import numpy as np

from .amounts import amount, plain
from .waveforms import Waveform

__all__ = ["COLOURS", "INK", "PAPER", "Ink", "Level", "Point", "Span", "Trace", "decimate", "nice_ticks", "scope_svg"]

_TIMES = ((1e-3, "µs", 1e6), (1.0, "ms", 1e3), (float("inf"), "s", 1.0))
_NOISE = 1e-6  # V or A
_THINNINGS = 3
_AMPS = ((0.25e-3, "microamps", 1e6), (0.25, "milliamps", 1e3), (float("inf"), "amps", 1.0))  # by where an axis ends
PAPER, INK, RULE, SOFT = "#fffdf8", "#1d2a33", "#dcd8cd", "#4d5a63"


@dataclass(frozen=True)
class Ink:
    """How one quantity is drawn: colour, dashes of the SVG line (empty = solid), line width in picture units."""

    colour: str
    dashes: str = ""
    width: float = 2.5


COLOURS = {
    "supply": Ink("#0072B2", "9 5", 2.0),
    "load": Ink("#D55E00", "", 3.0),
    "current": Ink("#009E73", "", 2.0),
    "diode": Ink("#000000", "2 4", 2.0),
    "spike": Ink("#CC79A7", "12 3 2 3", 2.5),
    "other": Ink("#E69F00", "14 4", 2.5),
}


@dataclass(frozen=True)
class Trace:
    """One waveform (in V or A), the quantity that gives its ink, and its name in the legend."""

    wave: Waveform
    quantity: str
    label: str


@dataclass(frozen=True)
class Level:
    """A horizontal marker: a mean, a peak. `value` is in the unit of its panel."""

    value: float
    label: str
    unit: str = "V"


@dataclass(frozen=True)
class Span:
    """A bracket between two values: a ripple, a height."""

    low: float
    high: float
    label: str
    unit: str = "V"


@dataclass(frozen=True)
class Point:
    """A marker at one place: a spike, an instant."""

    seconds: float
    value: float
    label: str
    unit: str = "V"


@dataclass(frozen=True)
class _Panel:
    """Where one unit's axes stand on the picture, and the values marked on them from edge to edge."""

    unit: str
    left: float
    right: float
    top: float
    bottom: float
    begin_s: float
    end_s: float
    ticks: tuple[float, ...]

    def x(self, seconds):
        return self.left + (seconds - self.begin_s) / (self.end_s - self.begin_s) * (self.right - self.left)

    def y(self, value):
        low, high = self.ticks[0], self.ticks[-1]
        return self.bottom - (value - low) / (high - low) * (self.bottom - self.top)


def nice_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values (1, 2 or 5 times a power of ten apart) that cover `low` to `high`, at most about `most` of them.

    >>> nice_ticks(-34.0, 34.0)
    [-40.0, -20.0, 0.0, 20.0, 40.0]
    """
    if not high > low:
        low, high = low - 0.5, low + 0.5
    rough = (high - low) / max(1, most - 1)
    base = 10.0 ** floor(log10(rough))
    step = next(base * factor for factor in (1, 2, 5, 10) if base * factor >= rough * (1 - 1e-9))
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [float(round(step * k, 12)) for k in range(first, last + 1)]


def decimate(seconds: np.ndarray, values: np.ndarray, columns: int) -> np.ndarray:
    """Indices of the samples worth drawing: per column of time the first, least, greatest and last.

    Parameters
    ----------
    seconds, values : 1-D arrays of the same length, times never running backwards
    columns : number of columns (pixels) across the record

    Returns
    -------
    rising array of indices, at most 4 per column; always with the first and the last sample

    >>> kept = decimate(np.arange(1000.0), np.r_[np.zeros(555), 9.0, np.zeros(444)], 10)
    >>> len(kept), 555 in kept, 999 in kept
    (21, True, True)
    """
    return _kept(values, *_columns(seconds, columns))


def _columns(seconds: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Indices of the first and the last sample of every column of time that holds any."""
    edges = seconds[0] + np.arange(count) * ((seconds[-1] - seconds[0]) / count)
    first = _each_once(seconds.searchsorted(edges))
    return first, np.concatenate([first[1:], [seconds.size]]) - 1


def _kept(values: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Of each column its two ends, and where its least and its greatest value stand if they are beyond both."""
    begins, ends = values.take(first), values.take(last)
    dips = np.minimum.reduceat(values, first) < np.minimum(begins, ends)
    tops = np.maximum.reduceat(values, first) > np.maximum(begins, ends)
    inside = [a + int(values[a : b + 1].argmin()) for a, b in _spans(dips, first, last)]
    inside += [a + int(values[a : b + 1].argmax()) for a, b in _spans(tops, first, last)]
    every = np.concatenate([first, np.array(inside, dtype=int), last])
    every.sort()
    return _each_once(every)


def _spans(wanted: np.ndarray, first: np.ndarray, last: np.ndarray) -> Iterator[tuple[int, int]]:
    return zip(first[wanted].tolist(), last[wanted].tolist(), strict=True)


def _each_once(rising: np.ndarray) -> np.ndarray:
    """Rising indices without repetitions (numpy's own search for them takes several times as long)."""
    return rising[np.concatenate([[True], rising[1:] > rising[:-1]])]


def scope_svg(
    traces: Sequence[Trace],
    markers: Sequence[Level | Span | Point] = (),
    *,
    cursor_s: float | None = None,
    cursor_label: str = "",
    width: int = 500,
    height: int = 342,
    title: str = "Scope picture",
) -> str:
    """Draw waveforms as an SVG of `width` by `height` picture units that scales to whatever room it is given.

    Parameters
    ----------
    traces : volts and amperes in any mixture, all starting at one instant
    markers : levels, spans and points, each with the words that stand beside it
    cursor_s : instant (s) at which an upright line stands, or None
    title : how the text alternative begins

    Errors: ValueError where there is nothing to draw or a marker's unit has no trace.

    >>> scope_svg([Trace(Waveform.sine(volts_peak=34.0), "supply", "Supply")])[:22]
    '<svg class="hc-scope" '
    """
    panels = _panels(traces, width, height)
    if missing := {marker.unit for marker in markers} - set(panels):
        raise ValueError(f"no trace in {', '.join(sorted(missing))} for the marker to stand on")
    parts = [_legend(traces, panels)]
    parts += [_axes(panel, last=panel is list(panels.values())[-1]) for panel in panels.values()]
    parts += _lines(traces, panels)
    parts += [_markers([m for m in markers if m.unit == unit], panel) for unit, panel in panels.items()]
    if cursor_s is not None:
        parts.append(_cursor(cursor_s, cursor_label, list(panels.values())))
    words = escape(_words(title, traces, markers), quote=True)
    return (
        f'<svg class="hc-scope" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'aria-label="{words}" font-family="inherit" font-size="15" fill="{INK}">'
        f'<rect width="{width}" height="{height}" rx="6" fill="{PAPER}"/>{"".join(parts)}</svg>'
    )


def _panels(traces: Sequence[Trace], width: float, height: float) -> dict[str, _Panel]:
    units = [unit for unit in ("V", "A") if any(trace.wave.unit == unit for trace in traces)]
    if not units:
        raise ValueError("a scope picture needs at least one trace in V or A")
    begin = min(float(trace.wave.seconds[0]) for trace in traces)
    end = max(float(trace.wave.seconds[-1]) for trace in traces)
    top, bottom, gap = 44.0, height - 30.0, 26.0
    shares = {"V": 0.68, "A": 0.32} if len(units) == 2 else {units[0]: 1.0}
    room, panels = bottom - top - gap * (len(units) - 1), {}
    for unit in units:
        values = [trace.wave.values for trace in traces if trace.wave.unit == unit]
        ticks = nice_ticks(*_edges(values), 6 if shares[unit] > 0.5 else 4)
        edge = top + shares[unit] * room
        panels[unit] = _Panel(unit, 62.0, width - 134.0, top, edge, begin, end, tuple(ticks))
        top = edge + gap
    return panels


def _edges(values: Sequence[np.ndarray]) -> tuple[float, float]:
    """Least and greatest, zero included; a leakage too small to see makes no room for itself, nor does noise alone."""
    low, high = min(0.0, *(float(v.min()) for v in values)), max(0.0, *(float(v.max()) for v in values))
    unseen = max(1e-3 * (high - low), _NOISE)
    return (low if -low > unseen else 0.0), (high if high > unseen else 0.0)


def _legend(traces: Sequence[Trace], panels: dict[str, _Panel]) -> str:
    lines, words, left = [], [], next(iter(panels.values())).left
    for trace in traces:
        ink = COLOURS[trace.quantity]
        lines.append(
            f'<path d="M{left:.0f} 20h34" stroke="{ink.colour}" stroke-width="{ink.width + 1}" '
            f'stroke-dasharray="{ink.dashes}"/>'
        )
        words.append((left + 41, 25.0, escape(trace.label)))
        left += 62 + 7.6 * len(trace.label)
    return "".join(lines) + _texts(words)


def _texts(words: Sequence[tuple[float, float, str]], anchor: str = "start") -> str:
    """Words at their places, all in one element, which a browser lays out sooner than one for each."""
    spans = "".join(f'<tspan x="{x:.1f}" y="{y:.1f}">{text}</tspan>' for x, y, text in words)
    return f'<text text-anchor="{anchor}">{spans}</text>'


def _axes(panel: _Panel, *, last: bool) -> str:
    word, factor = _axis_words(panel)
    heights = [(value, panel.y(value)) for value in panel.ticks]
    lines = dict.fromkeys((RULE, SOFT), "")
    for value, y in heights:
        lines[RULE if value else SOFT] += f"M{panel.left:g} {y:.1f}H{panel.right:g}"
    middle = (panel.top + panel.bottom) / 2
    return (
        f'<path d="{lines[RULE]}" stroke="{RULE}"/><path d="{lines[SOFT]}" stroke="{SOFT}" stroke-width="1.6"/>'
        + _texts([(panel.left - 8, y + 5, _tick(value * factor)) for value, y in heights], "end")
        + f'<text transform="translate(13 {middle:.0f}) rotate(-90)" text-anchor="middle">{word}</text>'
        + (_time_axis(panel) if last else "")
    )


def _axis_words(panel: _Panel) -> tuple[str, float]:
    """What the axis is called, and what its values are multiplied by."""
    if panel.unit == "V":
        return "volts", 1.0
    end = max(abs(tick) for tick in panel.ticks)
    return next((word, factor) for below, word, factor in _AMPS if end < below)


def _time_axis(panel: _Panel) -> str:
    span = panel.end_s - panel.begin_s
    unit, factor = next((unit, factor) for below, unit, factor in _TIMES if span < below)
    values = [
        value
        for value in nice_ticks(panel.begin_s * factor, panel.end_s * factor, 8)
        if panel.begin_s * factor - 1e-9 <= value <= panel.end_s * factor + 1e-9
    ]
    places = [panel.x(value / factor) for value in values]
    marks = "".join(f"M{x:.1f} {panel.bottom:.1f}v6" for x in places)
    y = panel.bottom + 21
    words = [(x, y, _tick(value)) for x, value in zip(places, values, strict=True)]
    return f'<path d="{marks}" stroke="{SOFT}"/>{_texts(words, "middle")}<text x="{panel.right + 12:g}" y="{y:.1f}">{unit}</text>'


def _tick(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _lines(traces: Sequence[Trace], panels: dict[str, _Panel]) -> list[str]:
    """The traces as lines; those over the same instants share their columns."""
    columns, lines = {}, []
    for trace in traces:
        panel, seconds = panels[trace.wave.unit], trace.wave.seconds
        if id(seconds) not in columns:
            columns[id(seconds)] = _columns(seconds, int(panel.right - panel.left))
        lines.append(_line(trace, panel, _kept(trace.wave.values, *columns[id(seconds)])))
    return lines


def _line(trace: Trace, panel: _Panel, keep: np.ndarray) -> str:
    """One line; its points are whole tenths of a unit, which are the quickest to write."""
    ink, wave = COLOURS[trace.quantity], trace.wave
    points = np.array([panel.x(wave.seconds[keep]), panel.y(wave.values[keep])])
    tenths = np.rint(points * 10).astype(int)
    line = " ".join(map(str, _bends(tenths).ravel("F").tolist()))
    dashes = " ".join(str(10 * float(dash)) for dash in ink.dashes.split())
    return (
        f'<polyline class="hc-{trace.quantity}" transform="scale(.1)" points="{line}" fill="none" '
        f'stroke="{ink.colour}" stroke-width="{ink.width * 10:g}" stroke-dasharray="{dashes}" stroke-linejoin="round"/>'
    )


def _bends(points: np.ndarray) -> np.ndarray:
    """The points of a line without those that lie on it anyway, within a tenth of a pixel and between their neighbours.

    Both have the shape (2, points).
    """
    level = points[1, 1:] == points[1, :-1]
    keep = np.ones(points.shape[1], dtype=bool)
    np.logical_not(level[:-1] & level[1:], out=keep[1:-1])
    points = points.compress(keep, 1)
    for _ in range(_THINNINGS):  # asks every other one: whoever goes leaves both neighbours
        steps = points[:, 1:] - points[:, :-1]
        (x, y), (on_x, on_y) = steps[:, :-1:2], steps[:, 1::2]
        off = np.abs(x * on_y - y * on_x) > np.maximum(np.abs(x + on_x), np.abs(y + on_y))
        keep = np.ones(points.shape[1], dtype=bool)
        keep[1:-1:2] = off | (y * on_y < 0)
        points = points.compress(keep, 1)
    return points


def _markers(markers: Sequence[Level | Span | Point], panel: _Panel) -> str:
    """Marks on the panel, their words in the right margin, moved apart where they would lie on each other."""
    heights = [panel.y(_height(marker)) for marker in markers]
    labels = _apart([y + 5 for y in heights], 17.0, panel.top + 8, panel.bottom + 4)
    parts = []
    for marker, y, label_y in zip(markers, heights, labels, strict=True):
        parts.append(_mark(marker, panel))
        parts.append(
            f'<path d="M{panel.right + 12} {y:.1f}L{panel.right + 20} {label_y - 5:.1f}" stroke="{SOFT}"/>'
            f'<text x="{panel.right + 22}" y="{label_y:.1f}">{escape(marker.label)}</text>'
        )
    return "".join(parts)


def _height(marker: Level | Span | Point) -> float:
    return (marker.low + marker.high) / 2 if isinstance(marker, Span) else marker.value


def _mark(marker: Level | Span | Point, panel: _Panel) -> str:
    right = panel.right
    if isinstance(marker, Level):
        y = panel.y(marker.value)
        return (
            f'<path d="M{panel.left} {y:.1f}H{right + 12}" stroke="{INK}" stroke-dasharray="1 4" stroke-width="1.5"/>'
        )
    if isinstance(marker, Span):
        low, high, middle = (panel.y(v) for v in (marker.low, marker.high, (marker.low + marker.high) / 2))
        bracket = f"M{right + 2} {low:.1f}h5V{high:.1f}h-5M{right + 7} {middle:.1f}h5"
        return f'<path d="{bracket}" stroke="{INK}" fill="none" stroke-width="1.5"/>'
    x, y = panel.x(marker.seconds), panel.y(marker.value)
    return f'<path d="M{x:.1f} {y:.1f}H{right + 12}" stroke="{SOFT}"/>' + _dot(x, y)


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{PAPER}" stroke="{INK}" stroke-width="2"/>'


def _apart(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Heights near those wanted, at least `gap` apart and as far as possible between `low` and `high`.

    >>> _apart([100.0, 101.0, 300.0], 17.0, 0.0, 400.0)
    [100.0, 117.0, 300.0]
    """
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    placed, floor = dict(enumerate(wanted)), low
    for k in order:
        placed[k] = floor = max(wanted[k], floor)
        floor += gap
    ceiling = high
    for k in reversed(order):
        placed[k] = min(placed[k], ceiling)
        ceiling = placed[k] - gap
    return [placed[k] for k in range(len(wanted))]


def _cursor(cursor_s: float, label: str, panels: Sequence[_Panel]) -> str:
    x = panels[0].x(cursor_s)
    return (
        f'<path d="M{x:.1f} {panels[0].top}V{panels[-1].bottom}" stroke="{INK}" stroke-width="1.5"/>'
        f'<text x="{x:.1f}" y="{panels[0].top - 4}" text-anchor="middle" font-size="14">{escape(label)}</text>'
    )


def _words(title: str, traces: Sequence[Trace], markers: Sequence[Level | Span | Point]) -> str:
    """The text alternative: what is drawn, over what time, between which values, and every marker."""
    seconds = max(trace.wave.duration_s for trace in traces)
    said = [f"{title}, {amount(seconds, 's')} long"]
    for trace in traces:
        low, high = plain(float(trace.wave.values.min())), amount(float(trace.wave.values.max()), trace.wave.unit)
        said.append(f"{trace.label} from {low} to {high}")
    said += [marker.label for marker in markers]
    return ". ".join(said) + "."

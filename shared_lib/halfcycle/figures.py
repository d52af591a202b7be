"""Printed pictures: waveforms and wiring drawn by matplotlib, for notebooks and for paper. The only place that uses it.

On the screen a quantity has the colour it has on the benches; on paper it is black, told apart by its line.
"""

import base64
import io
from collections.abc import Sequence
from html import escape

from .amounts import amount, plain
from .scope import COLOURS, INK, Level, Point, Span, Trace
from .wiring import EDGES, Picture

__all__ = [
    "Level",
    "Page",
    "Point",
    "Printed",
    "Span",
    "Trace",
    "draw_waveforms",
    "draw_wiring",
    "figure_waveforms",
    "figure_wiring",
]

_UNITS = {"V": "volts", "A": "amperes"}


class Printed:
    """A finished figure: shows itself in a notebook with its text alternative, and can be saved."""

    def __init__(self, figure, words: str):
        self.figure, self.words = figure, words

    def png(self) -> bytes:
        """The figure as a PNG at twice the usual sharpness."""
        out = io.BytesIO()
        self.figure.savefig(out, format="png", dpi=160)
        return out.getvalue()

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.png()).decode()
        words = escape(self.words, quote=True)
        return f'<img alt="{words}" style="max-width:100%;width:44em" src="data:image/png;base64,{data}">'

    def __repr__(self) -> str:
        return self.words


class Page(Printed):
    """A sheet of paper, its measures in inches, written with words and pictures from the top."""

    def __init__(self, words: str, *, width_in: float = 8.5, height_in: float = 11.0):
        super().__init__(_new_figure(width_in, height_in), words)
        self.width_in, self.height_in = width_in, height_in

    def write(self, left_in: float, down_in: float, text: str, **look) -> None:
        """Text whose upper left corner is so far from the paper's."""
        at = (left_in / self.width_in, 1 - down_in / self.height_in)
        self.figure.text(*at, text, va="top", ha=look.pop("ha", "left"), **{"fontsize": 10.5, **look})

    def line(self, left_in: float, right_in: float, down_in: float, width: float = 0.8) -> None:
        from matplotlib.lines import Line2D

        y = 1 - down_in / self.height_in
        ends = [left_in / self.width_in, right_in / self.width_in]
        self.figure.add_artist(Line2D(ends, [y, y], color="black", lw=width))

    def axes(self, left_in: float, down_in: float, width_in: float, height_in: float):
        """Room for a picture."""
        left, bottom = left_in / self.width_in, 1 - (down_in + height_in) / self.height_in
        return self.figure.add_axes((left, bottom, width_in / self.width_in, height_in / self.height_in))

    def save(self, path, title: str) -> None:
        """Write the sheet as a PDF, with a title and without a date, so that the same sheet is the same file."""
        about = {"Title": title, "Subject": self.words, "CreationDate": None}
        self.figure.savefig(path, format="pdf", metadata=about)


def figure_waveforms(
    traces: Sequence[Trace], markers: Sequence[Level | Span | Point] = (), *, title: str = ""
) -> Printed:
    """A figure of waveforms in V and A over one time axis, with its markers.

    Parameters
    ----------
    traces : as for `halfcycle.scope.scope_svg`
    markers : levels, spans and points with their words
    title : heading, also how the text alternative begins

    >>> from halfcycle import Waveform
    >>> figure_waveforms([Trace(Waveform.sine(volts_peak=34.0), "supply", "Supply")], title="A sine")
    A sine. Supply from −34.0 to 34.0 V, 16.7 ms long.
    """
    units = _units(traces)
    figure = _new_figure(7.2, 2.6 + 1.0 * len(units))
    shares = [2, 1] if len(units) == 2 else [1]
    panels = figure.subplots(len(units), 1, sharex=True, squeeze=False, height_ratios=shares)[:, 0]
    draw_waveforms(dict(zip(units, panels, strict=True)), traces, markers)
    if title:
        panels[0].set_title(title, loc="left", fontsize=12, color=INK, pad=24)
    figure.set_layout_engine("constrained")
    return Printed(figure, _words(title, traces, markers))


def figure_wiring(picture: Picture) -> Printed:
    """A wiring picture in black, as it is printed.

    >>> from halfcycle import wiring
    >>> figure_wiring(wiring.half_wave("One diode.", {}, diode="blocking", capacitor="", load="idle"))
    One diode.
    """
    figure = _new_figure(5.0, 5.0 * (EDGES[3] - EDGES[1]) / (EDGES[2] - EDGES[0]))
    draw_wiring(figure.add_axes((0, 0, 1, 1)), picture)
    return Printed(figure, picture.words)


def draw_wiring(axes, picture: Picture) -> None:
    """Draw a wiring picture in black on matplotlib axes."""
    picture.draw_on(axes)
    left, bottom, right, top = EDGES
    axes.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
    axes.axis("off")


def draw_waveforms(panels: dict, traces: Sequence[Trace], markers: Sequence = (), *, black: bool = False) -> None:
    """Draw waveforms on matplotlib axes, one for each unit, in their colours or in black."""
    for unit, axes in panels.items():
        for trace in traces:
            if trace.wave.unit == unit:
                _draw_trace(axes, trace, black)
        for marker in markers:
            if marker.unit == unit:
                _draw_marker(axes, marker)
        axes.set_ylabel(_UNITS[unit])
        axes.axhline(0, color="black", lw=0.6)
        axes.grid(color="0.85", lw=0.5)
        axes.spines[["top", "right"]].set_visible(False)
        axes.margins(x=0)
    first, *_, last = [*panels.values(), *panels.values()]
    last.set_xlabel("milliseconds")
    lines = [line for axes in panels.values() for line in axes.get_legend_handles_labels()[0]]
    first.legend(
        handles=lines,
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=3,
        frameon=False,
        fontsize="small",
        borderaxespad=0.2,
    )


def _draw_trace(axes, trace: Trace, black: bool) -> None:
    ink, wave = COLOURS[trace.quantity], trace.wave
    dashes = tuple(float(dash) / 2 for dash in ink.dashes.split())
    axes.plot(
        wave.seconds * 1e3,
        wave.values,
        color="black" if black else ink.colour,
        lw=ink.width * 0.6,
        dashes=dashes or (None, None),
        label=trace.label,
    )


def _draw_marker(axes, marker: Level | Span | Point) -> None:
    if isinstance(marker, Level):
        axes.axhline(marker.value, color="black", lw=0.8, dashes=(1, 3))
        at = marker.value
    elif isinstance(marker, Span):
        axes.axhspan(marker.low, marker.high, color="0.9", zorder=0)
        at = marker.low
    else:
        axes.plot(marker.seconds * 1e3, marker.value, "o", mfc="white", mec="black")
        at = marker.value
    height = "top" if isinstance(marker, Span) else "bottom"
    axes.annotate(
        marker.label,
        (1, at),
        xycoords=("axes fraction", "data"),
        ha="right",
        va=height,
        fontsize="small",
        color="black",
    )


def _new_figure(width_in: float, height_in: float):
    from matplotlib.figure import Figure  # by itself, without pyplot: nothing is left open, no window, no global state

    return Figure(figsize=(width_in, height_in))


def _units(traces: Sequence[Trace]) -> list[str]:
    units = [unit for unit in _UNITS if any(trace.wave.unit == unit for trace in traces)]
    if not units:
        raise ValueError("a figure needs at least one trace in V or A")
    return units


def _words(title: str, traces: Sequence[Trace], markers: Sequence) -> str:
    said = [title] if title else []
    for trace in traces:
        low, high = float(trace.wave.values.min()), float(trace.wave.values.max())
        length = amount(trace.wave.duration_s, "s")
        said.append(f"{trace.label} from {plain(low)} to {amount(high, trace.wave.unit)}, {length} long")
    said += [marker.label for marker in markers]
    return ". ".join(said).replace("\N{NO-BREAK SPACE}", " ") + "."

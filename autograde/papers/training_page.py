"""The training record as one page of PDF, on Letter or A4: for a file that an inspector or an employer opens."""

from __future__ import annotations

import io
from datetime import datetime

from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure

from autograde.papers.training import lines, summary
from autograde.roster import Learner

__all__ = ["PAPER", "page"]

PAPER = {"letter": (8.5, 11.0), "a4": (210 / 25.4, 297 / 25.4)}  # inches; ANSI/ASME Y14.1 and ISO 216
_HEADS = ("No.", "Lesson", "Handed in", "Hours", "Planned", "Points", "Result")
_AT = (0.0, 0.05, 0.42, 0.595, 0.68, 0.79, 0.81)  # where a column begins, or ends where it holds numbers
_RIGHT = {"Hours", "Planned", "Points"}
_MARGIN = 0.75
_RULE = (
    "Hours are those of the signed log, not the time of handing in. How many hours of related instruction a year of "
    "apprenticeship needs is\nset by the registered standards of the programme (29 CFR 29.5(b)(4) recommends at least 144; "
    "from memory). This record is no licence."
)


def page(learner: Learner, own: list, *, course: str, paper: str, at_least: float, now: datetime) -> bytes:
    """The record of ``learner`` (a list of `Standing`) as the bytes of a PDF of one page."""
    width, height = PAPER[paper]
    figure = Figure(figsize=(width, height))
    FigureCanvasPdf(figure)
    pen = _Pen(figure, width, height)
    pen.write(course, size=11, colour="#555555")
    pen.write("Training record: related instruction", size=18, down=0.36)
    pen.write(_short(learner.name, 60), size=14, down=0.34)
    told = " · ".join(
        filter(None, [f"id {learner.id}", learner.group and f"group {learner.group}", f"made {now:%Y-%m-%d}"])
    )
    pen.write(_short(told, 100), size=9.5, colour="#555555", down=0.26)
    _table(pen, lines(own, at_least))
    pen.write(summary(own, at_least), size=9.5, weight="bold", down=0.38)
    pen.write(
        f"Passed: at least {at_least:g} % of the points of a lesson, nothing left to be marked.", size=8.5, down=0.22
    )
    _signatures(pen)
    pen.foot(_RULE)
    out = io.BytesIO()
    about = {"Title": f"Training record of {learner.name}", "Subject": course, "CreationDate": now.replace(tzinfo=None)}
    figure.savefig(out, format="pdf", metadata=about)
    return out.getvalue()


class _Pen:
    """Writes downwards on a page; places are inches from the left margin and from the top."""

    def __init__(self, figure: Figure, width: float, height: float):
        self._figure, self._width, self._height, self._y = figure, width, height, _MARGIN

    @property
    def inches(self) -> float:
        """The width between the margins."""
        return self._width - 2 * _MARGIN

    def write(
        self, text: str, *, at: float = 0.0, down: float = 0.0, size: float = 9.5, align: str = "left", **style
    ) -> None:
        """``text`` at ``at`` (a share of the width), ``down`` inches lower than the last line."""
        self._y += down
        colour = style.pop("colour", "black")
        x = (_MARGIN + at * self.inches) / self._width
        text = text.replace("$", r"\$")
        self._figure.text(
            x, 1 - self._y / self._height, text, size=size, ha=align, va="baseline", color=colour, **style
        )

    def rule(self, *, below: float = 0.06, start: float = 0.0, end: float = 1.0, thick: float = 0.6) -> None:
        """A line across the page, ``below`` inches under what was written last."""
        from matplotlib.lines import Line2D

        xs = [(_MARGIN + share * self.inches) / self._width for share in (start, end)]
        y = 1 - (self._y + below) / self._height
        self._figure.add_artist(Line2D(xs, [y, y], color="black", linewidth=thick))

    def foot(self, text: str) -> None:
        """Small print at the bottom margin."""
        self._figure.text(_MARGIN / self._width, _MARGIN / self._height, text, size=7, color="#555555", va="bottom")


def _table(pen: _Pen, rows: list[list[str]]) -> None:
    step = min(0.26, 4.6 / max(1, len(rows)))
    _line(pen, _HEADS, down=0.42, weight="bold", size=8.5)
    pen.rule(thick=1.0)
    for number, title, day, spent, planned, points, most, result in rows:
        of = f"{points} / {most}" if most else "–"
        cells = (number, _short(title, 39), day or "–", spent or "–", planned, of, result)
        _line(pen, cells, down=step, size=min(8.2, 34 * step))
        pen.rule(thick=0.3)


def _line(pen: _Pen, cells, *, down: float, **style) -> None:
    for column, (name, at, text) in enumerate(zip(_HEADS, _AT, cells, strict=True)):
        pen.write(text, at=at, down=down if column == 0 else 0.0, align="right" if name in _RIGHT else "left", **style)


def _signatures(pen: _Pen) -> None:
    pen.write("", down=0.75)
    for start in (0.0, 0.54):
        pen.rule(start=start, end=start + 0.46)
    for start, who in ((0.0, "Instructor, date"), (0.54, "Apprentice, date")):
        pen.write(who, at=start, down=0.22 if start == 0 else 0.0, size=8.5, colour="#555555")


def _short(text: str, most: int) -> str:
    """``text``, or its beginning where there is no room for more.

    >>> _short("a long title", 6)
    'a lon…'
    """
    return text if len(text) <= most else f"{text[: most - 1]}…"

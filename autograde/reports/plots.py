"""The report's plots: small inline SVG with an axis each, and their numbers in words for those who cannot see them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from autograde.reports.pictures import COLOURS
from autograde.reports.statistics import Figure

__all__ = ["interval", "ratios", "strips"]

_LEFT, _WIDE, _STEP = 150, 700, 34
_MINUS = "−"


def _svg(width: float, height: float, label: str, body: str, name: str) -> str:
    return (
        f'<svg class="{name}" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{escape(label)}">'
        f"<title>{escape(label)}</title>{body}</svg>"
    )


def interval(figure: Figure, label: str, *, low: float = -1.0) -> str:
    """A value as a dot and its interval as a line, on an axis from ``low`` to 1 with a tick at 0."""
    if figure.value is None:
        return ""

    def at(value: float) -> float:
        return 4 + 112 * (min(1.0, max(low, value)) - low) / (1 - low)

    body = f'<path d="M4,9 H116" stroke="#bbb"/><path d="M{at(0):.1f},3 V15" stroke="#777"/>'
    if figure.low is not None:
        body += (
            f'<path d="M{at(figure.low):.1f},9 H{at(figure.high):.1f}" stroke="{COLOURS["blue"]}" stroke-width="3"/>'
        )
    body += f'<circle cx="{at(figure.value):.1f}" cy="9" r="4" fill="{COLOURS["line"]}"/>'
    return _svg(120, 18, label, body, "interval")


def strips(rows: Sequence[tuple[str, Sequence[float], float | None]], *, most: float, unit: str, label: str) -> str:
    """One strip for each ``(name, values, mark)``: a dot a value from 0 to ``most``, a bar at ``mark`` if there is one."""
    height = _STEP * len(rows) + 26
    ticks = [most * share for share in (0, 0.25, 0.5, 0.75, 1)]
    body = _axis(ticks, [tick / most for tick in ticks], height, unit)
    for line, (name, values, mark) in enumerate(rows):
        middle = _STEP * line + _STEP / 2
        body += _name(name, middle) + _dots([value / most for value in values], middle)
        if mark is not None:
            x = _x(min(1.0, mark / most))
            body += f'<path d="M{x:.1f},{middle - 13} v26" stroke="{COLOURS["other answer"]}" stroke-width="3"/>'
    return _picture(height, label, body)


def ratios(rows: Sequence[tuple[str, Sequence[float]]], label: str) -> str:
    """One strip for each ``(item, answers over their keys)`` on a logarithmic axis; wrong signs are hollow squares."""
    sizes = [abs(value) for _, values in rows for value in values]
    low, high = _decades(sizes)
    height = _STEP * len(rows) + 26
    powers = range(low, high + 1, max(1, (high - low) // 8))
    places = [(power - low) / (high - low) for power in powers]
    body = _axis([_power(power) for power in powers], places, height, "× the key")
    one = _x(-low / (high - low))
    body += (
        f'<path d="M{one:.1f},0 V{height - 24}" stroke="{COLOURS["right"]}" stroke-width="2" stroke-dasharray="6 4"/>'
    )
    for line, (name, values) in enumerate(rows):
        middle = _STEP * line + _STEP / 2
        place = [(math.log10(abs(value)) - low) / (high - low) for value in values]
        body += _name(name, middle) + _dots(place, middle, hollow=[value < 0 for value in values])
    return _picture(height, label, body)


def _picture(height: float, label: str, body: str) -> str:
    """A wide plot; where the screen is narrow it can be pushed sideways, by keys too."""
    plot = _svg(_LEFT + _WIDE + 20, height, label, body, "plot")
    return (
        f'<div class="picture" role="region" tabindex="0" aria-label="{escape(label.partition(".")[0])}">{plot}</div>'
    )


def _decades(sizes: Iterable[float]) -> tuple[int, int]:
    """Whole powers of ten that hold every size and 1, at least one on each side.

    >>> _decades([0.02, 30]), _decades([])
    ((-2, 2), (-1, 1))
    """
    exponents = [math.log10(size) for size in sizes]
    return min([-1, *(math.floor(each) for each in exponents)]), max([1, *(math.ceil(each) for each in exponents)])


def _power(power: int) -> str:
    return f"{10.0**power:g}" if -4 <= power <= 4 else f"10^{str(power).replace('-', _MINUS)}"


def _x(share: float) -> float:
    return _LEFT + _WIDE * share


def _axis(ticks: Sequence, places: Sequence[float], height: float, unit: str) -> str:
    body = ""
    for tick, place in zip(ticks, places, strict=True):
        words = tick if isinstance(tick, str) else f"{tick:g}"
        body += f'<path d="M{_x(place):.1f},0 V{height - 24}" stroke="#ddd"/>'
        body += f'<text x="{_x(place):.1f}" y="{height - 8}" text-anchor="middle">{escape(words)}</text>'
    return body + f'<text x="0" y="{height - 8}">{escape(unit)}</text>'


def _name(name: str, middle: float) -> str:
    return f'<text x="{_LEFT - 12}" y="{middle + 5:.1f}" text-anchor="end">{escape(name)}</text>'


def _dots(places: Sequence[float], middle: float, hollow: Sequence[bool] = ()) -> str:
    """Dots beside one another rather than on top: each that would cover another is moved a little up or down."""
    taken: dict[int, int] = {}
    body = ""
    for place, open_one in sorted(zip(places, hollow or [False] * len(places), strict=True)):
        x = _x(min(1.0, max(0.0, place)))
        column = round(x / 8)
        nth = taken[column] = taken.get(column, -1) + 1
        y = middle + (1 if nth % 2 else -1) * min(12.0, 4.0 * ((nth + 1) // 2))
        if open_one:
            body += f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="#fff" stroke="#000" stroke-width="1.5"/>'
        else:
            body += (
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{COLOURS["blue"]}" fill-opacity=".65" stroke="#fff"/>'
            )
    return body

"""What the lessons' pages share: tables in words and HTML, a wiring picture beside a scope picture, two cycles of a wave."""

from collections.abc import Mapping, Sequence
from html import escape

import numpy as np

from ..amounts import plain
from ..showing import show
from ..waveforms import Waveform

__all__ = ["show_pair", "side_by_side", "table", "twice"]

_CELL = "text-align:left;padding:0.2em 1.2em 0.2em 0"


def side_by_side(rows: Mapping[str, tuple[float, float]], unit: str, *, against: str = "By the exact solver") -> None:
    """Show, for each name, what the formula gives and what it is held `against`, and by how much they differ.

    >>> side_by_side({"mean": (10.5, 10.0)}, "V")
    The same, worked out twice
    mean | 10.50 V | 10.00 V | +5.0 %
    """
    heads = ("", "By the formula", against, "Formula is off by")
    table(
        "The same, worked out twice",
        heads,
        [(name, *(_four(value, unit) for value in pair), _off(*pair)) for name, pair in rows.items()],
    )


def table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Show rows of words under `heads`; the first column names its row.

    >>> table("Readings", ("meter", "shows"), [("dc", "10.4 V")])
    Readings
    dc | 10.4 V
    """
    text = "\n".join([caption, *(" | ".join(row) for row in rows)])
    head = "".join(f'<th scope="col" style="{_CELL}">{escape(word)}</th>' for word in heads)
    body = "".join(
        f'<tr><th scope="row" style="{_CELL};font-weight:normal">{escape(row[0])}</th>'
        + "".join(f'<td style="{_CELL}">{escape(cell)}</td>' for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    title = f'<caption style="text-align:left;padding:0.3em 0">{escape(caption)}</caption>'
    show(text, f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")


def twice(wave: Waveform) -> Waveform:
    """The same record two times in a row."""
    seconds = np.concatenate([wave.seconds, wave.seconds + wave.duration_s])
    return Waveform(seconds, np.tile(wave.values, 2), wave.unit)


def show_pair(drawn: str, scope: str, words: str) -> None:
    """Show two SVG pictures side by side (one under the other on a narrow page), with `words` for who cannot see them."""
    sides = "".join(f'<div style="flex:1 1 22em;min-width:0">{svg}</div>' for svg in (drawn, scope))
    show(words, f'<div style="display:flex;flex-wrap:wrap;gap:0.5em;max-width:72em">{sides}</div>')


def _four(value: float, unit: str) -> str:
    return f"{plain(value, 4)} {unit}"


def _off(formula: float, exact: float) -> str:
    percent = 100 * (formula / exact - 1)
    return "under 0.1 %" if abs(percent) < 0.1 else f"{percent:+.1f} %".replace("-", "−")

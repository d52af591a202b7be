"""How a two-column CSV file is written, found out from its first lines: separator, decimal sign, heading, units.

What is wrong with a file or a row is said in words that go on from "The file …".
"""

import re
from dataclasses import dataclass

import numpy as np

_NEEDED = "each row needs a time and a value."
_SEPARATORS = (";", ",", None)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_SECONDS = {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "milliseconds": 1e-3}
_SECONDS |= {"us": 1e-6, "µs": 1e-6, "microseconds": 1e-6, "ns": 1e-9}
_TIME_UNIT = re.compile(
    rf"(?:^|[\[(/_,;\t\"]|\b(?:in|time|t|units?)\s)\s*({'|'.join(_SECONDS)})(?=$|[\])_,;\s\"])", re.IGNORECASE
)
_PREFIXES = {"": 1.0, "k": 1e3, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "kilo": 1e3, "milli": 1e-3, "micro": 1e-6}


@dataclass(frozen=True)
class Layout:
    """What the beginning of a file says: lines before the first row, separator (None: blanks), scales to s and to V."""

    heading: int
    separator: str | None
    time_scale: float
    value_scale: float

    def plain(self, text: str) -> str:
        """`text` with blanks between the columns and decimal points; only between commas is a comma no decimal comma."""
        text = text.replace('"', "")
        return text.replace(",", " ") if self.separator == "," else text.replace(";", " ").replace(",", ".")


def cells_of(text: str, separator: str | None) -> list[str]:
    """The cells of a line, with decimal points; empty ones at its end do not count."""
    text = text.replace('"', "")
    text = text if separator == "," else text.replace(",", ".")
    cells = [cell.strip() for cell in text.split(separator)]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def trouble_of(cells: list[str]) -> str:
    """What keeps a row from being a time and a value, or nothing."""
    words = [cell for cell in cells if cell and not _NUMBER.fullmatch(cell)]
    if words:
        return f'holds "{words[0][:40]}", which is not a number'
    if not cells[0]:
        return "has no time before its value"
    if len(cells) < 2 or not cells[1]:
        return "has no value behind its time"
    if not np.isfinite([float(cell) for cell in cells]).all():
        return "holds a number that is too large"
    return "" if len(cells) == 2 else f"holds {len(cells)} numbers, not a time and one value"


def layout_of(lines: list[str], unit: str) -> Layout:
    """Where the rows begin and how they are written, from the first line that is two numbers."""
    if not any(line.strip() for line in lines):
        raise ValueError("is empty.")
    for number, line in enumerate(lines):
        for separator in _SEPARATORS:
            cells = cells_of(line, separator)
            if cells and not trouble_of(cells):
                heading = [text for text in lines[:number] if text.strip()]
                _refuse_broken_row(lines, number, separator)
                return Layout(number, separator, *_scales(heading, unit))
    raise ValueError(_why_no_row(lines))


def _refuse_broken_row(lines: list[str], number: int, separator: str | None) -> None:
    """A line that begins with a number, right before the first sound row, is a row and no heading."""
    before = lines[number - 1].strip() if number else ""
    cells = cells_of(before, separator)
    if cells and _NUMBER.fullmatch(cells[0]) and not _NUMBER.fullmatch(before):
        raise ValueError(f"cannot be read: line {number} {trouble_of(cells)}.")


def _why_no_row(lines: list[str]) -> str:
    for line in lines:
        for separator in _SEPARATORS:
            cells = cells_of(line, separator)
            if cells and all(_NUMBER.fullmatch(cell) for cell in cells):
                if len(cells) > 2:
                    return f"holds {len(cells)} columns; export the time and one channel only."
                bare = line.strip(' \t"') == cells[0] or separator is None
                return f"holds only one column; {_NEEDED}" if bare else f"has times but no values; {_NEEDED}"
    return f"holds no row of two numbers; {_NEEDED}"


def _scales(heading: list[str], unit: str) -> tuple[float, float]:
    """What the times and the values have to be multiplied by, from the names and units above the columns."""
    told = heading[-2:] + [line for line in heading[:-2] if "unit" in line.lower()]
    near_first = [line.replace("μ", "µ") for line in [*reversed(heading[-2:]), *told[2:]]]
    return _time_scale(near_first), _value_scale(near_first, unit)


def _time_scale(heading: list[str]) -> float:
    found = (match for line in heading if (match := _TIME_UNIT.search(line)))
    return next((_SECONDS[match[1].lower()] for match in found), 1.0)


def _value_scale(heading: list[str], unit: str) -> float:
    words = {"V": "volts?", "A": "amp(?:ere)?s?"}.get(unit, re.escape(unit))
    pattern = rf"(?<![^\W\d_])(?:([kmuµ]?){re.escape(unit)}|(milli|micro|kilo){words})(?![^\W\d_])"
    for line in heading:
        for other in re.findall(r"[(\[]\s*[kmuµ]?([VAW])\s*[)\]]", line):
            if other != unit:
                raise ValueError(f"has values in {other} by its heading, and {unit} is asked for.")
        found = [_PREFIXES[(match[1] or match[2] or "").lower()] for match in re.finditer(pattern, line, re.IGNORECASE)]
        if found:
            return next((scale for scale in found if scale != 1), 1.0)
    return 1.0

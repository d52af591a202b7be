"""How a two-column CSV file is written, found out from its first lines: separator, decimal sign, heading, units.

What is wrong with a file or a row is said in words that go on from "The file …".
"""

import re
from itertools import product

_NEEDED = "each row needs a time and a value."
_SEPARATORS = (";", ",", None)
_BLANKS = "".join(filter(str.isspace, map(chr, range(0x3001))))  # up to the ideographic space, the last there is
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
_PREFIXES = {"": 1.0, "k": 1e3, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "n": 1e-9, "kilo": 1e3, "milli": 1e-3, "micro": 1e-6}
_TIME_BEFORE = r"(?:^|[\[(/_,;\t\"]|\b(?:in|time|t|units?)\s)\s*"
_TIME_UNIT = _TIME_BEFORE + r"(?:([muµn]?)s|(milli|micro)?seconds|sec|second)(?=$|[\])_,;\s\"])"


def plain(line: str, separator: str | None) -> str:
    """`line` up to its last cell, no quotes, decimal points; only between commas is a comma no decimal comma."""
    line = line.replace('"', "")
    line = line if separator == "," else line.replace(",", ".")
    return line.rstrip(_BLANKS + (separator or ""))


def cells_of(line: str, separator: str | None) -> list[str]:
    """The cells of a line, with decimal points; empty ones at its end do not count."""
    return [cell.strip() for cell in plain(line, separator).split(separator)] or [""]


def trouble_of(cells: list[str]) -> str:
    """What keeps a row from being a time and a value, or nothing."""
    words = [cell for cell in cells if cell and not _NUMBER.fullmatch(cell)]
    if words:
        return f'holds "{words[0][:40]}", which is not a number'
    if not cells[0]:
        return "has no time before its value"
    if len(cells) < 2 or not cells[1]:
        return "has no value behind its time"
    numbers = [float(cell) for cell in cells if cell]
    if float("inf") in map(abs, numbers):
        return "holds a number that is too large"
    return "" if len(cells) == 2 else f"holds {len(numbers)} numbers, not a time and one value"


def layout_of(lines: list[str], unit: str) -> tuple[int, str | None, tuple[float, float]]:
    """Lines before the first row, the separator (None: blanks), and what scales the columns to s and to `unit`."""
    for (number, line), separator in product(enumerate(lines), _SEPARATORS):
        if not trouble_of(cells_of(line, separator)):
            before = lines[number - 1].strip() if number else ""
            cells = cells_of(before, separator)
            # A line that begins with a number, right before the first sound row, is a row and no heading.
            if _NUMBER.fullmatch(cells[0]) and not _NUMBER.fullmatch(before):
                raise ValueError(f"cannot be read: line {number} {trouble_of(cells)}.")
            heading = [text.replace("μ", "µ") for text in lines[:number] if text.strip()]
            return number, separator, _scales(heading, unit)
    raise ValueError(_why_no_row(lines))


def _why_no_row(lines: list[str]) -> str:
    if not any(map(str.strip, lines)):
        return "is empty."
    for line, separator in product(lines, _SEPARATORS):
        cells = cells_of(line, separator)
        if all(map(_NUMBER.fullmatch, cells)):
            if len(cells) > 2:
                return f"holds {len(cells)} columns; export the time and one channel only."
            bare = line.strip(' \t"') == cells[0] or separator is None
            return f"holds only one column; {_NEEDED}" if bare else f"has times but no values; {_NEEDED}"
    return f"holds no row of two numbers; {_NEEDED}"


def _scales(heading: list[str], unit: str) -> tuple[float, float]:
    """What the times and the values have to be multiplied by, from the names and units above the columns."""
    near_first = heading[:-3:-1] + [line for line in heading[:-2] if "unit" in line.lower()]
    time_scale = next((scale for line in near_first for scale in _scales_in(line, _TIME_UNIT)), 1.0)
    words = {"V": "volts?", "A": "amp(?:ere)?s?"}.get(unit, re.escape(unit))
    value_unit = rf"(?<![^\W\d_])(?:([kmuµ]?){re.escape(unit)}|(milli|micro|kilo){words})(?![^\W\d_])"
    for line in near_first:
        if other := re.search(rf"[(\[]\s*[kmuµ]?(?!{re.escape(unit)}\s*[)\]])([VAW])\s*[)\]]", line):
            raise ValueError(f"has values in {other[1]} by its heading, and {unit} is asked for.")
        if found := _scales_in(line, value_unit):
            return time_scale, next((scale for scale in found if scale != 1), 1.0)
    return time_scale, 1.0


def _scales_in(line: str, unit: str) -> list[float]:
    """The scale of each place in `line` where the pattern `unit` stands, by the prefix before it."""
    return [_PREFIXES["".join(prefix).lower()] for prefix in re.findall(unit, line, re.IGNORECASE)]

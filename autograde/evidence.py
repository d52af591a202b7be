"""What came out of the fence: answer slips, read as plain data from a stranger.

Only a slip with the item's own name, found in the outputs of that item's restored graded cell, counts, and only
when it is the only one. Whatever does not read as a finite number, or as a short table of 0 and 1, is no answer.
"""

from __future__ import annotations

import math

__all__ = ["MIME", "read_slip"]

MIME = "application/vnd.halfcycle.slip+json"
_LONGEST_TABLE = 64
_LONGEST_UNIT = 20


def read_slip(outputs, item):
    """Return ``(slip, trouble)`` of ``item`` from the outputs of its graded cell.

    ``slip`` is ``{"item", "value", "unit"}`` of plain values or None; ``trouble`` is one sentence for the instructor or "".

    >>> read_slip([{"data": {MIME: {"item": "90-sum", "value": 5, "unit": "V"}}}], "90-sum")
    ({'item': '90-sum', 'value': 5.0, 'unit': 'V'}, '')
    """
    found = [slip for slip in map(_slip_of, outputs) if slip is not None and slip["item"] == item]
    if len(found) == 1:
        return found[0], ""
    if found:
        return None, f"Item {item} was handed in {len(found)} times by one cell, so none of them counts."
    return None, ""


def _slip_of(output):
    data = output.get("data") if isinstance(output, dict) else None
    raw = data.get(MIME) if isinstance(data, dict) else None
    if not isinstance(raw, dict) or not isinstance(raw.get("item"), str):
        return None
    unit = raw.get("unit")
    return {
        "item": raw["item"],
        "value": _plain(raw.get("value")),
        "unit": unit[:_LONGEST_UNIT] if isinstance(unit, str) else "",
    }


def _plain(value):
    if isinstance(value, list):
        entries = [_plain(entry) for entry in value[: _LONGEST_TABLE + 1]]
        good = 0 < len(entries) <= _LONGEST_TABLE and all(entry in (0.0, 1.0) for entry in entries)
        return [int(entry) for entry in entries] if good else None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None

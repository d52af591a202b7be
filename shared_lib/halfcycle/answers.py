"""Reading what somebody typed as an answer: one number, or one plain sentence that says what to do instead.

`hand_in` and `check` both read answers here, so a wrong kind of answer is explained in one way everywhere.
"""

import math
import numbers
import re
from dataclasses import dataclass
from decimal import Decimal

__all__ = ["TABLE", "Answer", "NoAnswer", "read", "typed", "written"]

TABLE = "table"
TABLE_ENTRIES = 16
_NUMBER = re.compile(r"[-+−]?(\d[\d.,'’ ]*|[.,]\d+)(e[-+]?\d+)?", re.IGNORECASE)
_BLANK = "put a number in place of the three dots in the answer cell, then run that cell and this one"
_BLANK_ROW = _BLANK.replace("a number", "a row of 0 and 1, in square brackets,")


@dataclass(frozen=True)
class Answer:
    """What was read: ``value`` (a float, a list of 0 and 1, or None for no answer) and, with None, the ``sentence`` to show."""

    value: float | list | None
    sentence: str = ""


@dataclass(frozen=True)
class NoAnswer:
    """Stands in an answer's variable after its cell went wrong, so that the cell below can say why nothing was recorded."""

    sentence: str


def read(value, unit):
    """Return the `Answer` in ``value``, which should be one finite number in ``unit`` (or, unit "table", a list of 0 and 1).

    >>> read(24 * 2**0.5, "V").value
    33.941125496954285
    >>> read("33.9 V", "V").sentence
    'leave the unit out and type the number alone: 33.9'
    """
    if value is None or value is Ellipsis:
        return Answer(None, _BLANK_ROW if unit == TABLE else _BLANK)
    if isinstance(value, NoAnswer):
        return Answer(None, value.sentence)
    value = _unwrap(value)
    if unit == TABLE:
        return _table(value)
    return _number(value)


def written(value, unit):
    """Return a value that `read` gave, with its unit, as it was meant: no prefix is put in or taken out.

    >>> written(33.94112549695428, "V"), written([0, 1], "table")
    ('33.9411 V', '[0, 1]')
    """
    return str(list(value)) if unit == TABLE else f"{typed(value)} {unit}".strip()


def typed(number, digits=6):
    """Return ``number`` as it can be typed into an answer, to ``digits`` significant digits.

    >>> typed(33.94112549695428), typed(0.00047), typed(1200.0)
    ('33.9411', '0.00047', '1200')
    """
    short = Decimal(f"{number:.{digits}g}")
    if short and not -10 <= short.adjusted() < 10:
        return f"{number:.{digits}g}"
    text = f"{short:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _unwrap(value):
    """A single number out of a numpy scalar or an array without dimensions; all else unchanged."""
    if getattr(value, "shape", None) == () and hasattr(value, "item"):
        return value.item()
    return value.tolist() if type(value).__name__ == "ndarray" else value


def _number(value):
    if isinstance(value, bool):
        return Answer(None, "this is True or False, and a number is wanted; type the number itself, without == < or >")
    if isinstance(value, (numbers.Real, Decimal)):
        return _finite(value)
    for kinds, explain in _WRONG_KINDS:
        if isinstance(value, kinds):
            return Answer(None, explain(value))
    if callable(value):
        return Answer(None, "this names a function but does not use it; put its values after it in round brackets")
    return Answer(None, f"one number is wanted, and this is something else (Python calls it {type(value).__name__})")


def _finite(value):
    try:
        number = float(value)
    except (OverflowError, ValueError):
        number = math.inf
    if math.isnan(number):
        return Answer(None, "this came out as “not a number” (nan); check the arithmetic, or type the number itself")
    if math.isinf(number):
        return Answer(None, "this number is too large to be an answer; check the powers and the divisions in it")
    return Answer(number)


def _table(value):
    entries = [_unwrap(entry) for entry in value] if isinstance(value, (list, tuple)) else []
    if 0 < len(entries) <= TABLE_ENTRIES and all(isinstance(entry, int) and entry in (0, 1) for entry in entries):
        return Answer([int(entry) for entry in entries])
    return Answer(None, "a row of 0 and 1 in square brackets is wanted, with commas between them, such as [0, 1, 1, 0]")


def _text(value):
    text = value.strip()
    if not text or set(text) <= {".", "…"}:
        return _BLANK
    found = _NUMBER.match(text)
    rest = text[found.end() :].strip() if found else text
    if found is None or re.search(r"[\d*/×÷^()]", rest):
        return (
            "this is text, and a number is wanted; type digits with a point, or calculator arithmetic "
            "with + - * / and ** for powers, without quotes and without a unit"
        )
    number = found.group().strip().replace("−", "-")
    if re.search(r"[,'’ ]", number):
        return "write the decimal sign as a point and put nothing between the thousands" + (
            ", and leave the unit out" if rest else ""
        )
    return f"leave the unit out and type the number alone: {number}" if rest else f"take the quotes away: {number}"


def _several(value):
    if len(value) == 1:
        return "take the brackets and any comma away, so that the number stands alone"
    if isinstance(value, tuple):
        return "the comma in it makes several numbers of one; write the decimal sign as a point, and put nothing between the thousands"
    return "this is a list, and one number is wanted; type the number alone, without brackets"


def _complex(_):
    return "this is a complex number (it has a j in it); look for a root of a negative number in the arithmetic"


_WRONG_KINDS = (
    (str, _text),
    (bytes, lambda value: _text(value.decode(errors="replace"))),
    ((list, tuple, set, frozenset, dict), _several),
    (numbers.Complex, _complex),
)

"""What a part's value may be: each check names the quantity that is out of range, in one sentence."""

from collections.abc import Callable, Iterable
from math import isfinite
from numbers import Real

Names = Iterable[str]


def positive(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a positive finite number.

    >>> positive("load in ohm", -5.0)
    Traceback (most recent call last):
    ValueError: load in ohm must be a positive number, not -5.0
    """
    return _checked(what, value, "a positive number", lambda number: number > 0)


def not_negative(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a finite number of zero or more."""
    return _checked(what, value, "zero or more", lambda number: number >= 0)


def finite_number(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a finite number."""
    return _checked(what, value, "a finite number", lambda number: True)


def need(part: object, of: str = "", *, above_zero: Names = (), from_zero: Names = (), finite: Names = ()) -> None:
    """Check several fields of `part`: above zero, zero or more, any finite number; `of` says whose they are.

    >>> from types import SimpleNamespace
    >>> need(SimpleNamespace(ohm=90.0, henry=0.0), "of a coil", above_zero=("ohm", "henry"))
    Traceback (most recent call last):
    ValueError: henry of a coil must be a positive number, not 0.0
    """
    for check, names in ((positive, above_zero), (not_negative, from_zero), (finite_number, finite)):
        for name in names:
            check(f"{name} {of}".rstrip(), getattr(part, name))


def _checked(what: str, value: float, must_be: str, holds: Callable) -> float:
    if isinstance(value, (float, Real)) and isfinite(value) and holds(value):  # float is by far the quickest to tell
        return value
    raise ValueError(f"{what} must be {must_be}, not {value!r}")

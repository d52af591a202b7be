"""What a part's value may be: each check names the quantity that is out of range, in one sentence."""

from collections.abc import Iterable
from math import isfinite
from numbers import Real

Names = Iterable[str]


def positive(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a positive finite number.

    >>> positive("load in ohm", -5.0)
    Traceback (most recent call last):
    ValueError: load in ohm must be a positive number, not -5.0
    """
    if not (_is_finite(value) and value > 0):
        raise ValueError(f"{what} must be a positive number, not {value!r}")
    return value


def not_negative(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a finite number of zero or more."""
    if not (_is_finite(value) and value >= 0):
        raise ValueError(f"{what} must be zero or more, not {value!r}")
    return value


def _finite(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a finite number."""
    if not _is_finite(value):
        raise ValueError(f"{what} must be a finite number, not {value!r}")
    return value


def need(part: object, of: str = "", *, above_zero: Names = (), from_zero: Names = (), finite: Names = ()) -> None:
    """Check several fields of `part`: above zero, zero or more, any finite number; `of` says whose they are.

    >>> from types import SimpleNamespace
    >>> need(SimpleNamespace(ohm=90.0, henry=0.0), "of a coil", above_zero=("ohm", "henry"))
    Traceback (most recent call last):
    ValueError: henry of a coil must be a positive number, not 0.0
    """
    for names, check in ((above_zero, positive), (from_zero, not_negative), (finite, _finite)):
        for name in names:
            check(f"{name} {of}".rstrip(), getattr(part, name))


def _is_finite(value: object) -> bool:
    return isinstance(value, Real) and isfinite(value)

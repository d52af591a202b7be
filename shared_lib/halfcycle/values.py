"""What a part's value may be: each check names the quantity that is out of range, in one sentence."""

from collections.abc import Callable, Iterable
from math import isfinite
from numbers import Real
from typing import NoReturn

Names = Iterable[str]


def positive(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a positive finite number.

    >>> positive("load in ohm", -5.0)
    Traceback (most recent call last):
    ValueError: load in ohm must be a positive number, not -5.0
    """
    return value if _is_positive(value) else _refuse(what, value, _is_positive)


def not_negative(what: str, value: float) -> float:
    """Return `value`, or raise a ValueError that names `what` when it is not a finite number of zero or more."""
    return value if _is_not_negative(value) else _refuse(what, value, _is_not_negative)


def need(part: object, of: str = "", *, above_zero: Names = (), from_zero: Names = (), finite: Names = ()) -> None:
    """Check several fields of `part`: above zero, zero or more, any finite number; `of` says whose they are.

    >>> from types import SimpleNamespace
    >>> need(SimpleNamespace(ohm=90.0, henry=0.0), "of a coil", above_zero=("ohm", "henry"))
    Traceback (most recent call last):
    ValueError: henry of a coil must be a positive number, not 0.0
    """
    for names, holds in ((above_zero, _is_positive), (from_zero, _is_not_negative), (finite, _is_finite)):
        for name in names:
            if not holds(value := getattr(part, name)):
                _refuse(f"{name} {of}".rstrip(), value, holds)


def _is_finite(value: object) -> bool:
    return (type(value) is float or isinstance(value, Real)) and isfinite(value)


def _is_positive(value: object) -> bool:
    return _is_finite(value) and value > 0


def _is_not_negative(value: object) -> bool:
    return _is_finite(value) and value >= 0


_MUST_BE = {_is_positive: "a positive number", _is_not_negative: "zero or more", _is_finite: "a finite number"}


def _refuse(what: str, value: object, rule: Callable) -> NoReturn:
    raise ValueError(f"{what} must be {_MUST_BE[rule]}, not {value!r}")

"""Benches: circuits to try with real part values, the same in the lessons and on the demo page.

`bench("rectifier", circuit)` gives a widget that starts at the learner's own circuit. What a bench shows is worked out by
pure functions in its module (settings in, `State` out); the widget is a thin skin over them. Each bench's title,
questions for the room and cautions stand in the `.toml` file beside its module.
"""

from importlib import import_module

__all__ = ["NAMES", "bench"]

NAMES = ("supply", "rectifier", "spikes", "opto", "two_calls")


def bench(name: str, circuit=None):
    """The bench called `name` as an ipywidgets widget, started at the values of `circuit` that it knows.

    Parameters
    ----------
    name : one of `NAMES`
    circuit : any object with the learner's values as attributes (`load_ohm`, …), or None for the bench's own

    Returns
    -------
    ipywidgets widget; where widgets cannot be shown it displays as a static picture with the same numbers

    Raises ValueError where there is no such bench.

    >>> bench("rectifier").state.readings[0].unit
    'V'
    """
    from .panel import Panel

    return Panel(module(name), circuit)


def module(name: str):
    """The module of the bench called `name`; ValueError with the names that exist where there is none."""
    if name not in NAMES:
        raise ValueError(f"There is no bench called {name!r}; there are: {', '.join(NAMES)}.")
    return import_module(f".{name}", __name__)

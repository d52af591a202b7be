"""Practice: checked at once and in the open, with a hint for each slip that the lesson expects."""

import math

from halfcycle.answers import read, written
from halfcycle.showing import sentence_html, show

__all__ = ["check"]

_SCALES = (1e3, 1e-3, 1e6, 1e-6)


def check(value, *, right, unit="", hints=None, tolerance=0.01):
    """Say at once whether ``value`` is ``right`` (same ``unit``), within the relative ``tolerance``, and hint if it is not.

    ``hints`` maps a wrong value that people arrive at to one sentence on its cause. Nothing is recorded.

    >>> check(33.9, right=24 * 2**0.5, unit="V")
    Right: 33.9 V. The exact value is 33.9411 V.
    >>> check(24, right=24 * 2**0.5, unit="V", hints={24: "That is the rms value; the peak is higher."})
    Not yet: 24 V. That is the rms value; the peak is higher.
    """
    answer = read(value, unit)
    if answer.value is None:
        _say("No answer yet", f": {answer.sentence.rstrip('.')}.")
    elif _same(answer.value, right, tolerance):
        exact = (
            ""
            if written(answer.value, unit) == written(right, unit)
            else f" The exact value is {written(right, unit)}."
        )
        _say("Right", f": {written(answer.value, unit)}.{exact}")
    else:
        rest = f": {written(answer.value, unit)}. {_hint(answer.value, right, hints or {}, tolerance)}"
        _say("Not yet", rest, folded=written(right, unit))


def _say(head, rest, folded=""):
    title = "Show the answer to this practice item"
    show(head + rest, sentence_html(head, rest, folded=folded, folded_title=title))


def _hint(value, right, hints, tolerance):
    for wrong, hint in hints.items():
        if _same(value, wrong, tolerance):
            return hint
    if not isinstance(right, (list, tuple)):
        if any(_same(value, right * scale, tolerance) for scale in _SCALES):
            return "The digits are right; count the zeros again, or look at the prefix of a unit."
        if right and _same(value, -right, tolerance):
            return "The size is right; look at the sign again."
    return "Go back to the worked example, put your own numbers in its place and try again."


def _same(value, other, tolerance):
    if isinstance(other, (list, tuple)) or isinstance(value, list):
        return isinstance(other, (list, tuple)) and isinstance(value, list) and value == list(other)
    return math.isclose(value, other, rel_tol=tolerance, abs_tol=0.0 if other else tolerance)

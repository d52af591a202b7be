"""Handing in an answer: the learner sees what was recorded, and the notebook carries it as an answer slip.

A slip is data in the output of the cell that hands it in: ``{"item", "value", "unit"}`` under the media type `SLIP`.
It never says whether the answer is right; nothing on a learner's computer knows.
"""

from halfcycle.answers import read, written
from halfcycle.showing import sentence_html, show

__all__ = ["SLIP", "hand_in"]

SLIP = "application/vnd.halfcycle.slip+json"


def hand_in(item, value, unit):
    """Record ``value`` (one number in ``unit``; with unit "table" up to 16 entries of 0 and 1) as the answer to ``item``.

    Anything else is explained in one sentence and recorded as no answer yet.

    >>> hand_in("01-peak", 33.9, "V")
    Recorded: 33.9 V for 01-peak.
    >>> hand_in("01-peak", ..., "V")
    No answer yet for 01-peak: put a number in place of the three dots in the answer cell, then run that cell and this one.
    """
    answer = read(value, unit)
    if answer.value is None:
        head, rest = "No answer yet", f" for {item}: {answer.sentence.rstrip('.')}."
    else:
        head, rest = "Recorded", f": {written(answer.value, unit)} for {item}."
    show(head + rest, sentence_html(head, rest), {SLIP: {"item": str(item), "value": answer.value, "unit": str(unit)}})

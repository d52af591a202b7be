"""A capture from the learner's own scope, where there is one: read, or told in one sentence why not, and the lesson goes on."""

from ..amounts import amount
from ..captures import CaptureError, read_capture
from ..showing import sentence_html, show
from ..waveforms import Waveform

__all__ = ["own_capture"]


def own_capture(file_name, instead: Waveform, *, unit: str = "V") -> Waveform:
    """The capture in the CSV file `file_name` beside the notebook; `instead` while none is named or it cannot be read.

    `file_name` may be ... or "" for none. What was done is said in one sentence; a lesson never stops here, so a
    notebook whose file stayed at home runs all the same.

    >>> wave = own_capture(..., Waveform([0.0, 1.0], [0.0, 5.0]))
    The lesson's own capture is used. To see yours, put the file's name in place of the three dots.
    >>> own_capture("not there.csv", wave) is wave
    The lesson's own capture is used. The file "not there.csv" is not there; look at its name and at the folder you are in.
    True
    """
    if file_name is None or file_name is Ellipsis or not str(file_name).strip():
        return _kept(instead, "To see yours, put the file's name in place of the three dots.")
    try:
        wave = read_capture(str(file_name).strip(), unit=unit)
    except CaptureError as trouble:
        return _kept(instead, str(trouble))
    lasts, swing = (
        amount(wave.duration_s, "s"),
        f"{amount(wave.values.min(), unit)} to {amount(wave.values.max(), unit)}",
    )
    _say("Your capture is used", f": {len(wave)} samples over {lasts}, from {swing}.")
    return wave


def _kept(instead: Waveform, why: str) -> Waveform:
    _say("The lesson's own capture is used", f". {why}")
    return instead


def _say(head: str, rest: str) -> None:
    show(head + rest, sentence_html(head, rest))

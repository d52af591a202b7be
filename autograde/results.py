"""What came out of a run, as plain data: ``{"cells": {index: {"count", "outputs"}}, "stopped": sentence}``.

`Gathered` builds it from what a stranger's shell says it showed; nothing in it is believed, everything is bounded.
"""

from __future__ import annotations

import json

__all__ = ["GRADED_CELL_BYTES", "MOST_OUTPUTS", "TOO_MUCH", "Gathered", "in_letters", "is_plain"]

GRADED_CELL_BYTES = 2**20
MOST_OUTPUTS = 1000
TOO_MUCH = "The notebook printed more than is kept; the rest was dropped."
_INTERRUPTED = {
    "output_type": "error",
    "ename": "CellTimeoutError",
    "evalue": "",
    "traceback": ["\x1b[0;31mCellTimeoutError\x1b[0m: No reply from kernel before timeout"],
}


class Gathered:
    """The outputs of one notebook's cells, while they come in. ``graded`` holds the indices of the graded cells.

    A graded cell has its own small allowance, so that a noisy notebook does not lose its answers.
    """

    def __init__(self, limits, graded=()):
        self._left, self._graded, self._wait = limits.output_bytes, frozenset(graded), False
        self.cells, self.stopped, self._is_graded = {}, "", False

    def begin(self, index):
        """The cell ``index`` begins."""
        self._here = self.cells[str(index)] = {"count": None, "outputs": []}
        self._is_graded, self._left_here, self._wait = index in self._graded, GRADED_CELL_BYTES, False

    def afford(self, size):
        """Charge ``size`` bytes, before they are read, to the cell that began last; return whether it may show as much."""
        if self._is_graded:
            self._left_here -= size
            return self._left_here >= 0
        self._left -= size
        return self._left >= 0

    def take(self, kind, content):
        """Something affordable is shown by the cell that began last; what is no output, or is beyond the bounds, is dropped."""
        if kind == "clear_output":
            self._wait = bool(content.get("wait"))
            self._here["outputs"] = self._here["outputs"] if self._wait else []
        elif (output := _output(kind, content)) is not None and len(self._here["outputs"]) < MOST_OUTPUTS:
            if self._wait:
                self._here["outputs"], self._wait = [], False
            _append(self._here["outputs"], output)

    def done(self, content):
        """The cell that began last has ended: its number, whether it had to be interrupted, and its error, as nbgrader shows them."""
        count, error = content.get("count"), content.get("error")
        self._left = -1 if content.get("dropped") else self._left
        self._here["count"] = count if type(count) is int and 0 <= count < 10**6 else None
        outputs = self._here["outputs"]
        shown = _output("error", error) if isinstance(error, dict) else None
        if content.get("late"):
            outputs.append(dict(_INTERRUPTED))
        elif shown and not any(one.get("ename") == shown["ename"] for one in outputs):
            shown["traceback"] = shown["traceback"] or ["ERROR: An error occurred while showtraceback was disabled"]
            outputs.append(shown)

    def result(self):
        """Return the whole as plain data."""
        return {"cells": self.cells, "stopped": self.stopped or (TOO_MUCH if self._left < 0 else "")}


def is_plain(result):
    """Return whether ``result`` has the shape that this module makes, so that a damaged one is never used."""
    cells = result.get("cells") if isinstance(result, dict) else None
    return (
        isinstance(cells, dict)
        and isinstance(result.get("stopped"), str)
        and all(isinstance(one, dict) and isinstance(one.get("outputs"), list) for one in cells.values())
    )


def in_letters(value):
    r"""Return plain data with a question mark for every half of a letter (a lone surrogate), which fits into no file.

    >>> in_letters({"text": "\ud800 volts"})
    {'text': '? volts'}
    """
    text = json.dumps(value, ensure_ascii=False)
    try:
        text.encode()
    except UnicodeEncodeError:
        return json.loads(text.encode("utf-8", "replace"))
    return value


def _append(outputs, output):
    last = outputs[-1] if outputs else {}
    if output["output_type"] == "stream" == last.get("output_type") and output["name"] == last["name"]:
        last["text"] += output["text"]
    else:
        outputs.append(output)


def _output(kind, content):
    made = _MAKERS.get(kind) if isinstance(kind, str) else None
    return in_letters({"output_type": kind, **made(content)}) if made and isinstance(content, dict) else None


def _stream(content):
    return {"name": "stderr" if content.get("name") == "stderr" else "stdout", "text": _text(content.get("text"))}


def _error(content):
    lines = content.get("traceback")
    lines = [_text(line) for line in lines] if isinstance(lines, list) else []
    return {"ename": _text(content.get("ename")), "evalue": _text(content.get("evalue")), "traceback": lines}


def _display(content):
    data, about = content.get("data"), content.get("metadata")
    return {"data": data if isinstance(data, dict) else {}, "metadata": about if isinstance(about, dict) else {}}


def _executed(content):
    count = content.get("execution_count")
    return {**_display(content), "execution_count": count if type(count) is int else None}


_MAKERS = {"stream": _stream, "error": _error, "display_data": _display, "execute_result": _executed}


def _text(value):
    return value if isinstance(value, str) else ""

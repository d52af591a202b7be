"""What a stranger sends costs the grading little, whatever it is: what is beyond the bounds is never read as JSON."""

from dataclasses import replace

import pytest

from autograde import warm as warming
from autograde.behind.frames import LARGEST_ERROR, unpack
from autograde.evidence import MIME
from autograde.fence import Limits, fence, why_no_fence
from autograde.results import GRADED_CELL_BYTES
from autograde.warm import Warm

WHY_NOT = why_no_fence()
LIMITS = replace(Limits(), output_bytes=2**18)
TASK = {"who": ("made-for-tests", "amara"), "cells": [[0, "", "c0", False], [1, "", "c1", True], [2, "", "c2", False]]}
BEGIN = b'{"cell": %d, "kind": "begin"}\n'
DONE = b'{"cell": 0, "kind": "done", "content": {"count": 1}}\n'
EXPENSIVE = {
    "many lists": b'{"cell": 0, "kind": "display_data", "content": {"data": {"a": [' + b"[]," * 2**16 + b"[]]}}}\n",
    "no sense at all": b"[" * 2**17 + b"\n",
    "ends of cells": b'{"cell": 0, "kind": "done" ' + b"[" * LARGEST_ERROR + b"\n",
    "twice the same name": b"{" + b'"kind": 1,' * 2**14 + b'"kind": 1}\n',
}


@pytest.fixture
def read(monkeypatch):
    """The sizes of all that is read as JSON."""
    sizes = []
    monkeypatch.setattr(warming, "unpack", lambda line: sizes.append(len(line)) or unpack(line))
    return sizes


@pytest.mark.parametrize("line", EXPENSIVE.values(), ids=EXPENSIVE)
def test_no_more_is_read_than_may_be_shown(read, line):
    told, sent = warming._Told(TASK, LIMITS), 0
    for cell in (0, 1, 2):
        told._take(BEGIN % cell)
        for _ in range(50):
            told._take(line)
            sent += len(line)
        told._take(DONE)
    small = sum(size for size in read if size <= 512)
    most = LIMITS.output_bytes + GRADED_CELL_BYTES + len(TASK["cells"]) * 2 * LARGEST_ERROR
    assert sum(read) - small <= most < sent
    assert told.whole  # the cells are heard to the end all the same


def test_who_never_stops_sending_is_not_listened_to_for_ever(read):
    told, line = warming._Told(TASK, LIMITS), b"x" * 2**18 + b"\n"
    told._take(BEGIN % 0)
    for _ in range(4 * len(TASK["cells"]) * warming._cell_bytes(LIMITS) // len(line)):
        told._take(line)
    assert told._too_many


def test_a_number_of_thousands_of_digits_is_not_reckoned():
    """Reading one takes the square of its digits; Python's own bound lies at 4300."""
    assert unpack(b'{"a": %s}' % (b"9" * 4000)) is None
    assert unpack(b'{"a": -%d}' % 2**64) == {"a": -(2**64)}


@pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
def test_a_loud_learner_is_heard_to_the_end(monkeypatch):
    """The shell inside sends no more than is read, says so, and its cells, their errors and the answers come through."""
    pieces, take = [], warming._Told._take
    monkeypatch.setattr(warming._Told, "_take", lambda told, data: pieces.append(len(data)) or take(told, data))
    loud = "for _ in range(3000):\n    print('x' * 10_000)\nraise ValueError('y' * 3_000_000)"
    slip = "from halfcycle.lesson import hand_in\nhand_in('90-volts', 24.5, 'V')"
    warm = Warm(fence())
    result = warm.run({"who": TASK["who"], "cells": [[0, loud, "c0", False], [1, slip, "c1", True]]})
    warm.close()
    assert sum(pieces) < 2 * (Limits().output_bytes + GRADED_CELL_BYTES)
    assert "printed more" in result["stopped"]
    assert result["cells"]["0"]["outputs"][-1]["ename"] == "ValueError"
    assert MIME in result["cells"]["1"]["outputs"][0]["data"]

"""From a restored notebook to a task, and from a task to its result: what is executed, and by whom.

A task is plain data, ``{"who": [course, learner], "cells": [[index, source, name, graded], …]}``, and so is its
result (`autograde.results`): both can be kept, compared, and sent to another computer.
"""

from __future__ import annotations

import atexit
import functools
import json
import sys
from pathlib import Path

from autograde.fence import Fence, fence
from autograde.warm import NotWarm, Warm

__all__ = ["Executor", "ahead", "executor", "is_graded", "known_fence", "of_this_process", "task"]

_SKIPPED = "skip-execution"
_COLD = (
    "No warm interpreter can be had here: each hand-in gets a kernel of its own behind the same fence, which is slower."
)
_ahead = {}
known_fence = functools.lru_cache(maxsize=8)(
    lambda unfenced, hidden, limits: fence(unfenced=unfenced, hidden=hidden, limits=limits)
)


def task(nb, who):
    """Return the task that the code cells of ``nb`` are, for ``who`` (a ``(course, learner)``)."""
    cells = [
        [index, cell.source, str(cell.get("id", index)), is_graded(cell)]
        for index, cell in enumerate(nb.cells)
        if cell.cell_type == "code" and cell.source.strip() and _SKIPPED not in cell.metadata.get("tags", [])
    ]
    return {"who": list(who), "cells": cells}


def is_graded(cell):
    """Return whether ``cell`` is one that is marked by machine."""
    return cell.cell_type == "code" and bool(cell.metadata.get("nbgrader", {}).get("grade"))


class Executor:
    """Executes tasks behind ``fence``, in any number of threads: by a warm interpreter, or by kernels where there can be none.

    ``lessons`` are the paths of released notebooks that are going to be executed: the warm interpreter practises them.
    """

    def __init__(self, fence, lessons=()):
        self._fence = fence
        self._warm = Warm(fence, map(_sources, lessons)) if isinstance(fence, Fence) else None

    def start(self):
        """Begin to get warm, before there is anything to execute."""
        if self._warm is not None:
            self._warm.start()

    def run(self, task):
        """Return the result of ``task``."""
        warm = self._warm
        for _ in range(2 if warm else 0):  # the second time with a new interpreter
            try:
                return warm.run(task)
            except NotWarm:
                continue
        from autograde.kernel_run import kernel_run  # brings all of nbgrader along

        if self._warm is not None:
            print(_COLD, file=sys.stderr)
            self.close()
            self._warm = None
        return kernel_run(task, self._fence)

    def close(self):
        """End what is warm."""
        if self._warm is not None:
            self._warm.close()


@functools.lru_cache(maxsize=8)
def of_this_process(fence) -> Executor:
    """Return the one `Executor` that this process has for ``fence``, until it ends."""
    made = Executor(fence)
    atexit.register(made.close)
    return made


def ahead(fence, lessons=()):
    """Begin to warm up behind ``fence``, with ``lessons``, for the `executor` that will be asked for later."""
    _ahead[fence] = Executor(fence, lessons)
    atexit.register(_ahead[fence].close)
    _ahead[fence].start()


def executor(fence, lessons=()) -> Executor:
    """Return an `Executor` for ``fence`` that is the caller's to close: the one that was begun ahead, or a new one with ``lessons``."""
    return _ahead.pop(fence, None) or Executor(fence, lessons)


def _sources(path):
    """The code of a released notebook; what is wrong with it is told when a hand-in for it is looked at."""
    try:
        cells = json.loads(Path(path).read_text(encoding="utf-8"))["cells"]
        return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
    except (OSError, ValueError, LookupError, TypeError):
        return []

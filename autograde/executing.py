"""From a restored notebook to a task, and from a task to its result: what is executed, and by whom.

A task is plain data, ``{"who": [course, learner], "cells": [[index, source, name, graded], …]}``, and so is its
result (`autograde.results`): both can be kept, compared, and sent to another computer.
"""

from __future__ import annotations

import atexit
import functools
import sys

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
    """Executes tasks behind ``fence``, in any number of threads: by a warm interpreter, or by kernels where there can be none."""

    def __init__(self, fence):
        self._fence, self._warm = fence, Warm(fence) if isinstance(fence, Fence) else None

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


def ahead(fence):
    """Begin to warm up behind ``fence`` for the `executor` that will be asked for later."""
    _ahead[fence] = Executor(fence)
    atexit.register(_ahead[fence].close)
    _ahead[fence].start()


def executor(fence) -> Executor:
    """Return an `Executor` for ``fence`` that is the caller's to close: the one that was begun ahead, or a new one."""
    return _ahead.pop(fence, None) or Executor(fence)

"""Executions side by side: a few threads, each with a fence of its own, on this computer or on a cluster's.

The threads only wait for what runs behind the fences. All of nbgrader, and the gradebook, stay with the caller.
"""

from __future__ import annotations

import contextlib
import queue
from concurrent.futures import ThreadPoolExecutor

from autograde.executing import Executor
from autograde.trouble import Trouble

__all__ = ["Pool", "pool"]


class Pool:
    """``executors``, each with something to execute when there is something. `running` says whose work that is."""

    def __init__(self, executors):
        self.workers = len(executors)
        self._free, self._names = queue.SimpleQueue(), {}
        for one in executors:
            self._free.put(one)
        self._threads = ThreadPoolExecutor(self.workers, thread_name_prefix="fence")

    def submit(self, task, begin, keep):
        """Execute ``task`` when an executor is free: call ``begin()``, then ``keep(result)``; return the future."""
        return self._threads.submit(self._one, task, begin, keep)

    @property
    def running(self) -> tuple[str, ...]:
        """The learners whose work is being executed now."""
        return tuple(self._names.copy().values())

    def close(self):
        """Forget what has not begun, and wait for what has."""
        self._threads.shutdown(cancel_futures=True)

    def _one(self, task, begin, keep):
        executor = self._free.get()
        self._names[id(executor)] = task["who"][1]
        try:
            begin()
            keep(executor.run(task))
        finally:
            del self._names[id(executor)]
            self._free.put(executor)


@contextlib.contextmanager
def pool(fence, workers=1, cluster=None):
    """Open a `Pool` that executes behind ``fence``, or on the Dask cluster whose scheduler is at the address ``cluster``."""
    with contextlib.ExitStack() as stack:
        executors = stack.enter_context(_on_cluster(fence, cluster, workers)) if cluster else _here(fence, workers)
        for one in executors:
            stack.callback(one.close)
        made = Pool(executors)
        stack.callback(made.close)
        yield made


def _here(fence, workers):
    return [Executor(fence) for _ in range(workers)]


def _on_cluster(fence, address, workers):
    try:
        from autograde.cluster import executors
    except ImportError as error:
        raise Trouble(
            "--cluster needs the package dask[distributed]; install the extra “cluster” of halfcycle-autograde."
        ) from error
    return executors(fence, address, workers)

"""Executions side by side: a few threads, each with a fence of its own, on this computer or on a cluster's.

The threads only wait for what runs behind the fences. All of nbgrader, and the gradebook, stay with the caller.
"""

from __future__ import annotations

import contextlib
import threading
from concurrent.futures import ThreadPoolExecutor

from autograde.executing import executor as executor_for
from autograde.trouble import Trouble

__all__ = ["Pool", "pool"]


class Pool:
    """``workers`` executions at once, each by ``executor.run``. `running` says whose work is being executed."""

    def __init__(self, executor, workers):
        self.workers, self._executor, self._names = workers, executor, {}
        self._threads = ThreadPoolExecutor(workers, thread_name_prefix="fence")

    def submit(self, task, begin, keep):
        """Execute ``task`` when a worker is free: call ``begin()``, then ``keep(result)``; return the future."""
        self._executor.start()  # in this thread, with which it ends: those of the pool may end before
        return self._threads.submit(self._one, task, begin, keep)

    @property
    def running(self) -> tuple[str, ...]:
        """The learners whose work is being executed now."""
        return tuple(self._names.copy().values())

    def close(self):
        """Forget what has not begun, and wait for what has."""
        self._threads.shutdown(cancel_futures=True)

    def _one(self, task, begin, keep):
        here = threading.get_ident()
        self._names[here] = task["who"][1]
        try:
            begin()
            keep(self._executor.run(task))
        finally:
            del self._names[here]


@contextlib.contextmanager
def pool(fence, workers=1, cluster=None, lessons=()):
    """Open a `Pool` that executes behind ``fence``, or on the Dask cluster whose scheduler is at the address ``cluster``.

    ``lessons`` are the paths of the released notebooks that it is for.
    """
    executor = _on_cluster(fence, cluster) if cluster else executor_for(fence, lessons)
    with contextlib.ExitStack() as stack:
        stack.callback(executor.close)
        made = Pool(executor, executor.workers if cluster else workers)
        stack.callback(made.close)
        yield made


def _on_cluster(fence, address):
    try:
        from autograde.cluster import ClusterExecutor
    except ImportError as error:
        raise Trouble(
            "--cluster needs the package dask[distributed]; install the extra “cluster” of halfcycle-autograde."
        ) from error
    return ClusterExecutor(fence, address)

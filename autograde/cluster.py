"""Executions on a Dask cluster: each worker keeps a fence of its own, the gradebook stays here.

The optional extra ``cluster``. What goes out is a task, and what comes back is a result, both as plain JSON text. A
worker that is lost costs a retry.
"""

from __future__ import annotations

import json
from dataclasses import asdict

from distributed import Client, KilledWorker

from autograde import executing
from autograde.fence import Limits, NoFence
from autograde.kept import library_hash
from autograde.results import is_plain
from autograde.trouble import Trouble

__all__ = ["ClusterExecutor"]

_PATIENCE_SECONDS = 20
_RETRIES = 3


class ClusterExecutor:
    """Executes tasks on the workers of the Dask scheduler at ``address``, each behind a fence like ``fence``, in any number of threads."""

    def __init__(self, fence, address):
        limits = json.dumps(asdict(fence.limits))
        self._how = (isinstance(fence, NoFence), tuple(getattr(fence, "hidden", ())), limits, library_hash())
        try:
            self._client = Client(address, timeout=_PATIENCE_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise Trouble(f"No Dask scheduler answers at {address}; start it, or grade without --cluster.") from error
        self.workers = self._threads(address)

    def start(self):
        """Nothing is to be done ahead: the workers warm up by themselves."""

    def run(self, task):
        """Return the result of ``task``; one sentence where the cluster cannot execute it."""
        future = self._client.submit(_there, json.dumps(task), *self._how, pure=False, retries=_RETRIES)
        try:
            result = json.loads(future.result())
        except KilledWorker as error:
            raise Trouble("Every worker of the cluster that executed it was lost; look at the cluster.") from error
        if not is_plain(result):
            raise Trouble("The cluster answered with something that is no result; look at its workers.")
        return result

    def close(self):
        """Leave the cluster; it goes on."""
        self._client.close()

    def _threads(self, address):
        try:
            self._client.wait_for_workers(1, timeout=_PATIENCE_SECONDS)
        except TimeoutError:
            self._client.close()
            raise Trouble(f"The Dask scheduler at {address} has no workers; start some.") from None
        return sum(self._client.nthreads().values())


def _there(task, unfenced, hidden, limits, library):
    """What a worker does: the same as this computer would."""
    if library_hash() != library:
        raise Trouble("A worker of the cluster has another version of halfcycle; bring all of them to the same one.")
    fence = executing.known_fence(unfenced, tuple(hidden), Limits(**json.loads(limits)))
    return json.dumps(executing.of_this_process(fence).run(json.loads(task)))

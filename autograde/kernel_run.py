"""A task executed by a Jupyter kernel behind the fence: the way where no warm interpreter can be set up."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import zmq.asyncio
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from nbclient.client import NotebookClient
from nbclient.exceptions import CellTimeoutError, DeadKernelError
from nbformat.v4 import new_code_cell, new_notebook
from nbgrader.preprocessors import Execute

from autograde.results import GRADED_CELL_BYTES, MOST_OUTPUTS, TOO_MUCH, in_letters
from autograde.watch import Watch, fairly

__all__ = ["FOLDERS", "kernel_run"]

FOLDERS = "hc-"  # how the folder of a kernel's sockets begins; then the process that made it
_LARGEST_MESSAGE = 16 * 2**20
_OUTPUTS = ("stream", "display_data", "execute_result", "error")


def kernel_run(task, fence):
    """Execute ``task`` in a kernel of its own behind ``fence`` and return its result (see `autograde.results`)."""
    return fairly(lambda: _run(task, fence))


def _run(task, fence):
    cells = [new_code_cell(source, id=f"c{index}") for index, source, *_ in task["cells"]]
    run = _Run(task, fence)
    run.go(new_notebook(cells=cells))
    return run.result(), run.watch


class _Manager(AsyncKernelManager):
    """A kernel that is started through ``fence.command`` and spoken to over sockets in a folder of its own."""

    def __init__(self, fence, who):
        context = zmq.asyncio.Context()
        context.setsockopt(zmq.MAXMSGSIZE, _LARGEST_MESSAGE)
        super().__init__(context=context)
        self._created_context = True  # so that it is closed with the kernel
        self.behind, self.who = fence, who
        self.folder = Path(tempfile.mkdtemp(prefix=f"{FOLDERS}{os.getpid()}-"))
        self.transport, self.ip = "ipc", str(self.folder / "s")
        self.connection_file = str(self.folder / "kernel.json")
        self._kernel_spec = KernelSpec(
            argv=["-m", "ipykernel_launcher", "-f", "{connection_file}"], language="python", interrupt_mode="message"
        )

    def format_kernel_cmd(self, extra_arguments=None):
        """Return the whole command line, fence included."""
        return self.behind.command(super().format_kernel_cmd(extra_arguments), self.folder, self.who)

    def cleanup_resources(self, restart=False):
        """Remove the sockets with their folder."""
        done = super().cleanup_resources(restart)
        shutil.rmtree(self.folder, ignore_errors=True)
        return done


class _Run(Execute):
    """nbgrader's execution of the cells of one task; the instructor's own kernel settings play no part."""

    def __init__(self, task, fence):
        super().__init__()
        self._task, self._fence, self._limits = task, fence, fence.limits
        self._spent, self._spent_here, self._cell_here = 0, 0, None
        self._graded = {f"c{index}" for index, _, _, graded in task["cells"] if graded}
        self._begun, self._stopped = 0, ""

    def go(self, nb):
        NotebookClient.__init__(self, nb)
        self.shutdown_kernel = "immediate"  # nothing behind the fence is worth waiting for
        self.reset_execution_trackers()
        quiet = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.DEVNULL)
        with self.setup_kernel(**quiet), Watch(self.km.provisioner.pid, self.km.folder, self._limits) as watch:
            self._stopped = self._cells(watch)
        self.watch = watch

    def create_kernel_manager(self):
        self.km = _Manager(self._fence, tuple(self._task["who"]))
        return self.km

    def result(self):
        """Return what the cells that were begun showed, as plain data."""
        shown = zip(self._task["cells"][: self._begun], self.nb.cells, strict=False)
        cells = {
            str(index): {
                "count": cell.execution_count,
                "outputs": in_letters(json.loads(json.dumps(cell.outputs, default=str))),
            }
            for (index, *_), cell in shown
        }
        return {"cells": cells, "stopped": self._stopped}

    def _cells(self, watch):
        """Execute cell by cell; return one sentence when it had to end early, else ""."""
        ends = time.monotonic() + self._limits.notebook_seconds
        for place, (_, _, name, _) in enumerate(self._task["cells"]):
            left = int(ends - time.monotonic())
            if left < 1:
                return (
                    f"The notebook was stopped after {self._limits.notebook_seconds} seconds, before the cell {name}."
                )
            self.timeout, self._begun = min(self._limits.cell_seconds, left), place + 1
            try:
                self.preprocess_cell(self.nb.cells[place], {}, place)
            except Exception as trouble:
                return _why_stopped(trouble, watch, name)
        return TOO_MUCH if self._spent > self._limits.output_bytes else ""

    def process_message(self, msg, cell, cell_index):
        """Take one message of the kernel, unless it is a widget's, changes another output, or is beyond the bound."""
        kind, content = msg["msg_type"], msg["content"]
        if kind.startswith("comm") or kind == "update_display_data":
            return None
        content.pop("transient", None)
        if kind in _OUTPUTS:
            self._spend(cell, len(json.dumps(content, default=str)))
            if self._overspent(cell) or len(cell.outputs) >= MOST_OUTPUTS:
                return None
        return super().process_message(msg, cell, cell_index)

    def _spend(self, cell, size):
        """A graded cell has its own small allowance, so that a noisy notebook does not lose its answers."""
        if cell.id in self._graded:
            self._spent_here = self._spent_here + size if self._cell_here is cell else size
            self._cell_here = cell
        else:
            self._spent += size

    def _overspent(self, cell):
        if cell.id in self._graded:
            return self._spent_here > GRADED_CELL_BYTES
        return self._spent > self._limits.output_bytes


def _why_stopped(trouble, watch, name):
    if watch.breach:
        return f"The notebook was stopped in the cell {name}: {watch.breach}."
    if isinstance(trouble, DeadKernelError):
        return f"Python ended in the cell {name}, so what comes after it was not run."
    if isinstance(trouble, CellTimeoutError):
        return f"The cell {name} did not end and could not be interrupted, so what comes after it was not run."
    sort = type(trouble).__name__
    return f"The cell {name} sent what could not be read ({sort}), so what comes after it was not run."

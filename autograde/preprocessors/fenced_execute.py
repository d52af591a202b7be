"""nbgrader's execution, with the kernel behind the fence and what it sends kept within bounds."""

from __future__ import annotations

import json
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
from nbformat.v4 import new_output
from nbgrader.preprocessors import Execute
from traitlets import Any, Bool, List, Unicode

from autograde.fence import Limits, fence
from autograde.watch import Watch

__all__ = ["FencedExecute", "FencedKernelManager"]

_LARGEST_MESSAGE = 16 * 2**20
_GRADED_CELL_BYTES = 2**20
_OUTPUTS = ("stream", "display_data", "execute_result", "error")


class FencedKernelManager(AsyncKernelManager):
    """A kernel that is started through ``fence.command`` and spoken to over sockets in a folder of its own."""

    fence = Any()
    who = Any()

    def __init__(self, **traits):
        context = zmq.asyncio.Context()
        context.setsockopt(zmq.MAXMSGSIZE, _LARGEST_MESSAGE)
        super().__init__(context=context, **traits)
        self._created_context = True  # so that it is closed with the kernel
        self.folder = Path(tempfile.mkdtemp(prefix="hc-"))
        self.transport, self.ip = "ipc", str(self.folder / "s")
        self.connection_file = str(self.folder / "kernel.json")
        self._kernel_spec = KernelSpec(
            argv=["-m", "ipykernel_launcher", "-f", "{connection_file}"], language="python", interrupt_mode="message"
        )

    def format_kernel_cmd(self, extra_arguments=None):
        """Return the whole command line, fence included."""
        return self.fence.command(super().format_kernel_cmd(extra_arguments), self.folder, self.who)

    def cleanup_resources(self, restart=False):
        """Remove the sockets with their folder."""
        done = super().cleanup_resources(restart)
        shutil.rmtree(self.folder, ignore_errors=True)
        return done


class FencedExecute(Execute):
    """Execute a restored notebook behind the fence, whatever its code does.

    The outputs of each graded cell are taken away as evidence the moment it has run (``resources["halfcycle"]``),
    and an error stands in their place until `MarkSlips` has put the mark there: what is not marked is not paid.
    """

    unfenced = Bool(False, help="Run with no fence where every hand-in is trusted.").tag(config=True)
    hidden = List(Unicode(), help="Folders that stay out of sight behind the fence.").tag(config=True)
    course_id = Unicode("half-cycle", help="The course whose circuits the learners have.").tag(config=True)
    limits = Any(Limits(), help="The bounds of one submission, an autograde.fence.Limits.").tag(config=True)

    def preprocess(self, nb, resources):
        """Return the executed notebook and its evidence; a kernel that stops ends the run but not the marking."""
        NotebookClient.__init__(self, nb)
        self.shutdown_kernel = "immediate"  # nothing behind the fence is worth waiting for
        self.reset_execution_trackers()
        self._check_assign_resources(resources)
        self.who = (self.course_id, resources["nbgrader"]["student"])
        self.spent, self.spent_here, self.cell_here, self.evidence = 0, 0, None, {}
        quiet = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.DEVNULL)
        with self.setup_kernel(**quiet), Watch(self.km.provisioner.pid, self.km.folder, self.limits) as watch:
            stopped = self._run(nb, resources, watch)
        self._leave_unmarked(nb, stopped)
        resources["halfcycle"] = {"evidence": self.evidence}
        return nb, resources

    def create_kernel_manager(self):
        """Return the manager of a fenced kernel; the instructor's own kernel settings play no part."""
        wall = fence(unfenced=self.unfenced, hidden=self.hidden, limits=self.limits)
        self.km = FencedKernelManager(fence=wall, who=self.who)
        return self.km

    def _run(self, nb, resources, watch):
        """Execute cell by cell; return one sentence when it had to end early, else ""."""
        ends = time.monotonic() + self.limits.notebook_seconds
        for index, cell in enumerate(nb.cells):
            left = int(ends - time.monotonic())
            if left < 1:
                return (
                    f"The notebook was stopped after {self.limits.notebook_seconds} seconds, before the cell {cell.id}."
                )
            self.timeout = min(self.limits.cell_seconds, left)
            try:
                self.preprocess_cell(cell, resources, index)
            except Exception as trouble:
                return _why_stopped(trouble, watch, cell)
            finally:
                self._take_evidence(cell)
        if self.spent > self.limits.output_bytes:
            return "The notebook printed more than is kept; the rest was dropped."
        return ""

    def _take_evidence(self, cell):
        if _is_graded(cell):
            self.evidence[cell.metadata.nbgrader["grade_id"]] = cell.outputs
            cell.outputs = []

    def _leave_unmarked(self, nb, stopped):
        for cell in nb.cells:
            if _is_graded(cell):
                cell.outputs = [new_output("error", ename="NotMarked", evalue="not marked yet", traceback=[])]
        if stopped:
            nb.metadata.setdefault("halfcycle", {}).setdefault("person", []).append(stopped)

    def process_message(self, msg, cell, cell_index):
        """Take one message of the kernel, unless it is a widget's, changes another output, or is beyond the bound."""
        kind, content = msg["msg_type"], msg["content"]
        if kind.startswith("comm") or kind == "update_display_data":
            return None
        content.pop("transient", None)
        if kind in _OUTPUTS:
            self._spend(cell, len(json.dumps(content, default=str)))
            if self._overspent(cell):
                return None
        return super().process_message(msg, cell, cell_index)

    def _spend(self, cell, size):
        """A graded cell has its own small allowance, so that a noisy notebook does not lose its answers."""
        if _is_graded(cell):
            self.spent_here = self.spent_here + size if self.cell_here is cell else size
            self.cell_here = cell
        else:
            self.spent += size

    def _overspent(self, cell):
        if _is_graded(cell):
            return self.spent_here > _GRADED_CELL_BYTES
        return self.spent > self.limits.output_bytes


def _is_graded(cell):
    return cell.cell_type == "code" and bool(cell.metadata.get("nbgrader", {}).get("grade"))


def _why_stopped(trouble, watch, cell):
    if watch.breach:
        return f"The notebook was stopped in the cell {cell.id}: {watch.breach}."
    if isinstance(trouble, DeadKernelError):
        return f"Python ended in the cell {cell.id}, so what comes after it was not run."
    if isinstance(trouble, CellTimeoutError):
        return f"The cell {cell.id} did not end and could not be interrupted, so what comes after it was not run."
    sort = type(trouble).__name__
    return f"The cell {cell.id} sent what could not be read ({sort}), so what comes after it was not run."

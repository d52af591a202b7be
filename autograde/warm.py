"""A warm interpreter behind the fence: one submission after another, each in a fork that is apart from all others."""

from __future__ import annotations

import contextlib
import itertools
import os
import select
import signal
import socket
import subprocess
import time

from autograde.behind.frames import Frames, pack, unpack
from autograde.results import Gathered
from autograde.watch import Watch

__all__ = ["NotWarm", "Warm"]

_START_SECONDS = 60
_GRACE_SECONDS = 3  # for a cell to end after it has been interrupted
_PIECE = 2**18
_MOST_FRAMES = 200_000
_number = itertools.count()


class NotWarm(Exception):
    """The warm interpreter could not be set up on this computer."""


class Warm:
    """One warm interpreter behind ``fence`` (a `Fence`); it starts when it is first needed, and again after a bad end."""

    def __init__(self, fence):
        self._fence, self._process, self._control = fence, None, None

    def run(self, task):
        """Execute ``task`` (see `autograde.executing`) and return its result; raises `NotWarm` where nothing was run."""
        self._start()
        ours, theirs = socket.socketpair()
        with ours:
            with theirs:
                self._hand_over(theirs)
            limits = self._fence.limits
            ours.sendall(pack(_asked(task, limits, self._fence.environment(task["who"]))))
            with Watch(self._process.pid, None, limits) as watch:
                told = _Told(task, limits)
                ended = told.listen(ours, watch)
        if not ended or not self._is_free():
            self.close()
        return told.result(watch)

    def close(self):
        """End the interpreter and everything that it started; a later `run` starts another."""
        if self._process is not None:
            with contextlib.suppress(OSError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
            self._control.close()
        self._process = self._control = None

    def _start(self):
        if self._process is not None and self._process.poll() is None:
            return
        self.close()
        self._control, theirs = socket.socketpair()
        self._control.settimeout(_START_SECONDS)
        command = self._fence.zygote(next(_number))
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True}
        self._process = subprocess.Popen(command, stdin=theirs, **quiet)
        theirs.close()
        self._hear(b"ready\n")

    def _hand_over(self, theirs):
        try:
            socket.send_fds(self._control, [b"r"], [theirs.fileno()])
        except OSError as error:
            self.close()
            raise NotWarm("the warm interpreter has ended") from error

    def _hear(self, word):
        try:
            heard = self._control.recv(len(word), socket.MSG_WAITALL)
        except OSError:
            heard = b""
        if heard != word:
            self.close()
            raise NotWarm("the warm interpreter did not start")

    def _is_free(self):
        """Every process of the submission is gone when the interpreter says so."""
        with contextlib.suppress(NotWarm):
            self._control.settimeout(_GRACE_SECONDS)
            self._hear(b"done\n")
            return True
        return False


def _asked(task, limits, setting):
    return {
        "cells": [[index, source] for index, source, *_ in task["cells"]],
        "setting": setting,
        "cell_seconds": limits.cell_seconds,
        "notebook_seconds": limits.notebook_seconds,
    }


class _Told:
    """What one fork tells, frame by frame; it is a stranger, so it can only ever go on to the next cell."""

    def __init__(self, task, limits):
        self._names = {index: name for index, _, name, _ in task["cells"]}
        self._order, self._limits = [*self._names], limits
        self._gathered = Gathered(limits, [index for index, _, _, graded in task["cells"] if graded])
        self._place, self._open, self._ended, self._late = 0, False, False, False
        self._frames, self._count, self._began = Frames(), 0, time.monotonic()
        self._ends = self._began + limits.notebook_seconds + _GRACE_SECONDS

    def listen(self, ours, watch):
        """Take frames until the other end closes; False when it had to be given up before that."""
        while self._count < _MOST_FRAMES and not watch.breach:
            now, limit = time.monotonic(), self._limit()
            if now > limit:
                self._late = True
                return False
            if not select.select([ours], [], [], min(limit - now, 0.5))[0]:
                continue
            try:
                data = ours.recv(_PIECE)
            except OSError:
                return True
            if not data:
                return True
            for line in self._frames.feed(data):
                self._frame(unpack(line) or {})
        return False

    def _limit(self):
        """Until when the cell that is running may still answer."""
        start = self._began if self._count else self._ends
        return min(self._ends, start + self._limits.cell_seconds + _GRACE_SECONDS)

    def _frame(self, frame):
        self._count += 1
        kind, content = frame.get("kind"), frame.get("content")
        if kind == "refused" and self._count == 1:
            raise NotWarm(f"a fork could not go apart ({str(frame.get('why'))[:80]})")
        content = content if isinstance(content, dict) else {}
        if kind == "begin":
            self._begin(frame.get("cell"))
        elif kind == "late":
            self._ended = self._late = True
        elif kind == "end":
            self._ended = not self._open
        elif self._open:
            self._of_a_cell(kind, content)

    def _begin(self, cell):
        if not self._open and self._place < len(self._order) and cell == self._order[self._place]:
            self._open, self._began = True, time.monotonic()
            self._gathered.begin(cell)

    def _of_a_cell(self, kind, content):
        if kind != "done":
            self._gathered.take(kind, content)
            return
        self._gathered.done(content)
        self._open, self._place, self._began = False, self._place + 1, time.monotonic()

    def result(self, watch):
        """Return the result; a run that did not reach its end says why in one sentence."""
        if self._place < len(self._order):
            self._gathered.stopped = self._why(self._names[self._order[self._place]], watch)
        return self._gathered.result()

    def _why(self, cell, watch):
        if watch.breach:
            return f"The notebook was stopped in the cell {cell}: {watch.breach}."
        if self._count >= _MOST_FRAMES:
            return f"The notebook was stopped in the cell {cell}: it showed more things than it may."
        if self._late and (self._ended or time.monotonic() > self._ends):
            return f"The notebook was stopped after {self._limits.notebook_seconds} seconds, before the cell {cell}."
        if self._late:
            return f"The cell {cell} did not end and could not be interrupted, so what comes after it was not run."
        return f"Python ended in the cell {cell}, so what comes after it was not run."

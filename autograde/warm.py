"""A warm interpreter behind the fence: each submission in a fork of its own, that is apart from all others."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import select
import signal
import socket
import struct
import subprocess
import threading
import time

from autograde.behind.frames import LARGEST_ERROR, Frames, pack, unpack
from autograde.results import GRADED_CELL_BYTES, TOO_MUCH, Gathered
from autograde.watch import Watch, fairly, parent_of

__all__ = ["NotWarm", "Warm"]

_START_SECONDS = 60
_GRACE_SECONDS = 3  # for a cell to end after it has been interrupted
_PIECE = 2**18
_MOST_FRAMES = 200_000
_SMALL = 512  # the frames that begin and end a cell
_END = b'"kind": "done"'
_CREDENTIALS = struct.Struct("3i")
_number = itertools.count()


class NotWarm(Exception):
    """The warm interpreter could not be set up on this computer, or has been ended from outside."""


class Warm:
    """One warm interpreter behind ``fence`` (a `Fence`), for any number of threads; it starts when it is first needed.

    ``lessons`` are released lessons that it practises first (see `behind.practice`), each a list of the sources of its cells.
    """

    def __init__(self, fence, lessons=()):
        self._fence, self._lessons = fence, list(lessons)
        self._process, self._control, self._lock = None, None, threading.Lock()

    def run(self, task):
        """Execute ``task`` (see `autograde.executing`) and return its result; raises `NotWarm` where nothing was run."""
        return fairly(lambda: self._run(task))

    def _run(self, task):
        process = self.start()
        ours, theirs = socket.socketpair()
        with ours:
            ours.setsockopt(socket.SOL_SOCKET, socket.SO_PASSCRED, 1)
            with theirs:
                self._hand_over(theirs)
            limits = self._fence.limits
            told = _Told(task, limits)
            with _Fork(ours) as fork, Watch(fork.pid, None, limits, fork.end) as watch:
                told.ask(ours, self._fence.environment(task["who"]))
                told.listen(ours, watch)
        if not told.whole and process.poll() is not None:
            raise NotWarm("the warm interpreter has ended")
        return told.result(watch), watch

    def start(self):
        """Start the interpreter, unless it runs, and return its process."""
        with self._lock:
            if self._process is None or self._process.poll() is not None:
                self._end()
                self._begin()
            return self._process

    def close(self):
        """End the interpreter and everything that it started; a later `run` starts another."""
        with self._lock:
            self._end()

    def _begin(self):
        self._control, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "start_new_session": True}
        with theirs:
            self._process = subprocess.Popen(self._fence.zygote(next(_number)), stdin=theirs, **quiet)
        self._ready = False
        with contextlib.suppress(OSError):  # it has ended already, which is told when it is needed
            self._hand_lessons()

    def _hand_lessons(self):
        with open(os.memfd_create("lessons"), "w+", encoding="utf-8") as file:
            json.dump(self._lessons, file)
            file.flush()
            file.seek(0)
            socket.send_fds(self._control, [b"l"], [file.fileno()])

    def _end(self):
        if self._process is not None:
            with contextlib.suppress(OSError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
            self._control.close()
        self._process = self._control = None

    def _hand_over(self, theirs):
        try:
            with self._lock:
                self._wait_until_ready()
                socket.send_fds(self._control, [b"r"], [theirs.fileno()])
        except (OSError, AttributeError) as error:
            self.close()
            raise NotWarm("the warm interpreter did not start, or has ended") from error

    def _wait_until_ready(self):
        if not self._ready:
            self._control.settimeout(_START_SECONDS)
            if self._control.recv(16) != b"ready":
                raise ConnectionError
            self._ready = True


class _Fork:
    """The fork that speaks on the socket ``ours``: the kernel says which process sent its first words, before it read any task.

    ``pid`` is the first process of its namespace, the parent of the one that speaks: all of the namespace ends with it.
    """

    def __init__(self, ours):
        self._ours, self._handle = ours, None

    def __enter__(self):
        sender = _first_words(self._ours)
        self.pid = parent_of(sender) if sender else None
        try:
            self._handle = os.pidfd_open(self.pid) if self.pid else None
        except OSError:  # it has ended already
            self._handle = None
        if self._handle is None:
            raise NotWarm("a fork could not go apart")
        return self

    def __exit__(self, *_):
        """It is over when every process of the submission is gone."""
        self._ours.close()
        if not select.select([self._handle], [], [], _GRACE_SECONDS)[0]:
            self.end()
            select.select([self._handle], [], [], _GRACE_SECONDS)
        os.close(self._handle)

    def end(self):
        """End every process of the submission."""
        with contextlib.suppress(OSError):
            signal.pidfd_send_signal(self._handle, signal.SIGKILL)


def _first_words(ours):
    """Wait for them and return who sent them; it then waits for its task, so it is there as long as it is asked about."""
    ours.settimeout(_START_SECONDS)
    try:
        data, about, *_ = ours.recvmsg(_PIECE, socket.CMSG_SPACE(_CREDENTIALS.size))
    except OSError:
        return None
    if unpack(data) != {"kind": "here"}:  # it says why it could not go apart
        return None
    ours.settimeout(None)
    ours.setsockopt(socket.SOL_SOCKET, socket.SO_PASSCRED, 0)
    found = [_CREDENTIALS.unpack(raw) for _, kind, raw in about if kind == socket.SCM_CREDENTIALS]
    return found[0][0] if found and found[0][0] else None


def _asked(task, limits, setting):
    return {
        "cells": [[index, source] for index, source, *_ in task["cells"]],
        "setting": setting,
        "cell_seconds": limits.cell_seconds,
        "notebook_seconds": limits.notebook_seconds,
        "cell_bytes": _cell_bytes(limits),
    }


def _cell_bytes(limits):
    """What one cell may send. Beyond it the shell inside sends nothing more, and a stranger in its place is not heard."""
    return limits.output_bytes + GRADED_CELL_BYTES


class _Told:
    """What one fork tells, frame by frame; it is a stranger, so it can only ever go on to the next cell."""

    def __init__(self, task, limits):
        self._task = task
        self._names = {index: name for index, _, name, _ in task["cells"]}
        self._order, self._limits = [*self._names], limits
        self._gathered = Gathered(limits, [index for index, _, _, graded in task["cells"] if graded])
        self._place, self._open, self._ended, self._late = 0, False, False, False
        self._frames, self._count, self._began = Frames(), 0, time.monotonic()
        self._bytes, self._end_read = 2 * _cell_bytes(limits) * (len(self._order) + 1), False
        self._ends = self._began + limits.notebook_seconds + _GRACE_SECONDS

    @property
    def whole(self):
        """Whether it has told all to the end."""
        return self._place == len(self._order)

    def ask(self, ours, setting):
        """Send the task, and what is to stand in the environment."""
        with contextlib.suppress(OSError):  # it is gone already, and says no more
            ours.sendall(pack(_asked(self._task, self._limits, setting)))
        self._began = time.monotonic()
        self._ends = self._began + self._limits.notebook_seconds + _GRACE_SECONDS

    def listen(self, ours, watch):
        """Take frames until the other end closes or is given up."""
        while not self._too_many and not watch.breach:
            now, limit = time.monotonic(), self._limit()
            if now > limit:
                self._late = True
                return
            if not select.select([ours], [], [], min(limit - now, 0.5))[0]:
                continue
            try:
                data = ours.recv(_PIECE)
            except OSError:
                return
            if not data:
                return
            self._take(data)

    @property
    def _too_many(self):
        return self._count >= _MOST_FRAMES or self._bytes < 0

    def _take(self, data):
        self._bytes -= len(data)
        for line in self._frames.feed(data):
            self._count += 1
            affordable = self._gathered.afford(len(line))
            if affordable or self._may_end(line):
                self._frame(unpack(line) or {}, affordable)

    def _may_end(self, line):
        """What cannot be afforded is not even read, but for small frames and for one that ends the cell with an error."""
        if len(line) <= _SMALL:
            return True
        first = not self._end_read and len(line) <= 2 * LARGEST_ERROR and _END in line[:64]
        self._end_read = self._end_read or first
        return first

    def _limit(self):
        """Until when the cell that is running may still answer."""
        start = self._began if self._count else self._ends
        return min(self._ends, start + self._limits.cell_seconds + _GRACE_SECONDS)

    def _frame(self, frame, affordable):
        kind, content = frame.get("kind"), frame.get("content")
        content = content if isinstance(content, dict) else {}
        if kind == "begin":
            self._begin(frame.get("cell"))
        elif kind == "late":
            self._ended = self._late = True
        elif kind == "end":
            self._ended = not self._open
        elif self._open:
            self._of_a_cell(kind, content, affordable)

    def _begin(self, cell):
        if not self._open and self._place < len(self._order) and cell == self._order[self._place]:
            self._open, self._end_read, self._began = True, False, time.monotonic()
            self._gathered.begin(cell)

    def _of_a_cell(self, kind, content, affordable):
        if kind != "done":
            if affordable:
                self._gathered.take(kind, content)
            return
        self._gathered.done(content)
        self._open, self._place, self._began = False, self._place + 1, time.monotonic()

    def result(self, watch):
        """Return the result; a run that did not reach its end says why in one sentence."""
        if self._frames.dropped:
            self._gathered.stopped = TOO_MUCH
        if not self.whole:
            self._gathered.stopped = self._why(self._names[self._order[self._place]], watch)
        return self._gathered.result()

    def _why(self, cell, watch):
        if watch.breach:
            return f"The notebook was stopped in the cell {cell}: {watch.breach}."
        if self._too_many:
            return f"The notebook was stopped in the cell {cell}: it showed more things than it may."
        if self._late and (self._ended or time.monotonic() > self._ends):
            return f"The notebook was stopped after {self._limits.notebook_seconds} seconds, before the cell {cell}."
        if self._late:
            return f"The cell {cell} did not end and could not be interrupted, so what comes after it was not run."
        return f"Python ended in the cell {cell}, so what comes after it was not run."

"""A watch on one fenced submission: all its processes together, and the one folder, if any, that both sides can write."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from pathlib import Path

__all__ = ["Watch", "fairly", "parent_of", "resident_bytes"]

_PAGE = os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 4096
_EVERY_SECONDS = 0.25


class Watch:
    """While open, end the process ``pid`` with all its own as soon as they outgrow ``limits``; ``breach`` then says why.

    ``end`` is how: by default its process group is killed. ``doubtful`` says that it may have been another's doing.
    """

    def __init__(self, pid, folder, limits, end=None):
        self._end = end or (lambda: _kill(pid))
        self.breach, self.doubtful = "", False
        self._pid, self._folder, self._limits = pid, folder, limits
        self._memory_files = _memory_files()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look_on, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._over.set()
        self._thread.join()

    def _look_on(self):
        while not self._over.wait(_EVERY_SECONDS) and not self.breach:
            self.breach = self._outgrown()
        if self.breach:
            self._end()

    def _outgrown(self):
        if resident_bytes(self._pid) > self._limits.memory_bytes:
            return "it used more memory than it may"
        if _memory_files() - self._memory_files > self._limits.memory_bytes:
            self.doubtful = True
            return "it used more memory than it may"
        if self._folder is not None and _bytes_in(self._folder) > self._limits.file_bytes:
            return "it wrote more than it may"
        return ""


class _Turns:
    """Many together, or one alone."""

    def __init__(self):
        self._change, self._running, self._one = threading.Condition(), 0, False

    @contextlib.contextmanager
    def together(self):
        with self._change:
            self._change.wait_for(lambda: not self._one)
            self._running += 1
        try:
            yield
        finally:
            with self._change:
                self._running -= 1
                self._change.notify_all()

    @contextlib.contextmanager
    def alone(self):
        with self._change:
            self._change.wait_for(lambda: not self._one)
            self._one = True
            self._change.wait_for(lambda: not self._running)
        try:
            yield
        finally:
            with self._change:
                self._one = False
                self._change.notify_all()


_turns = _Turns()


def fairly(run):
    """Return the result of ``run()``, which returns it with its `Watch`; where that is in doubt, of a run with no other beside it.

    So nobody is stopped for what somebody else keeps in memory.
    """
    with _turns.together():
        result, watch = run()
    if watch.doubtful:
        with _turns.alone():
            result, _ = run()
    return result


def resident_bytes(pid):
    """Return the resident memory of ``pid`` and every process below it, in bytes."""
    parents = {}
    for place in os.listdir("/proc"):
        if place.isdigit() and (parent := parent_of(place)) is not None:
            parents.setdefault(parent, []).append(int(place))
    family, found = [pid], 0
    while family:
        one = family.pop()
        family += parents.get(one, [])
        found += _resident(one)
    return found


def _memory_files():
    """Files in memory count for no process: what all of this computer hold, in bytes, is watched for its growth."""
    try:
        lines = Path("/proc/meminfo").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) * 1024 for line in lines if line.startswith("Shmem:")), 0)


def parent_of(pid):
    """Return the parent of the process ``pid``, or None when there is no such process."""
    try:
        return int(Path("/proc", str(pid), "stat").read_text().rpartition(")")[2].split()[1])
    except (OSError, ValueError, IndexError):
        return None


def _resident(pid):
    try:
        return int(Path("/proc", str(pid), "statm").read_text().split()[1]) * _PAGE
    except (OSError, ValueError, IndexError):
        return 0


def _bytes_in(folder):
    """Names weigh as well: a folder can be filled with empty files."""
    found = 0
    for place, folders, files in os.walk(folder):
        found += 4096 * (len(folders) + len(files))
        for name in files:
            try:
                found += os.lstat(os.path.join(place, name)).st_blocks * 512
            except OSError:
                continue
    return found


def _kill(pid):
    try:
        os.killpg(pid, signal.SIGKILL)
    except OSError:
        return

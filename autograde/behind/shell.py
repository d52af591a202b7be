"""The learner's shell: ipykernel's own interactive shell without its sockets; what it shows goes out as frames."""

import asyncio
import contextlib
import io
import json
import os
import random
import signal
import sys
import threading
import time
from types import SimpleNamespace

from ipykernel import zmqshell
from ipykernel.compiler import XCachingCompiler
from IPython.core.error import StdinNotImplementedError
from jupyter_client.session import Session
from traitlets.config import Config

from .frames import LARGEST_ERROR, pack

__all__ = ["prepare", "serve"]

_CHUNK = 2**16
_NO_INPUT = "{} was called, but this frontend does not support input requests."


class ZMQInteractiveShell(zmqshell.ZMQInteractiveShell):
    """By its own name, because libraries ask for it to know that they are in a notebook."""

    transformed = (None, None)  # a cell and what has just been made of it: IPython asks twice in a row

    def enable_gui(self, gui=None):
        """There is no window to open; ``%matplotlib inline`` needs none."""
        self.active_eventloop = gui

    def transform_cell(self, raw_cell):
        (source, found), self.transformed = self.transformed, (None, None)
        return found if source == raw_cell else super().transform_cell(raw_cell)


class _Wire(Session):
    """Where the shell would send a message, it is written to the grading's socket instead."""

    def send(self, stream, msg_or_type, content=None, *_, **__):
        kind, content = (msg_or_type["msg_type"], msg_or_type["content"]) if content is None else (msg_or_type, content)
        _show(kind, content)


class _Stream(io.TextIOBase):
    """``sys.stdout`` or ``sys.stderr``: text in order, with what other programs write to the same descriptor."""

    encoding, errors = "UTF-8", "strict"

    def __init__(self, name, fd):
        self.name, self._fd, self._memory, self._parts, self._size = name, fd, _memory(fd), [], 0
        self._lock = threading.RLock()

    def write(self, text):
        if not isinstance(text, str):
            raise TypeError(f"write() argument must be str, not {type(text).__name__}")
        if os.getpid() != _at.mine:  # in a process that the lesson has forked
            os.write(self._fd, text.encode("utf-8", "replace"))
            return len(text)
        with self._lock:
            self._from_programs()
            self._parts.append(text)
            self._size += len(text)
            if self._size > _CHUNK:
                self.flush()
        return len(text)

    def writable(self):
        return True

    def isatty(self):
        return False

    def fileno(self):
        return self._fd

    def flush(self):
        with self._lock:
            self._from_programs()
            text, self._parts, self._size = "".join(self._parts), [], 0
            for start in range(0, len(text), _CHUNK):
                _show("stream", {"name": self.name, "text": text[start : start + _CHUNK]})

    def _from_programs(self):
        with contextlib.suppress(OSError):
            if size := os.fstat(self._memory).st_size:
                text = os.pread(self._memory, size, 0).decode("utf-8", "replace")
                os.ftruncate(self._memory, 0)
                self._parts.append(text)
                self._size += len(text)


_at = SimpleNamespace(socket=None, cell=None, lock=threading.RLock(), mine=0, room=0)


def _out(kind, content):
    with _at.lock:
        if _at.socket is not None and os.getpid() == _at.mine:
            _at.socket.sendall(pack({"cell": _at.cell, "kind": kind, "content": content}))


def _show(kind, content):
    """Send what the cell shows, as long as it is no more than is read outside; then it is not sent, and the cell goes on."""
    with _at.lock:
        size = len(pack(content)) if _at.room >= 0 else 0
        _at.room -= size
        if _at.room >= 0:
            _out(kind, content)


def prepare():
    """Make the one shell, before anything that asks IPython for it is imported."""
    os.environ["MPLBACKEND"] = "module://matplotlib_inline.backend_inline"
    config = Config()
    config.HistoryManager.enabled = False  # no file: what was typed is gone with the fork
    shell = ZMQInteractiveShell.instance(config=config, compiler_class=XCachingCompiler)
    wire = _Wire(key=b"")
    shell.displayhook.session = shell.display_pub.session = wire
    shell.displayhook.pub_socket = shell.display_pub.pub_socket = wire
    shell.displayhook.topic = b"execute_result"
    shell.kernel = SimpleNamespace(eventloop=None, get_parent=lambda *_: {}, shell=shell)
    return shell


def serve(socket):
    """Read what is to be run from ``socket`` (one line of JSON), run it, and send what it shows."""
    socket.sendall(pack({"kind": "here"}))  # before anything of the learner's is known to this process
    with socket.makefile("rb") as lines:
        asked = json.loads(lines.readline())
    os.environ.update(asked["setting"])
    _fresh()
    _at.socket, _at.mine = socket, os.getpid()
    sys.stdout, sys.stderr = _Stream("stdout", 1), _Stream("stderr", 2)
    asyncio.run(_run_all(asked))


def _memory(fd):
    """What other programs write to ``fd`` lands in memory, from where the stream takes it."""
    made = os.memfd_create("out")
    with open(f"/proc/self/fd/{made}", "ab") as appending:
        os.dup2(appending.fileno(), fd)
    return made


def _fresh():
    """A fork has the same chance numbers as its siblings; a kernel of its own would not."""
    random.seed()
    if numpy := sys.modules.get("numpy"):
        numpy.random.seed()


async def _run_all(asked):
    shell = ZMQInteractiveShell.instance()
    _refuse_input(shell)
    ends = time.monotonic() + asked["notebook_seconds"]
    for cell, source in asked["cells"]:
        left = int(ends - time.monotonic())
        if left < 1:
            _out("late", {"cell": cell})
            return
        _at.room = asked["cell_bytes"]
        await _run_one(shell, cell, source, min(asked["cell_seconds"], left))
        if shell.exit_now:
            return
    _out("end", {})


def _refuse_input(shell):
    import builtins
    import getpass

    def refuse(*_, **__):
        raise StdinNotImplementedError(_NO_INPUT.format("raw_input"))

    def refuse_password(*_, **__):
        raise StdinNotImplementedError(_NO_INPUT.format("getpass"))

    builtins.input, getpass.getpass = refuse, refuse_password


async def _run_one(shell, cell, source, seconds):
    _at.cell = cell
    _out("begin", {"seconds": seconds})
    shell._last_traceback, result = None, None
    timer = _Interrupt(seconds)
    try:
        with timer:
            result = await _execute(shell, source, timer)
    except KeyboardInterrupt:  # it came between two statements of ours
        shell.showtraceback()
    sys.stdout.flush()
    sys.stderr.flush()
    shell.payload_manager.clear_payload()
    ended = {"count": shell.execution_count - 1, "late": timer.rang, "dropped": _at.room < 0}
    _out("done", {**ended, "error": _error(shell, result)})


async def _execute(shell, source, timer):
    """As ipykernel does: what awaits runs in the loop that is there, everything else without one more turn of it."""
    try:
        transformed, trouble = shell.transform_cell(source), None
    except Exception:
        transformed, trouble = source, sys.exc_info()
    if not shell.should_run_async(source, transformed_cell=transformed, preprocessing_exc_tuple=trouble):
        shell.transformed = (None, None) if trouble else (source, transformed)
        return shell.run_cell(source, store_history=True)
    coroutine = shell.run_cell_async(
        source, store_history=True, transformed_cell=transformed, preprocessing_exc_tuple=trouble
    )
    timer.task, result = asyncio.ensure_future(coroutine), None
    try:
        result = await timer.task
    finally:
        timer.task = None
        shell.events.trigger("post_execute")
        shell.events.trigger("post_run_cell", result)
    return result


def _error(shell, result):
    error = result and (result.error_before_exec or result.error_in_exec)
    if result is not None and error is None and not getattr(shell, "_last_traceback_during_displayhook", False):
        return None
    name, said = type(error).__name__, str(error)
    told = {"ename": name, "evalue": said, "traceback": list(shell._last_traceback or [])}
    if len(pack(told)) <= LARGEST_ERROR:
        return told
    return {"ename": name[:1000], "evalue": said[:1000], "traceback": []}


class _Interrupt:
    """After ``seconds`` the cell is interrupted, as by the button in a notebook."""

    def __init__(self, seconds):
        self.seconds, self.task, self.rang = seconds, None, False

    def __enter__(self):
        signal.signal(signal.SIGALRM, self._ring)
        signal.setitimer(signal.ITIMER_REAL, self.seconds)

    def __exit__(self, *_):
        signal.setitimer(signal.ITIMER_REAL, 0)
        return False

    def _ring(self, *_):
        self.rang = True
        if self.task is not None:
            self.task.get_loop().call_soon_threadsafe(self.task.cancel)
        else:
            raise KeyboardInterrupt

"""The warm interpreter: imports what lessons need, once, and forks for every submission, any number side by side.

Started by the fence with the arguments of `apart.Terms`. Its standard input is a socket on which the grading passes
first an open file with the released lessons to practise, then one open socket for each submission; nothing of a
submission is ever read in this process, so that nothing of it can be in the next fork.
"""

import contextlib
import gc
import importlib
import json
import os
import pkgutil
import socket
import sys

from . import apart, practice

__all__ = ["main"]

_LIBRARIES = (
    "ipywidgets",
    "numpy",
    "numpy.polynomial",
    "numpy.random",
    "schemdraw",
    "schemdraw.elements",
    "schemdraw.logic",
)
_NOT_FOR_LESSONS = ("cli", "demo", "server", "study", "release", "handout", "__main__")


def main():
    """Serve until the grading closes its end."""
    terms = apart.Terms(*sys.argv[1:])
    sys.path.remove("/fence")
    shell = _warm()
    control = socket.socket(fileno=os.dup(0))
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    practice.practise(_lessons(control), shell.ZMQInteractiveShell)
    gc.collect()
    gc.freeze()
    control.sendall(b"ready")
    slots = {}
    while (handed := socket.recv_fds(control, 1, 1))[0]:
        _reap(slots)
        slot = next(number for number in range(len(slots) + 1) if number not in slots)
        slots[slot] = _fork(terms, slot, shell, control, handed[1][0])


def _lessons(control):
    handed = socket.recv_fds(control, 1, 1)
    with open(handed[1][0], encoding="utf-8") as file:
        return json.load(file)


def _reap(slots):
    """Forget the forks that have ended: their places, and so their users, may be taken by others."""
    for slot, child in list(slots.items()):
        if os.waitpid(child, os.WNOHANG)[0]:
            del slots[slot]


def _fork(terms, slot, shell, control, fd):
    """Return the process in which the submission on the socket ``fd`` runs."""
    child = os.fork()
    if child == 0:
        try:
            control.close()
            apart.leave(terms, slot, lambda: shell.serve(socket.socket(fileno=fd)), fd)
        except BaseException as error:
            with contextlib.suppress(OSError):
                os.write(fd, f'{{"kind": "refused", "why": "{type(error).__name__}"}}\n'.encode())
        finally:
            os._exit(0)
    os.close(fd)
    return child


def _warm():
    """Import what a lesson may import and draw one picture, so that no fork pays for it; return the shell module."""
    from . import shell

    shell.prepare()
    _lessons_own()
    _one_picture()
    return shell


def _lessons_own():
    import halfcycle

    own = (module.name for module in pkgutil.walk_packages(halfcycle.__path__, "halfcycle."))
    for name in (*_LIBRARIES, *(name for name in own if name.split(".")[1] not in _NOT_FOR_LESSONS)):
        with contextlib.suppress(Exception):  # what a lesson cannot import either
            importlib.import_module(name)


def _one_picture():
    import io

    import matplotlib.pyplot as plt

    figure, axes = plt.subplots()
    axes.plot([0, 1], label="$x$")
    axes.set_title("warm")
    axes.legend()
    figure.savefig(io.BytesIO(), format="png", bbox_inches="tight")
    plt.close("all")

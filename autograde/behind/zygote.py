"""The warm interpreter: imports what lessons need, once, and forks for every submission.

Started by the fence with the arguments of `apart.Terms`. Its
standard input is a socket on which the grading passes one open socket for each submission; nothing of a submission is
ever read in this process, so that nothing of it can be in the next fork.
"""

import contextlib
import gc
import importlib
import os
import pkgutil
import socket
import sys

from . import apart

__all__ = ["main"]

_NOT_FOR_LESSONS = ("cli", "demo", "server", "study", "release", "handout", "__main__")


def main():
    """Serve until the grading closes its end."""
    desk, *numbers = sys.argv[1:]
    terms = apart.Terms(desk, *numbers)
    sys.path.remove("/fence")
    shell = _warm()
    control = socket.socket(fileno=os.dup(0))
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    gc.collect()
    gc.freeze()
    control.sendall(b"ready\n")
    while (handed := socket.recv_fds(control, 1, 1))[0]:
        _fork(terms, shell, control, handed[1][0])


def _fork(terms, shell, control, fd):
    """One submission on ``fd``, from beginning to end; the next is waited for only when every process of it is gone."""
    child = os.fork()
    if child == 0:
        try:
            control.close()
            apart.leave(terms, lambda: shell.serve(socket.socket(fileno=fd)))
        except BaseException as error:
            with contextlib.suppress(OSError):
                os.write(fd, f'{{"kind": "refused", "why": "{type(error).__name__}"}}\n'.encode())
        finally:
            os._exit(0)
    os.close(fd)
    os.waitpid(child, 0)
    control.sendall(b"done\n")


def _warm():
    """Import what a lesson may import and draw one picture, so that no fork pays for it; return the shell module."""
    from . import shell

    shell.prepare()
    _lessons_own()
    _one_picture()
    return shell


def _lessons_own():
    import halfcycle

    for module in pkgutil.walk_packages(halfcycle.__path__, "halfcycle."):
        if module.name.split(".")[1] not in _NOT_FOR_LESSONS:
            with contextlib.suppress(Exception):  # what a lesson cannot import either
                importlib.import_module(module.name)


def _one_picture():
    import io

    import matplotlib.pyplot as plt

    figure, axes = plt.subplots()
    axes.plot([0, 1], label="$x$")
    axes.set_title("warm")
    axes.legend()
    figure.savefig(io.BytesIO(), format="png", bbox_inches="tight")
    plt.close("all")

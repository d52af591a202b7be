"""Before any learner comes, the warm interpreter runs the released lessons once, so that forks need not work out the
examples that are the same for everybody: what the library keeps by its arguments is there already.

Nothing else may stay: no shell is there while it lasts, names are thrown away, figures and widgets closed, settings put
back; files would lie on a desk that no fork sees.
"""

import contextlib
import gc
import os
import signal
import warnings

__all__ = ["practise"]

_MOST_SECONDS = 20
_WHO = {"HALFCYCLE_COURSE": "practice", "HALFCYCLE_LEARNER": "practice"}


def practise(lessons, shell):
    """Run each of ``lessons``, a list of the sources of its cells, as nobody's; ``shell`` is the class of the one shell."""
    import matplotlib
    import numpy as np

    before = dict(os.environ)
    os.environ.update(_WHO)
    kept = (_without(shell), matplotlib.rc_context(), np.errstate(), np.printoptions(), warnings.catch_warnings())
    try:
        with contextlib.ExitStack() as stack, _bounded():
            for one in kept:
                stack.enter_context(one)
            for cells in lessons:
                _run(cells)
    except _Enough:
        return
    finally:
        os.environ.clear()
        os.environ.update(before)
        _close()


class _Enough(BaseException):
    """The time for practice is over."""


def _run(cells):
    names = {"__name__": "__main__"}
    for source in cells:
        try:
            exec(compile(source, "<practice>", "exec"), names)
        except _Enough:
            raise
        except BaseException:  # a blank to be filled in, or a line for IPython
            continue


@contextlib.contextmanager
def _without(shell):
    """What a lesson does to the shell that it finds would be found by every learner."""
    one = shell.instance()
    shell.clear_instance()
    try:
        yield
    finally:
        for kind in shell._walk_mro():
            kind._instance = one


@contextlib.contextmanager
def _bounded():
    def ring(*_):
        raise _Enough

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, _MOST_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _close():
    import matplotlib.pyplot as plt
    from ipywidgets import Widget

    plt.close("all")
    Widget.close_all()
    gc.collect()

"""What is done for a submission before it is executed: look at it, know whether it is graded already, restore it."""

from __future__ import annotations

import time
from concurrent.futures import Future
from dataclasses import dataclass, field

from autograde import executing, stamps, triage
from autograde.kept import Kept
from autograde.preprocessors import FencedExecute
from autograde.preprocessors.restore_cells import restored

__all__ = ["Prepared", "Preparer"]


@dataclass
class Prepared:
    """A `triage.Submission` on its way. ``future`` ends when its result is kept; None when it is graded already. ``nb`` is restored."""

    submission: triage.Submission
    stamp: dict = field(default_factory=dict)
    future: Future | None = None
    nb: dict | None = None

    def wait(self) -> bool:
        """Wait until it can be finished; return whether it is graded already. Raises what went wrong."""
        if self.future is None:
            return True
        self.future.result()
        return False


class Preparer:
    """Prepares the submissions of ``course`` for ``writer``; ``force`` prepares unchanged ones as well."""

    def __init__(self, course, config, writer, journal, force=False):
        self._course, self._writer, self._journal, self._force = course, writer, journal, force
        self._step = FencedExecute(config=config)

    def prepare(self, submission, pool) -> Prepared:
        """Return ``submission`` with its execution under way in ``pool``; what is wrong with it is told by `Prepared.wait`."""
        try:
            return self._prepared(submission, pool)
        except Exception as error:
            return Prepared(submission, future=_failed(error))

    def _prepared(self, submission, pool):
        book = triage.look_inside(submission)
        stamp = stamps.stamp(self._course, submission)
        if not self._force and stamps.is_current(self._course, submission, stamp):
            return Prepared(submission, stamp)
        nb, _ = restored(self._writer.released(submission.lesson), book)
        if said := triage.beside(submission):
            nb.metadata["halfcycle"]["person"].append(said)
        task = executing.task(nb, (self._step.course_id, submission.learner))
        kept = Kept(self._step.kept_folder, submission.learner, submission.lesson)
        if not self._force and kept.read(task, self._step.limits) is not None:
            return Prepared(submission, stamp, _done(), nb)
        run = _Run(task, kept, self._step.limits, self._journal, submission)
        return Prepared(submission, stamp, pool.submit(task, run.begin, run.keep), nb)


class _Run:
    """One execution: told to the journal when it begins, kept and told when it has ended."""

    def __init__(self, task, kept, limits, journal, submission):
        self._task, self._kept, self._limits, self._journal = task, kept, limits, journal
        self._who, self._began = {"learner": submission.learner, "lesson": submission.lesson}, 0.0

    def begin(self):
        self._began = time.monotonic()
        self._journal.tell("executing", **self._who)

    def keep(self, result):
        self._kept.write(self._task, self._limits, result)
        seconds = round(time.monotonic() - self._began, 3)
        self._journal.tell("executed", **self._who, seconds=seconds, stopped=result["stopped"])


def _done():
    future = Future()
    future.set_result(None)
    return future


def _failed(error):
    future = Future()
    future.set_exception(error)
    return future

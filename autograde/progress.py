"""The line that an instructor sees while a grading runs: done, failed, the time that remains, and whose work is running."""

from __future__ import annotations

import sys
import threading

from tqdm import tqdm

__all__ = ["GradingBar"]

_MOST_NAMES = 4


class GradingBar:
    """A progress bar on ``file`` (standard error), seen only in a terminal: wraps the submissions, and is ``told`` the journal."""

    def __init__(self, file=None):
        self._file, self._bar, self._lock = file or sys.stderr, None, threading.Lock()
        self._running, self._failed = {}, 0

    def __call__(self, submissions):
        """Return ``submissions``, counted while they are gone through."""
        shape = "{desc}: {n_fmt}/{total_fmt} done [{elapsed}, {remaining} to go]{postfix}"
        self._bar = tqdm(
            submissions,
            desc="Grading",
            disable=None,
            leave=False,
            file=self._file,
            bar_format=shape,
            mininterval=0,
            miniters=1,
        )
        return self._bar

    def told(self, event, **facts):
        """Take in one line of the journal (see `autograde.journal`)."""
        with self._lock:
            if event == "executing":
                self._running[facts["learner"], facts["lesson"]] = None
            elif event in ("executed", "outcome"):
                self._running.pop((facts["learner"], facts["lesson"]), None)
                self._failed += facts.get("status") == "not graded"
            if self._bar is not None and event in ("executing", "executed", "outcome"):
                self._bar.set_postfix_str(self.words())

    def words(self) -> str:
        """What is said beside the numbers.

        >>> bar = GradingBar()
        >>> bar.told("executing", learner="amara", lesson="01"); bar.told("outcome", learner="bo", lesson="01", status="not graded")
        >>> bar.words()
        '1 not graded; running: amara'
        """
        names = list(dict.fromkeys(learner for learner, _ in self._running))
        more = [f"{len(names) - _MOST_NAMES} more"] if len(names) > _MOST_NAMES else []
        running = [f"running: {', '.join([*names[:_MOST_NAMES], *more])}"] if names else []
        return "; ".join([f"{self._failed} not graded", *running])

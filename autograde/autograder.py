"""One submission through nbgrader's own Autograde, in this process."""

from __future__ import annotations

import copy
import logging
import warnings

from nbformat.warnings import DuplicateCellId, MissingIDFieldWarning
from nbgrader.converters import Autograde
from nbgrader.converters.base import NbGraderException
from nbgrader.coursedir import CourseDirectory
from sqlalchemy.exc import SAWarning

__all__ = ["autograde_one"]


_BESIDE_THE_POINT = (SAWarning, DuplicateCellId, MissingIDFieldWarning)  # nbgrader's tables; what `RestoreCells` mends


class _Autograde(Autograde):
    """nbgrader's converter logs what went wrong and goes on; here the cause itself is wanted."""

    cause = None

    def init_assignment(self, assignment_id, student_id):
        with _Kept(self):
            super().init_assignment(assignment_id, student_id)

    def convert_single_notebook(self, notebook_filename):
        with _Kept(self):
            super().convert_single_notebook(notebook_filename)


class _Kept:
    def __init__(self, converter):
        self.converter = converter

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace):
        if isinstance(error, Exception):
            self.converter.cause = error
        return False


def autograde_one(config, learner, lesson):
    """Run nbgrader's Autograde on one submission, anew; raise what went wrong, as it is. ``config`` is `course.config`'s."""
    config = copy.deepcopy(config)
    config.Autograde.force = True
    config.CourseDirectory.student_id, config.CourseDirectory.assignment_id = learner, lesson
    converter = _Autograde(coursedir=CourseDirectory(config=config), config=config)
    converter.log = _quiet()
    try:
        with warnings.catch_warnings():
            for kind in _BESIDE_THE_POINT:
                warnings.simplefilter("ignore", kind)
            converter.start()
    except NbGraderException:
        if converter.cause is None:
            raise
        raise converter.cause from None


def _quiet():
    """What nbgrader would print belongs into no terminal: the outcome says it in one sentence."""
    log = logging.getLogger("autograde.nbgrader")
    log.propagate = False
    if not log.handlers:
        log.addHandler(logging.NullHandler())
    return log

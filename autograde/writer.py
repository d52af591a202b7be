"""One submission from its restored notebook to the gradebook: nbgrader's steps on one notebook in memory, and no more.

`nbgrader autograde` takes the same steps by files: it copies, writes, reads again, and opens the gradebook for every
step. Here the released lesson is put through the sanitising steps once, every notebook through the marking steps of
the course once, and the gradebook is open all the time. A test holds the two roads to the same end.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
from pathlib import Path

import nbformat
from nbgrader.coursedir import CourseDirectory
from nbgrader.preprocessors import AssignLatePenalties, CheckCellMetadata, SaveAutoGrades
from nbgrader.utils import find_all_files, rmtree

from autograde.book import Book
from autograde.files import make_folder, write_whole
from autograde.preprocessors import RestoreCells
from autograde.trouble import Trouble

__all__ = ["Writer"]

_BY_THE_BOOK = (SaveAutoGrades, AssignLatePenalties)  # what `Book.save` does
_ONCE = (CheckCellMetadata,)  # nothing of a learner's comes into what it looks at
_SINGLE_FILE = 0o444


class Writer:
    """Grades the notebooks of ``course`` one after another; use it as a context manager."""

    def __init__(self, course, config):
        self._course, self._config = Path(course), config
        self._directory = CourseDirectory(config=config)
        self._steps = [
            _quiet(kind(config=config))
            for kind in config.Autograde.autograde_preprocessors
            if kind not in (*_BY_THE_BOOK, *_ONCE)
        ]
        self._released, self._book = {}, Book(config)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._book.__exit__()

    def released(self, lesson):
        """Return the released notebook of ``lesson`` after the sanitising steps of nbgrader, anew only when it has changed."""
        path = self._course / "release" / lesson / f"{lesson}.ipynb"
        if not path.is_file():
            raise Trouble(f"The lesson {lesson} has not been released to this course; release it first.")
        when = path.stat().st_mtime_ns
        if self._released.get(lesson, (None,))[0] != when:
            self._released[lesson] = when, self._sanitised(lesson, nbformat.read(path, as_version=4))
        return self._released[lesson][1]

    def write(self, submission, nb):
        """Take the restored notebook ``nb`` through the steps, write it under ``autograded/``, and save what it earned."""
        resources = self._resources(submission.learner, submission.lesson)
        for step in self._steps:
            if step.enabled:
                nb, resources = step.preprocess(nb, resources)
        self._put(submission, nb)
        when = self._directory.get_existing_timestamp(str(submission.folder))
        self._book.save(submission.learner, submission.lesson, nb, when)

    def _sanitised(self, lesson, nb):
        resources = self._resources("", lesson)
        for kind in self._config.Autograde.sanitize_preprocessors:
            if kind is not RestoreCells:
                nb, resources = _quiet(kind(config=self._config)).preprocess(nb, resources)
        return nb

    def _resources(self, learner, lesson):
        address = self._config.CourseDirectory.db_url
        return {"nbgrader": {"student": learner, "assignment": lesson, "notebook": lesson, "db_url": address}}

    def _put(self, submission, nb):
        """The folder is made anew: what was handed in with the notebook, over that the lesson's own files, and the notebook."""
        place = self._course / "autograded" / submission.learner / submission.lesson
        if place.exists():
            rmtree(str(place))
        make_folder(place)
        lesson = Path(self._config.CourseDirectory.source_directory) / submission.lesson
        for folder in (submission.folder, lesson):
            for name in find_all_files(str(folder), [*self._directory.ignore, "*.ipynb"]):
                to = place / Path(name).relative_to(folder)
                make_folder(to.parent)
                shutil.copy(name, to)
                os.chmod(to, _SINGLE_FILE)
        write_whole(place / f"{submission.lesson}.ipynb", json.dumps(nb, ensure_ascii=False), _SINGLE_FILE)


def _quiet(step):
    """What nbgrader would print belongs into no terminal: the outcome says it in one sentence."""
    step.log = logging.getLogger("autograde.nbgrader")
    step.log.propagate = False
    if not step.log.handlers:
        step.log.addHandler(logging.NullHandler())
    return step

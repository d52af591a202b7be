"""The gradebook as one CSV table, by nbgrader's own exporter.

nbgrader writes names as they stand, so a comma in one would shift every column after it. Its exporter therefore reads
the gradebook through a view in which texts are quoted for CSV (RFC 4180); everything it reckons stays its own.
"""

from __future__ import annotations

import logging
import tempfile
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

from nbgrader.plugins import CsvExportPlugin

from autograde.files import write_whole
from autograde.papers.cells import quoted

__all__ = ["write"]


class _View:
    """An open nbgrader Gradebook whose students' texts are safe in a CSV file."""

    def __init__(self, gradebook):
        self._gradebook = gradebook
        self.assignments = sorted(gradebook.assignments, key=_by_due_date)

    @property
    def students(self):
        """Every student with the four columns that the exporter asks for."""
        return [
            SimpleNamespace(
                id=_Id(quoted(each.id), each.id),
                first_name=quoted(each.first_name),
                last_name=quoted(each.last_name),
                email=quoted(each.email),
            )
            for each in sorted(self._gradebook.students, key=_by_name)
        ]

    def find_submission(self, assignment, student):
        """As the gradebook does, by the id as it is there."""
        return self._gradebook.find_submission(assignment, getattr(student, "plain", student))


def _by_due_date(assignment) -> tuple:
    """The order of the exporter, the same on every database: each has its own for letters and for what is missing."""
    return assignment.duedate or datetime.min, assignment.name


def _by_name(student) -> tuple:
    return student.last_name or "", student.first_name or "", student.id


class _Id(str):
    """A student's id as it is written, that still knows how the gradebook has it."""

    def __new__(cls, written, plain):
        found = super().__new__(cls, written)
        found.plain = plain
        return found


def write(gradebook, place: Path) -> Path:
    """Write the table of every lesson and learner to ``place``; ``gradebook`` is an open nbgrader Gradebook."""
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder, "gradebook.csv")
        exporter = CsvExportPlugin(to=str(draft))
        exporter.log = logging.getLogger("autograde.papers")
        exporter.export(_View(gradebook))
        write_whole(place, draft.read_text())
    return place

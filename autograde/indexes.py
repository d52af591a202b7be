"""Indexes that nbgrader's tables lack: without them every look at one hand-in reads the grades of all.

nbgrader finds a hand-in's notebooks, and a notebook's grades and comments, by columns that come second in its own
indexes, or in none. A gradebook with these is an ordinary one of nbgrader's to every other program.
"""

from __future__ import annotations

import contextlib

__all__ = ["add"]

_COLUMNS = (
    ("submitted_assignment", "student_id"),
    ("submitted_notebook", "assignment_id"),
    ("grade", "notebook_id"),
    ("comment", "notebook_id"),
)


def add(gradebook) -> None:
    """Give an open nbgrader ``gradebook`` the indexes that it has not yet; where it lets nobody, it stays as it is, and slower."""
    from sqlalchemy import inspect, text
    from sqlalchemy.exc import DBAPIError

    looked = inspect(gradebook.engine)
    for table, column in _COLUMNS:
        name = f"ix_{table}_{column}"
        if name not in {one["name"] for one in looked.get_indexes(table)}:
            with contextlib.suppress(DBAPIError), gradebook.engine.begin() as connection:
                connection.execute(text(f'CREATE INDEX "{name}" ON "{table}" ("{column}")'))

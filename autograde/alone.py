"""One writer at a time: two commands that change marks at once would undo or double each other's work.

The course folder is locked for this computer. A gradebook on a PostgreSQL server is locked there as well, for every computer
that uses it. Either lock ends with the process that holds it, however that ends. Marking by hand needs neither.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from autograde import course as courses
from autograde import database
from autograde.trouble import Trouble

__all__ = ["LOCK", "alone"]

LOCK = 0x68616C6663796301  # of the whole database, which is one course's gradebook; any number that nobody else takes


@contextlib.contextmanager
def alone(course):
    """Hold ``course`` while its marks are being changed; one sentence when another command does."""
    with _folder(course), _gradebook(course):
        yield


@contextlib.contextmanager
def _folder(course):
    try:
        import fcntl
    except ImportError:  # no such lock on this system
        yield
        return
    try:
        handle = os.open(Path(course) / ".grading", os.O_RDWR | os.O_CREAT, 0o660)
    except OSError as error:
        raise Trouble(f"The course folder {course} cannot be written; make it writable.") from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Trouble(f"{course} is being graded already; wait until that has ended.") from None
        yield
    finally:
        os.close(handle)


@contextlib.contextmanager
def _gradebook(course):
    address = courses.settings(course).gradebook
    if not database.is_postgres(address):
        yield
        return
    from sqlalchemy import func, select

    with database.connection(address) as server:
        if not server.scalar(select(func.pg_try_advisory_lock(LOCK))):
            raise Trouble(f"{course} is being graded already, from another computer; wait until that has ended.")
        yield

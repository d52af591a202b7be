"""A new course folder: an ordinary nbgrader course whose settings come from `autograde.course`."""

from __future__ import annotations

import json
import os
from pathlib import Path

from autograde import course as courses
from autograde import database, indexes
from autograde.files import make_folder, write_whole
from autograde.trouble import Trouble, reason

__all__ = ["FOLDERS", "new", "opened"]

FOLDERS = ("release", "submitted", "autograded", "feedback", "history", "slips", "marks", "reports")
_CONFIG = '''"""Nothing to set here: every nbgrader setting of this course comes from the checkout of the grading room."""

from autograde.course import configure

configure(get_config(), __file__)  # noqa: F821 (nbgrader provides get_config)
'''


def new(
    folder: Path, *, name: str = courses.DEFAULT_COURSE, title: str = "", exchange: str = "", gradebook: str = ""
) -> None:
    """Make the course ``folder``; every learner's circuit is drawn from ``name``, so it stays as it is ever after.

    ``exchange`` is the root of nbgrader's exchange, on a hub; ``gradebook`` the address of an empty database (see
    `autograde.database`), "" for a file in the folder.
    """
    try:
        if folder.exists() and not folder.is_dir():
            raise Trouble(f"{folder} is a file; choose another name for the course folder.")
        if folder.exists() and any(folder.iterdir()):
            raise Trouble(f"{folder} is not empty and stays as it is; choose a new folder for the course.")
    except OSError as error:
        raise Trouble(f"{folder} cannot be read ({reason(error)}); choose another folder for the course.") from error
    if gradebook:
        database.check_empty(os.path.expandvars(gradebook))
    for each in FOLDERS:
        make_folder(folder / each)
    said = {"course": name, "title": title or folder.resolve().name, "exchange": exchange, "gradebook": gradebook}
    text = json.dumps({key: value for key, value in said.items() if value}, indent=1) + "\n"
    write_whole(folder / "course.json", text, 0o600 if database.has_password(gradebook) else 0o644)
    write_whole(folder / "nbgrader_config.py", _CONFIG)
    with opened(folder) as book:
        indexes.add(book)


def opened(folder: Path):
    """The open nbgrader Gradebook of the course in ``folder`` (a context manager), or one sentence when there is no course."""
    if not folder.is_dir():
        raise Trouble(f"There is no course folder {folder}; make one with: autograde new {folder}")
    if not (folder / "nbgrader_config.py").is_file():
        raise Trouble(
            f"{folder} is no course folder (it has no nbgrader_config.py); make one with: autograde new NEW-FOLDER"
        )
    try:
        return courses.gradebook(folder)
    except Trouble:
        raise
    except Exception as error:
        where = "that its folder is writable"
        if database.is_postgres(courses.settings(folder).gradebook):
            where = "its address in course.json, and that its server runs"
        raise Trouble(f"The gradebook of {folder} cannot be opened ({database.why(error)}); check {where}.") from error

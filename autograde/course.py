"""The course folder as nbgrader sees it: every setting in one place, so that every stock nbgrader command works there.

``COURSE/nbgrader_config.py`` holds no setting of its own:

    from autograde.course import configure
    configure(get_config(), __file__)

``COURSE/course.json`` may hold ``"course"`` (the id from which every learner's circuit is drawn), ``"gradebook"``
(the address of a PostgreSQL database, see `autograde.database`, or any of SQLAlchemy's; ``$NAMES`` of the environment are
filled in, so that a password stays out of the file), and ``"exchange"`` (the root of nbgrader's exchange, on a hub).
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path

from traitlets.config import Config

from autograde import between_requests, database
from autograde.trouble import Trouble, reason
from halfcycle.release import RELEASE_CONFIG

__all__ = ["LESSONS", "Settings", "config", "configure", "gradebook", "mend_path", "settings"]

LESSONS = Path(__file__).resolve().parent.parent / "lessons"
DEFAULT_COURSE = "half-cycle"


@dataclass(frozen=True)
class Settings:
    """What ``course.json`` says: the ``folder``, the ``course`` id, the address of the ``gradebook``, the root of the ``exchange`` or ""."""

    folder: Path
    course: str
    gradebook: str
    exchange: str = ""


def settings(folder):
    """Return the `Settings` of the course in ``folder``; one sentence when its ``course.json`` is damaged."""
    folder = Path(folder).resolve()
    path = folder / "course.json"
    try:
        found = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
        course, address = str(found.get("course") or DEFAULT_COURSE), str(found.get("gradebook") or "")
        exchange = str(found.get("exchange") or "")
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error
    except (ValueError, AttributeError) as error:
        raise Trouble(f'{path} is damaged; it should hold for example {{"course": "{DEFAULT_COURSE}"}}.') from error
    address = database.full_address(os.path.expandvars(address)) or f"sqlite:///{folder / 'gradebook.db'}"
    return Settings(folder, course, address, exchange)


def configure(c, place=None):
    """Fill the nbgrader configuration ``c`` for the course that holds ``place`` (its folder or its config file; else the working folder)."""
    place = Path(place or os.getcwd()).resolve()
    found = settings(place.parent if place.is_file() else place)
    mend_path()
    between_requests.begin_anew()
    _folders(c, found)
    _steps(c)
    _feedback(c)
    c.ClearSolutions.update(RELEASE_CONFIG["ClearSolutions"])
    c.Autograde.create_student = False
    c.RestoreCells.release_folder = str(found.folder / "release")
    c.FencedExecute.course_id = c.MarkSlips.course_id = found.course
    c.FencedExecute.hidden = [str(found.folder)]
    c.FencedExecute.kept_folder = str(found.folder / "executed")
    c.MarkSlips.course_folder = str(found.folder)
    return c


def config(folder, *, unfenced=False):
    """Return the configuration for grading in this process, patient with a gradebook that another process is writing."""
    c = configure(Config(), folder)
    c.CourseDirectory.db_url = database.patient(c.CourseDirectory.db_url)
    c.FencedExecute.unfenced = unfenced
    return c


def gradebook(folder):
    """Return the open nbgrader Gradebook of the course in ``folder``; use it as a context manager."""
    from nbgrader.api import Gradebook

    mend_path()
    c = config(folder)
    return Gradebook(c.CourseDirectory.db_url, c.CourseDirectory.course_id)


def mend_path():
    """nbgrader calls alembic and jupyter as programs, which are found only when this Python's own folder is searched."""
    own = str(Path(sys.executable).parent)
    places = os.environ.get("PATH", os.defpath).split(os.pathsep)
    if own not in places:
        os.environ["PATH"] = os.pathsep.join([own, *places])


def _folders(c, found):
    c.CourseDirectory.root = str(found.folder)
    c.CourseDirectory.course_id = found.course
    c.CourseDirectory.source_directory = str(LESSONS)
    c.CourseDirectory.db_url = found.gradebook
    if found.exchange:
        c.Exchange.root = found.exchange
        c.CourseDirectory.groupshared = True


def _steps(c):
    """nbgrader's own lists with our steps in their places: the order can be read here."""
    from nbconvert.preprocessors import ClearMetadataPreprocessor
    from nbgrader import preprocessors as stock

    from autograde import preprocessors as ours

    c.Autograde.sanitize_preprocessors = [
        ours.RestoreCells,
        stock.ClearOutput,
        stock.DeduplicateIds,
        stock.OverwriteKernelspec,
        stock.OverwriteCells,
        stock.CheckCellMetadata,
    ]
    c.Autograde.autograde_preprocessors = [
        ours.FencedExecute,
        ours.TameOutputs,
        stock.IgnorePattern,
        ClearMetadataPreprocessor,
        stock.LimitOutput,
        ours.MarkSlips,
        stock.SaveAutoGrades,
        stock.AssignLatePenalties,
        stock.CheckCellMetadata,
    ]


def _feedback(c):
    """nbgrader's feedback pages with the marks and hints on top, and nothing in them that needs a network."""
    from nbconvert.preprocessors import CSSHTMLHeaderPreprocessor
    from nbgrader.preprocessors import GetGrades

    from autograde.feedback import LeadWithMarks

    c.GenerateFeedback.preprocessors = [GetGrades, LeadWithMarks, CSSHTMLHeaderPreprocessor]
    c.GenerateFeedback.post_convert_hook = "autograde.feedback.offline"

"""The instructor's report: facts, pictures, one page, and tables beside it; and nbgrader's feedback pages."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from autograde.files import write_whole
from autograde.pseudonyms import masked
from autograde.reports.gather import gather
from autograde.reports.page import page
from autograde.reports.tables import tables

__all__ = ["title", "write"]


def title(course: Path) -> str:
    """The heading of the report: the course's title, else the name of its folder."""
    try:
        found = json.loads((course / "course.json").read_text(encoding="utf-8"))
        return str(found.get("title") or course.resolve().name)
    except (OSError, ValueError, AttributeError):
        return course.resolve().name


def write(course: Path, gradebook, *, pseudonyms: bool = False) -> Path:
    """Write ``COURSE/reports/report.html`` and its tables; return the page. With ``pseudonyms``, under reports/pseudonyms/."""
    facts, folder = gather(course, gradebook, title=title(course)), course / "reports"
    if pseudonyms:
        facts, folder = masked(course, facts), folder / "pseudonyms"
    for name, text in tables(facts).items():
        write_whole(folder / name, text)
    place = folder / "report.html"
    write_whole(place, page(facts, now=datetime.now(UTC)))
    return place

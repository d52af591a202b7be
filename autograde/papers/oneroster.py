"""Line items and results as OneRoster 1.2 CSV, which most registers can read.

1EdTech, OneRoster 1.2, CSV binding: the columns and their order as seen in two open implementations of it, the meaning
of each from memory. All that the standard calls a reference and that this course does not know (school, class, category,
session) is named after the course; a register that has its own ids for them maps those four.
"""

from __future__ import annotations

import io
import uuid
import zipfile
from collections.abc import Mapping
from datetime import UTC, datetime

from autograde.papers.cells import table
from autograde.papers.standing import Standing, title_of

__all__ = ["FILES", "LINE_ITEMS", "RESULTS", "files", "packed"]

LINE_ITEMS = (
    "sourcedId", "status", "dateLastModified", "title", "description", "assignDate", "dueDate", "classSourcedId",
    "categorySourcedId", "academicSessionSourcedId", "resultValueMin", "resultValueMax", "schoolSourcedId",
)  # fmt: skip
RESULTS = (
    "sourcedId", "status", "dateLastModified", "lineItemSourcedId", "studentSourcedId", "scoreStatus", "score",
    "scoreDate", "comment", "textScore", "classSourcedId", "inProgress", "incomplete", "late", "missing",
)  # fmt: skip
FILES = (
    "academicSessions", "categories", "classes", "classResources", "courses", "courseResources", "demographics",
    "enrollments", "lineItemLearningObjectiveIds", "lineItems", "lineItemScoreScales", "orgs", "resources",
    "resultLearningObjectiveIds", "results", "resultScoreScales", "roles", "scoreScales", "userProfiles",
    "userResources", "users",
)  # fmt: skip
_OURS = {"lineItems": "bulk", "results": "bulk"}


def files(course: str, found: Mapping[str, list[Standing]], now: datetime) -> dict[str, str]:
    """``{file name: text}`` of the three files for the course named ``course``; ``now`` is when they are made."""
    changed = now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    standings = [one for own in found.values() for one in own]
    items = {one.lesson: one for one in sorted(standings, key=lambda each: each.marked)}  # one that knows its points
    return {
        "manifest.csv": _manifest(course),
        "lineItems.csv": table([_item(course, items[each], changed) for each in sorted(items)], LINE_ITEMS),
        "results.csv": table([_result(course, one, changed) for one in standings], RESULTS),
    }


def packed(course: str, found: Mapping[str, list[Standing]], now: datetime) -> bytes:
    """The same as one zip file, as registers take it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for name, text in files(course, found, now).items():
            box.writestr(name, text)
    return out.getvalue()


def _manifest(course: str) -> str:
    rows = [("manifest.version", "1.0"), ("oneroster.version", "1.2")]
    rows += [(f"file.{name}", _OURS.get(name, "absent")) for name in FILES]
    rows += [("source.systemName", course), ("source.systemCode", course)]
    return table(rows, ("propertyName", "value"))


def _item(course: str, one: Standing, changed: str) -> list:
    due = f"{one.due:%Y-%m-%d}" if one.due else changed[:10]
    named = [_id(course, what) for what in ("class", "category", "session")]
    about = f"Lesson {one.lesson[:2]} of the course"
    return [_id(course, one.lesson), "active", changed, title_of(one.lesson), about, changed[:10] if not one.due else due,
            due, *named, "0", f"{one.most:g}", _id(course, "school")]  # fmt: skip


def _result(course: str, one: Standing, changed: str) -> list:
    status = "not submitted" if not one.marked else "partially graded" if one.waits else "fully graded"
    when = f"{one.when:%Y-%m-%d}" if one.when else changed[:10]
    flags = [False, one.waits, one.late, not one.marked]
    return [
        _id(course, one.lesson, one.learner), "active", changed, _id(course, one.lesson), one.learner, status,
        f"{one.points:g}" if one.marked else "", when, "", "", _id(course, "class"),
        *(str(flag).lower() for flag in flags),
    ]  # fmt: skip


def _id(*names: str) -> str:
    """An id that stays the same whenever the files are made again."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "|".join(names)))

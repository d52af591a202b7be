"""What is kept of every grading, as plain JSON beside the gradebook.

``COURSE/slips/LEARNER/LESSON.json`` is what was handed in:
``{"course", "learner", "lesson", "when", "slips": {item: slip or null}, "person": [sentence], "notes": [sentence]}``.

``COURSE/marks/LEARNER/LESSON.json`` is what it earned:
``{"course", "learner", "lesson", "when", "library", "points", "possible", "person", "notes", "flags", "stamp",
"items": {item: {"points", "possible", "verdict", "hint", "value", "unit", "section", "key_version"}}}``.
``flags`` is a list of ``{"item", "learners"}``: answers that are right for another learner's circuit. ``stamp``
names what was graded; it is written last, so a file without it is graded again.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from autograde.files import write_whole
from autograde.marking import mark
from autograde.trouble import Trouble, reason

__all__ = ["all_marks", "all_slips", "mark_slips", "marks_path", "read", "slips_path", "to_json", "write"]


def slips_path(course, learner, lesson):
    """Return where the slips of ``learner`` for ``lesson`` are kept."""
    return Path(course) / "slips" / learner / f"{lesson}.json"


def marks_path(course, learner, lesson):
    """Return where the marks of ``learner`` for ``lesson`` are kept."""
    return Path(course) / "marks" / learner / f"{lesson}.json"


def all_slips(course):
    """Return the paths of every kept slips file, in order."""
    return sorted((Path(course) / "slips").glob("*/*.json"))


def all_marks(course):
    """Return the paths of every kept marks file, in order."""
    return sorted((Path(course) / "marks").glob("*/*.json"))


def read(path):
    """Return the record kept at ``path``, None when there is none; one sentence when it is damaged."""
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Trouble(f"{path} cannot be read ({reason(error)}); make it readable.") from error
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise Trouble(f"{path} is damaged; delete it and grade again.")
    return found


def write(path, record):
    """Write ``record`` to ``path`` all at once."""
    write_whole(Path(path), to_json(record))


def to_json(record):
    """Return ``record`` as the text that is kept."""
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def mark_slips(slips, keys, traps, variant):
    """Return ``{item: Mark}`` for every key, from ``slips``, a dict from item to slip or None."""
    return {item: mark(slips.get(item), key, traps[item], variant) for item, key in keys.items()}


def slips_record(variant, lesson, slips, person, notes):
    """Return the slips record of the learner whose circuit ``variant`` is."""
    return {**_who(variant, lesson), "slips": slips, "person": person, "notes": notes}


def marks_record(variant, lesson, kept, keys, marks):
    """Return the marks record that belongs to the slips record ``kept``."""
    return {
        **_who(variant, lesson),
        "library": version("halfcycle"),
        "points": sum(one.points for one in marks.values()),
        "possible": sum(key.points for key in keys.values()),
        "person": kept["person"],
        "notes": kept["notes"],
        "flags": [],
        "items": {item: _item(key, marks[item], kept["slips"].get(item)) for item, key in keys.items()},
    }


def _who(variant, lesson):
    when = datetime.now(UTC).isoformat(timespec="seconds")
    return {"course": variant.course, "learner": variant.learner, "lesson": lesson, "when": when}


def _item(key, one, slip):
    return {
        "points": one.points,
        "possible": key.points,
        "verdict": one.verdict,
        "hint": one.hint,
        "value": slip["value"] if slip else None,
        "unit": slip["unit"] if slip else key.unit,
        "section": key.section,
        "key_version": key.version,
    }

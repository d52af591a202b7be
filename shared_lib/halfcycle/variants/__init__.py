"""Whose circuit is it: every learner and lesson has its own circuit values, the same on every computer.

A value is picked from a list of preferred values by a whole number taken from SHA-256 of
``course|lesson|learner|name|attempt``. No random generator and no floating point takes part in the choice,
so a learner's laptop, the grading room and next year's Python all draw the same circuit.

The spec of lesson NN is ``lesson_NN.py`` in this folder:

- ``DRAWS``: a dict from name to `Draw`;
- ``accept(values)``, optional: False turns the whole draw away and the next attempt is drawn;
- ``derived(values)``, optional: a dict from name to ``(value, unit, words)`` of printed values that follow from the drawn ones.
"""

import hashlib
import importlib
import json
import os
import pkgutil
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

__all__ = [
    "DEFAULT_COURSE",
    "DEFAULT_LEARNER",
    "Circuit",
    "Draw",
    "circuit",
    "lesson_number",
    "lessons",
    "who",
    "who_file",
]

DEFAULT_COURSE = "half-cycle"
DEFAULT_LEARNER = "guest"
WHO_FILE = ".halfcycle.json"
_ATTEMPTS = 1000


@dataclass(frozen=True)
class Draw:
    """One value to draw: ``choices`` (plain numbers), their ``unit`` and the ``words`` that name the value to a learner.

    >>> Draw((40, 50, 75), "VA", "rated load of the transformer").unit
    'VA'
    """

    choices: tuple
    unit: str
    words: str


@dataclass(frozen=True)
class Circuit:
    """One learner's own circuit for one lesson. Every value is an attribute, a plain number in the unit `rows` gives.

    Circuits are equal when lesson and values are equal, whoever they belong to.
    """

    course: str = field(compare=False)
    lesson: str
    learner: str = field(compare=False)
    entries: tuple  # of (name, value, unit, words), in the order they are shown

    def __getattr__(self, name):
        if name.startswith("_"):  # unpickling and copying ask before `entries` is there
            raise AttributeError(name)
        values = self.values()
        if name in values:
            return values[name]
        raise AttributeError(f"The circuit of lesson {self.lesson} has no value {name!r}. It has: {', '.join(values)}.")

    def __dir__(self):
        return [*super().__dir__(), *self.values()]

    def values(self):
        """Return ``{name: value}``, each value in the unit `rows` gives."""
        return {name: value for name, value, _, _ in self.entries}

    def rows(self):
        """Return a list of ``(words, value, unit)`` in the order in which a table shows them."""
        return [(words, value, unit) for _, value, unit, words in self.entries]


def circuit(course, lesson, learner):
    """Return the `Circuit` of ``learner`` in ``lesson`` ("01", or the folder name, whose first two characters count).

    >>> circuit("half-cycle", "01", "guest") == circuit("half-cycle", "01_what_24_volts_means", "guest")
    True
    """
    number = lesson_number(lesson)
    course, learner = _tidy(course), _tidy(learner)
    spec = _spec(number)
    values = _draw(spec, f"{course}|{number}|{learner}")
    entries = [(name, value, spec.DRAWS[name].unit, spec.DRAWS[name].words) for name, value in values.items()]
    derived = spec.derived(dict(values)) if hasattr(spec, "derived") else {}
    entries += [(name, value, unit, words) for name, (value, unit, words) in derived.items()]
    _reject_bad_names(number, [name for name, *_ in entries])
    return Circuit(course, number, learner, tuple(entries))


def lesson_number(lesson):
    """Return the two digits that number a lesson, from "01" or from its folder name.

    >>> lesson_number("05_a_capacitor_behind_the_diode")
    '05'
    """
    number = str(lesson)[:2]
    if len(number) == 2 and number.isascii() and number.isdigit():
        return number
    raise ValueError(f"A lesson is named by two digits, such as 01; {str(lesson)!r} does not begin with two digits.")


def lessons():
    """Return the two-digit numbers of the lessons that have a circuit, in order."""
    names = [module.name for module in pkgutil.iter_modules(__path__)]
    return sorted(name.removeprefix("lesson_") for name in names if name.startswith("lesson_"))


def who():
    """Return ``(course, learner)``: from the environment, else from the nearest ``.halfcycle.json``, else the defaults.

    The environment (HALFCYCLE_COURSE, HALFCYCLE_LEARNER) comes first because the grading room sets it:
    there the place of a submission says whose it is, whatever the notebook's own folder claims.
    """
    told = (os.environ.get("HALFCYCLE_COURSE"), os.environ.get("HALFCYCLE_LEARNER"))
    if all(told):
        return told
    found = _told_by_file()
    return (told[0] or found.get("course") or DEFAULT_COURSE, told[1] or found.get("learner") or DEFAULT_LEARNER)


def who_file():
    """Return the path of the nearest ``.halfcycle.json``, in the working folder or one above it, or None."""
    here = Path.cwd()
    return next((folder / WHO_FILE for folder in (here, *here.parents) if (folder / WHO_FILE).is_file()), None)


def _told_by_file():
    path = who_file()
    if path is None:
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return {key: str(found[key]) for key in ("course", "learner") if found.get(key)}
    except (OSError, ValueError, AttributeError) as trouble:
        raise ValueError(
            f"The file {WHO_FILE} in the folder {path.parent.name} cannot be read, so it is not known whose circuit this is. "
            "Delete that file and start `halfcycle study` again; it will ask for your name."
        ) from trouble


def _spec(number):
    try:
        return importlib.import_module(f"{__name__}.lesson_{number}")
    except ModuleNotFoundError as missing:
        if missing.name != f"{__name__}.lesson_{number}":
            raise
    raise LookupError(f"There is no lesson {number} with its own circuit. There are: {', '.join(lessons())}.")


def _draw(spec, place):
    for attempt in range(_ATTEMPTS):
        values = {
            name: draw.choices[_index(place, name, attempt, len(draw.choices))] for name, draw in spec.DRAWS.items()
        }
        if not hasattr(spec, "accept") or spec.accept(dict(values)):
            return values
    raise ValueError(
        f"{spec.__name__} turned away {_ATTEMPTS} draws in a row: its lists and its limits do not fit together."
    )


def _index(place, name, attempt, count):
    digest = hashlib.sha256(f"{place}|{name}|{attempt}".encode()).digest()
    return int.from_bytes(digest, "big") % count


def _tidy(text):
    """One spelling for one person: composed accents, no stray blanks (file systems disagree on the former)."""
    return unicodedata.normalize("NFC", str(text)).strip()


def _reject_bad_names(number, names):
    for name in names:
        if (
            name in Circuit.__dict__
            or name in Circuit.__dataclass_fields__
            or names.count(name) > 1
            or name.startswith("_")
        ):
            raise ValueError(f"The circuit of lesson {number} may not call a value {name!r}: the name is taken.")

"""What every bench is made of: controls, situations, readings, and the state that is shown.

A bench module has `NAME`, `CONTROLS`, `SITUATIONS`, a frozen dataclass `Settings`, `start(circuit) -> Settings` and
`state(settings, before=None) -> State`, all without widgets; `traces`, `markers` and `wiring_picture` of settings, and
`PRINTED`, the two settings on its hand-out; and a `.toml` file of the same name with its `Talk`.
"""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from importlib.resources import files
from typing import Any

from halfcycle.amounts import amount

__all__ = ["Control", "Reading", "Situation", "State", "Talk", "changed", "own", "talk", "with_own"]


@dataclass(frozen=True)
class Control:
    """One control: the field of the settings it sets, its words and unit, its choices, and how a choice is written."""

    name: str
    words: str
    unit: str
    choices: tuple
    show: Callable[[Any], str] = str

    @property
    def label(self) -> str:
        """Name with unit, as the eye and the screen reader get it."""
        return f"{self.words} ({self.unit})" if self.unit else self.words


@dataclass(frozen=True)
class Situation:
    """A named situation: the settings it changes, and for some the caution that the real thing deserves."""

    words: str
    changes: Mapping[str, Any]


@dataclass(frozen=True)
class Reading:
    """What one meter shows: its words, the value, the unit; `besides` is a lesser reading in the same place."""

    words: str
    value: float
    unit: str
    besides: "Reading | None" = None

    @property
    def text(self) -> str:
        return amount(self.value, self.unit)

    @property
    def whole(self) -> str:
        """Value, words and the lesser reading in one line of plain text."""
        more = f" ({self.besides.whole})" if self.besides else ""
        return f"{self.words} {self.text}{more}"


@dataclass(frozen=True)
class State:
    """All that a bench shows at one setting. `danger` says that the setting would harm something or someone."""

    settings: Any
    readings: tuple[Reading, ...]
    sentence: str
    caution: str
    wiring_svg: str = field(repr=False)
    scope_svg: str = field(repr=False)
    danger: bool = False


@dataclass(frozen=True)
class Talk:
    """What a presenter needs of a bench: its title, also in short, what it is about, three questions, the cautions."""

    title: str
    short: str
    about: str
    questions: tuple[str, ...]
    cautions: tuple[str, ...]


@cache
def talk(name: str) -> Talk:
    """The talk that stands beside the bench called `name`.

    >>> len(talk("rectifier").questions)
    3
    """
    words = tomllib.loads(files(__package__).joinpath(f"{name}.toml").read_text(encoding="utf-8"))
    short = words.get("short", words["title"])
    return Talk(words["title"], short, words["about"], tuple(words["questions"]), tuple(words["cautions"]))


def changed(now, before) -> set[str]:
    """Names of the settings that differ; none where there is nothing before."""
    if before is None:
        return set()
    return {f.name for f in fields(now) if getattr(now, f.name) != getattr(before, f.name)}


def own(circuit, *names: str, default=None):
    """The first of the attributes `names` that `circuit` has, or `default`.

    >>> own(None, "load_ohm", default=330)
    330
    """
    return next((getattr(circuit, name) for name in names if getattr(circuit, name, None) is not None), default)


def with_own(control: Control, value) -> tuple:
    """The choices of a control, with `value` put in its place where it is none of them, or one of them but for rounding.

    >>> with_own(Control("load_ohm", "Load", "Ω", (100, 330)), 270), with_own(Control("f", "C", "F", (0.0, 0.3)), 0.1 + 0.2)
    ((100, 270, 330), (0.0, 0.30000000000000004))
    """
    if value in control.choices:
        return control.choices
    others = (choice for choice in control.choices if not _same(choice, value))
    return tuple(sorted((*others, value)))


def _same(one, other) -> bool:
    numbers = isinstance(one, int | float) and isinstance(other, int | float)
    return numbers and math.isclose(one, other, rel_tol=1e-9)

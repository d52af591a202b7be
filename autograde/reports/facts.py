"""What the report knows: every marked item as one plain row, and the counts that follow from the rows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from autograde.by_hand import WAITING
from autograde.roster import Learner

__all__ = ["KINDS", "Facts", "HandedIn", "Item", "Planted", "Row", "kind", "words"]

KINDS = ("right", "known slip", "other answer", "no answer")
_STUCK_SHARE = 0.5
_MORE_THAN_CHANCE = 2
_ABBREVIATIONS = {"va": "VA", "e12": "E12"}
_SCALES = {"1000": "a thousand times too large", "0.001": "a thousand times too small"}
_SCALES |= {"1000000": "a million times too large", "0.000001": "a million times too small"}


@dataclass(frozen=True)
class Row:
    """One item of one hand-in as it was marked; ``twins`` are learners whose own circuit this answer fits, ``by_hand`` a text that a person marks.

    ``ratio`` is a wrong answer that fits no known slip, over the key of the learner's own circuit; None for any other.
    """

    learner: str
    lesson: str
    item: str
    points: float
    most: float
    verdict: str
    hint: str = ""
    value: object = None
    unit: str = ""
    twins: tuple[str, ...] = ()
    by_hand: bool = False
    ratio: float | None = None

    @property
    def waits(self) -> bool:
        """Whether a person has still to mark it: until then it counts neither for nor against anyone."""
        return self.verdict == WAITING


@dataclass(frozen=True)
class HandedIn:
    """One hand-in: when (UTC), whether late, how many were kept, and why a person should look at it."""

    learner: str
    lesson: str
    when: datetime | None = None
    late: bool = False
    kept: int = 1
    person: tuple[str, ...] = ()
    late_penalty: float = 0.0


@dataclass(frozen=True)
class Planted:
    """One line of a rehearsal: what an invented learner was made to do in one item, and what the marking found."""

    learner: str
    lesson: str
    item: str
    planted: str
    found: str
    agrees: bool


@dataclass(frozen=True)
class Item:
    """One item over the cohort: how many gave each kind of answer, and the slips behind it, commonest first."""

    lesson: str
    item: str
    counts: Mapping[str, int]
    slips: tuple[tuple[str, int], ...]


def kind(verdict: str) -> str:
    """Which of `KINDS` a verdict is.

    >>> kind("trap:rms-for-peak"), kind("wrong unit"), kind("scale:1000")
    ('known slip', 'other answer', 'known slip')
    """
    if verdict in ("right", "no answer"):
        return verdict
    return "known slip" if verdict.startswith(("trap:", "scale:", "polarity")) else "other answer"


def words(verdict: str) -> str:
    """A verdict as a reader says it.

    >>> words("trap:rms-for-peak"), words("scale:0.001"), words("polarity")
    ('rms for peak', 'a thousand times too small', 'wrong sign')
    """
    name, _, rest = verdict.partition(":")
    if name == "trap":
        return " ".join(_ABBREVIATIONS.get(word, word) for word in rest.split("-"))
    if name == "fits":
        return f"fits the circuit of {rest}"
    if name == "scale":
        return _SCALES.get(rest, f"{rest} times too large")
    return {"polarity": "wrong sign", "wrong": "not a slip we know"}.get(verdict, verdict)


@dataclass(frozen=True)
class Facts:
    """A course at one moment. ``learners`` and ``lessons`` are in the order in which they are shown.

    ``spent`` are signed hours by ``(learner, lesson)``, ``planned`` the planned ones by lesson.
    """

    course: str
    learners: Mapping[str, Learner]
    lessons: tuple[str, ...]
    rows: tuple[Row, ...]
    hand_ins: tuple[HandedIn, ...]
    hints: Mapping[str, str] = field(default_factory=dict)
    planted: tuple[Planted, ...] = ()
    understanding: Mapping[str, str] = field(default_factory=dict)
    versions: tuple[str, ...] = ()
    spent: Mapping[tuple[str, str], float] = field(default_factory=dict)
    planned: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def _places(self) -> dict[tuple[str, str | None], list[Row]]:
        """The rows by ``(learner, lesson)`` and by ``(learner, None)``."""
        found: dict[tuple[str, str | None], list[Row]] = {}
        for row in self.rows:
            for lesson in (row.lesson, None):
                found.setdefault((row.learner, lesson), []).append(row)
        return found

    @cached_property
    def _handed_in(self) -> dict[tuple[str, str], HandedIn]:
        return {(each.learner, each.lesson): each for each in reversed(self.hand_ins)}

    @cached_property
    def _marked_lessons(self) -> set[str]:
        return {row.lesson for row in self.rows}

    def of(self, learner: str, lesson: str | None = None) -> list[Row]:
        """The rows of one learner, of one lesson or of all."""
        return self._places.get((learner, lesson), [])

    def hand_in(self, learner: str, lesson: str) -> HandedIn | None:
        """What ``learner`` handed in for ``lesson``, or None."""
        return self._handed_in.get((learner, lesson))

    def misconceptions(self) -> list[tuple[str, list[str], list[str]]]:
        """``(verdict, learners, items)`` of every recognised slip, most learners first."""
        who, where = {}, {}
        for row in self.rows:
            if kind(row.verdict) == "known slip":
                who.setdefault(row.verdict, {})[row.learner] = None
                where.setdefault(row.verdict, {})[row.item] = None
        ranked = sorted(who, key=lambda verdict: (-len(who[verdict]), -len(where[verdict]), verdict))
        return [(verdict, list(who[verdict]), sorted(where[verdict])) for verdict in ranked]

    def items(self) -> list[Item]:
        """Every item in the order of the lessons, with what became of it."""
        verdicts: dict[tuple[str, str], Counter] = {}
        for row in self.rows:
            if not row.by_hand:
                verdicts.setdefault((row.lesson, row.item), Counter())[row.verdict] += 1
        found = []
        for (lesson, item), counted in sorted(verdicts.items(), key=lambda pair: self.lessons.index(pair[0][0])):
            counts = {name: sum(n for verdict, n in counted.items() if kind(verdict) == name) for name in KINDS}
            slips = [(verdict, n) for verdict, n in counted.most_common() if kind(verdict) == "known slip"]
            found.append(Item(lesson, item, counts, tuple(slips)))
        return found

    def waiting(self) -> list[tuple[str, str, list[str]]]:
        """``(lesson, item, learners)`` of the texts that nobody has marked yet."""
        places: dict[tuple[str, str], list[str]] = {}
        for row in self.rows:
            if row.waits:
                places.setdefault((row.lesson, row.item), []).append(row.learner)
        return [(lesson, item, learners) for (lesson, item), learners in places.items()]

    def stuck(self) -> list[tuple[str, list[str]]]:
        """``(learner, reasons)`` of everyone whom the numbers say needs help, in roster order."""
        found = [(name, list(self._why_stuck(name))) for name in self.learners]
        return [(name, why) for name, why in found if why]

    def twins(self) -> list[tuple[str, str, list[str]]]:
        """``(learner, other, items)``: whose answers fit whose circuit, most items first.

        A pair is left out when all but one of its items are explained by a pair with more of them: that is chance.
        """
        pairs: dict[tuple[str, str], list[str]] = {}
        for row in self.rows:
            for other in row.twins:
                pairs.setdefault((row.learner, other), []).append(row.item)
        found, explained = [], {}
        for (learner, other), items in sorted(pairs.items(), key=lambda pair: -len(pair[1])):
            if len(set(items) - explained.get(learner, set())) >= _MORE_THAN_CHANCE:
                found.append((learner, other, items))
                explained.setdefault(learner, set()).update(items)
        return found

    def _why_stuck(self, learner: str) -> Iterable[str]:
        states: dict[str, list[str]] = {}
        for lesson in self.lessons:
            if state := self._state(learner, lesson):
                states.setdefault(state, []).append(lesson[:2])
        yield from (
            f"{state} lesson{'s' if len(lessons) > 1 else ''} {listed(lessons)}" for state, lessons in states.items()
        )
        places = {}
        for row in self.of(learner):
            if kind(row.verdict) == "known slip":
                places.setdefault(row.verdict, {})[row.lesson[:2]] = None
        yield from (
            f"“{words(slip)}” in lessons {listed(lessons)}" for slip, lessons in places.items() if len(lessons) > 1
        )

    def _state(self, learner: str, lesson: str) -> str:
        """What is amiss with one hand-in as a whole, or "" when nothing is."""
        rows = self.of(learner, lesson)
        if not rows:
            missing = not self.hand_in(learner, lesson) and lesson in self._marked_lessons
            return "did not hand in" if missing else ""
        if all(row.verdict == "no answer" for row in rows):
            return "handed in nothing but blanks for"
        counted = [row for row in rows if not row.waits]
        under = sum(row.points for row in counted) < _STUCK_SHARE * sum(row.most for row in counted)
        return "under half the points in" if under else ""


def listed(names: Iterable[str]) -> str:
    """A list as a reader says it.

    >>> listed(["01"]), listed(["01", "03", "05"])
    ('01', '01, 03 and 05')
    """
    *some, last = names
    return f"{', '.join(some)} and {last}" if some else last

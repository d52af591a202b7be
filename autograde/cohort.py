"""The invented cohort of a rehearsal: people with a stated understanding each, and what each would hand in.

What a person believes is told by the names of traps: where a belief applies to an item, the answer is what that
trap works out from the person's own circuit; everywhere else it is right. Eight more fall, between them, into every
trap of every item, and two into the slips that can happen to any quantity. All names are invented.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from decimal import Decimal

from autograde import marking
from autograde.roster import Learner
from halfcycle.variants import circuit

__all__ = ["COHORT", "Answer", "Person", "answers"]

# The unit in which someone answers who does not look at the prefix, as a factor on the number.
_OTHER_PREFIX = {"A": 1000.0, "mA": 0.001, "ms": 0.001, "s": 1000.0, "µF": 1e-6, "uF": 1e-6}


@dataclass(frozen=True)
class Person:
    """One invented learner. ``beliefs`` are trap names in the order in which they come to mind.

    ``nth_trap`` is the place, from 0, of the trap that this person falls into at every item which has so many; ``factor``
    is what this person's right numbers are multiplied by (-1: a sign the wrong way round).
    """

    learner: Learner
    understanding: str
    beliefs: tuple[str, ...] = ()
    blank: bool = False
    late: bool = False
    slips_prefix: bool = False
    copies: str = ""
    nth_trap: int | None = None
    factor: float = 1.0
    first_beliefs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answer:
    """What one person types for one item ("" for nothing) and the verdict that this should earn."""

    typed: str
    verdict: str


def _person(first: str, last: str, understanding: str, **rest) -> Person:
    name = first.casefold()
    email = f"{name}@fennel-street.example"
    return Person(Learner(name, first, last, email, "spring"), understanding, **rest)


COHORT = (
    _person("Amara", "Okafor", "Has it all right."),
    _person("Benedikt", "Lindqvist", "Takes the rms value where the peak is meant.", beliefs=("rms-for-peak",)),
    _person(
        "Chenguang",
        "Wei",
        "Reckons with peak to peak, and one diode as if both half cycles came through.",
        beliefs=("full-wave-on-half-wave", "peak-to-peak-for-peak"),
    ),
    _person(
        "Dalia",
        "Haddad",
        "Never takes the drop of a diode off, and counts a run of wire one way.",
        beliefs=("drop-forgotten", "one-way-length"),
    ),
    _person(
        "Esi",
        "Mensah",
        "Takes one time constant as full or empty, and one peak as all that a diode must block.",
        beliefs=("one-time-constant", "one-peak-inverse", "peak-for-rms"),
    ),
    _person(
        "Fionn",
        "Gallagher",
        "Counts a run of wire one way, divides VA by the peak, and rates parts against rms.",
        beliefs=("one-way-length", "va-over-peak", "rating-against-rms"),
    ),
    _person(
        "Guadalupe",
        "Reyes",
        "Believes the ac reading of a meter, and mixes the mean with the rms.",
        beliefs=("ac-meter-believed", "rms-for-mean", "mean-for-rms"),
    ),
    _person("Hana", "Novák", "Does not look at milli and micro.", slips_prefix=True),
    _person("Ishaan", "Patel", "Handed in without an answer.", blank=True),
    _person("Juno", "Blackwater", "Takes rms for the peak, and was late once.", beliefs=("rms-for-peak",), late=True),
    _person(
        "Kwame",
        "Adjei",
        "First forgot every drop and took rms for the peak; handed in again with both mended.",
        first_beliefs=("drop-forgotten", "rms-for-peak"),
    ),
    _person("Leilani", "Kahale", "Typed in the answers of Amara, whose circuit is another.", copies="amara"),
    _person("Marek", "Sorensen", "Takes the first wrong turning of every item.", nth_trap=0),
    _person("Nadia", "Farouk", "Takes the second wrong turning of every item that has one.", nth_trap=1),
    _person("Otis", "Greenbaum", "Takes the third wrong turning of every item that has one.", nth_trap=2),
    _person("Priya", "Raman", "Takes the fourth wrong turning of every item that has one.", nth_trap=3),
    _person("Quillan", "Doyle", "Takes the fifth wrong turning of every item that has one.", nth_trap=4),
    _person("Rosa", "Ibarra", "Takes the sixth wrong turning of every item that has one.", nth_trap=5),
    _person("Sipho", "Dlamini", "Takes the seventh wrong turning of every item that has one.", nth_trap=6),
    _person("Tuuli", "Virtanen", "Takes the eighth wrong turning of every item that has one.", nth_trap=7),
    _person("Uriel", "Castellanos", "Has every sign the wrong way round.", factor=-1.0),
    _person("Vera", "Petrosyan", "Is a million times too large wherever there is a unit.", factor=1e6),
)


def answers(person: Person, course: str, lesson: str, *, first: bool = False) -> dict[str, Answer]:
    """``{item: Answer}`` of ``person`` in ``lesson`` of the course named ``course``; ``first`` for the first of two hand-ins."""
    keys, traps = marking.load(lesson)
    own = circuit(course, lesson, person.learner.id)
    if person.blank:
        return {item: Answer("", "no answer") for item in keys}
    if person.copies:
        return _copied(person, course, lesson, keys, traps, own)
    beliefs = person.first_beliefs if first else person.beliefs
    found = {}
    for item, key in keys.items():
        value, verdict = _believed(person, beliefs, key, traps[item], own)
        found[item] = Answer(_typed(value, own, item), verdict)
    return found


def _believed(person: Person, beliefs: tuple[str, ...], key, traps, own) -> tuple[float | tuple, str]:
    by_name = {trap.name: trap for trap in traps}
    for belief in beliefs:
        if belief in by_name:
            return by_name[belief].value(own), f"trap:{belief}"
    right = key.first(own)
    if person.nth_trap is not None and person.nth_trap < len(traps):
        trap = traps[person.nth_trap]
        return trap.value(own), f"trap:{trap.name}"
    if person.factor != 1 and (verdict := _multiplied(person.factor, right, key)):
        return right * person.factor, verdict
    if person.slips_prefix and right and key.unit in _OTHER_PREFIX:
        factor = _OTHER_PREFIX[key.unit]
        return right * factor, f"scale:{Decimal(str(factor)):f}".removesuffix(".0")
    return right, "right"


def _multiplied(factor: float, right, key) -> str:
    """The verdict that a right number times ``factor`` earns; "" where marking does not look for it."""
    if key.unit == marking.TABLE or not right:
        return ""
    if factor == -1:
        return "polarity"
    return f"scale:{factor:.0f}" if key.unit else ""


def _copied(person: Person, course: str, lesson: str, keys, traps, own) -> dict[str, Answer]:
    source = next(each for each in COHORT if each.learner.id == person.copies)
    theirs = circuit(course, lesson, source.learner.id)
    found = {}
    for item, answer in answers(source, course, lesson).items():
        by_chance = _by_chance(keys[item].first(theirs), keys[item], traps[item], own)
        found[item] = Answer(answer.typed, by_chance or f"fits:{person.copies}")
    return found


def _by_chance(value, key, traps, own) -> str:
    """The verdict where someone else's right answer happens to be one's own, or a known mistake with one's own circuit."""
    if marking.fits(value, key.first(own), key):
        return "right"
    return next((f"trap:{trap.name}" for trap in traps if marking.fits(value, trap.value(own), key)), "")


def _typed(value: float | tuple, own, item: str) -> str:
    """``value`` as a person types it: a number of four figures, or now and then calculator arithmetic on the circuit."""
    if isinstance(value, tuple):
        return str(value)
    numbers = [number for number in own.values().values() if isinstance(number, int | float) and number]
    habit = hashlib.sha256(f"{own.learner}|{item}".encode()).digest()[0]
    if habit % 3 or not numbers or not value:
        return _figures(value, 4)
    start = numbers[habit % len(numbers)]
    ratio = value / start
    return f"{start} * {_figures(ratio, 5)}" if abs(ratio) >= 0.1 else f"{start} / {_figures(1 / ratio, 5)}"


def _figures(value: float, figures: int) -> str:
    """``value`` to so many significant figures, written out.

    >>> _figures(33.94113, 4), _figures(0.000123456, 4), _figures(12345678, 4)
    ('33.94', '0.0001235', '12350000')
    """
    if not math.isfinite(value):
        raise ValueError(f"No one would type {value}.")
    return format(Decimal(f"{value:.{figures}g}"), "f")

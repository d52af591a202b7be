"""A report without people: every id becomes a pseudonym, the same one as long as the course lasts, and names are left out.

A pseudonym is the keyed hash of an id. The key lies in ``COURSE/.pseudonyms`` alone, so that nobody can work a pseudonym
out from a roster without that file. Learners are put in the order of their pseudonyms, and groups are left out.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

from autograde.files import write_whole
from autograde.people import mentions
from autograde.roster import Learner

__all__ = ["KEY", "masked", "pseudonym"]

KEY = ".pseudonyms"
_LETTERS = 6


def _key(course: Path) -> bytes:
    path = course / KEY
    if not path.is_file():
        write_whole(path, secrets.token_bytes(32), 0o600)
    return path.read_bytes()


def pseudonym(key: bytes, learner: str) -> str:
    """The pseudonym of a learner's id.

    >>> pseudonym(b"key", "amara") == pseudonym(b"key", "amara") != pseudonym(b"other", "amara")
    True
    """
    digest = hmac.new(key, learner.encode(), hashlib.sha256).digest()
    return f"L-{base64.b32encode(digest).decode()[:_LETTERS]}"


def masked(course: Path, facts):
    """The `Facts` of a report with every person replaced; ``facts.learners`` says who the people are."""
    key, people = _key(course), facts.learners
    names = {learner: pseudonym(key, learner) for learner in people}
    ordered = {names[each]: Learner(names[each]) for each in sorted(people, key=names.get)}
    plain = replace(facts, learners={})
    found = _masked(plain, _scrubber(people.values(), names))
    rows = sorted(found.rows, key=lambda row: row.learner)
    return replace(found, learners=ordered, rows=tuple(rows), hand_ins=tuple(sorted(found.hand_ins, key=lambda one: one.learner)))  # fmt: skip


def _scrubber(people: Iterable[Learner], names: Mapping[str, str]):
    """A function that takes every mention of these people out of a text."""
    patterns = [(mentions(each), names[each.id]) for each in sorted(people, key=lambda each: -len(each.id))]

    def scrub(text: str) -> str:
        for pattern, name in patterns:
            text = pattern.sub(name, text)
        return text

    return scrub


def _masked(value, scrub):
    if isinstance(value, str):
        return scrub(value)
    if isinstance(value, Learner):
        return Learner(scrub(value.id))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value, **{one.name: _masked(getattr(value, one.name), scrub) for one in fields(value) if one.init}
        )
    if isinstance(value, Mapping):
        return {_masked(name, scrub): _masked(each, scrub) for name, each in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(_masked(each, scrub) for each in value)
    return value

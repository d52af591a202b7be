"""Where a text mentions a person: by id, e-mail address or whole name."""

from __future__ import annotations

import re

from autograde.roster import Learner

__all__ = ["mentions"]


def mentions(learner: Learner) -> re.Pattern:
    """A pattern that finds ``learner`` in a text: the id as a word of its own, the e-mail address, first and last name together.

    >>> amara = mentions(Learner("amara", "Amara", "Okafor", "a@example.org"))
    >>> [bool(amara.search(text)) for text in ("submitted/amara/x", "amara_2", "Okafor, Amara", "amaranth")]
    [True, False, True, False]
    """
    first, last = (re.escape(part) for part in (learner.first, learner.last))
    ways = [rf"(?<![\w.@-]){re.escape(learner.id)}(?![\w@-]|\.\w+@)"]
    if learner.email:
        ways.append(rf"(?<![\w.@-]){re.escape(learner.email)}(?![\w-])")
    if first and last:
        begin, end = r"(?<![^\W_])", r"(?![^\W_])"
        ways += [rf"{begin}{first}[\s_]+{last}{end}", rf"{begin}{last}(?:,\s*|[\s_]+){first}{end}"]
    return re.compile("|".join(reversed(ways)), re.IGNORECASE)

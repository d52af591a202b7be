"""One stretch of time in which no switch changes: its exact solution, and the exits that stand open in it."""

from math import inf
from typing import NamedTuple

import numpy as np

from .equations import Pattern, spread

TOLERANCE = 1e-9
"""A margin of a nanovolt or a nanoampere is rounding, not an event."""

_HAIR = 0.01
"""Ten millivolts or ten microamperes, which for a nanosecond make no difference."""

_TOGETHER = 1e-5
"""Exits within ten microvolts or ten nanoamperes of opening are tried together with one that opens."""

_ON_ONE_THREAD = 200_000
"""A product of more multiplications wakes a second thread, and waits for it where cores are busy."""


class Event(NamedTuple):
    """What ends a piece: seconds after its beginning, the exits that open there, the margin row that timed it."""

    after: float
    exits: tuple = ()
    row: int = -1


class Piece:
    """The exact solution of one pattern from `begin` on; `end` is set once it is known.

    `given` is what it begins from (see `Layout.given`), `looked_from` the same of a piece next to it in which its event
    was looked for; `amplitudes` are those of the waves there, complex. A `still` piece is asked for what the sources
    keep up only.
    """

    def __init__(self, pattern: Pattern, begin: float, given: np.ndarray):
        self.pattern, self.begin, self.end, self.given = pattern, begin, begin, given
        self.amplitudes = given.dot(pattern.to_amplitudes).view(complex)
        self.tolerance, self.looked_from, self.still = TOLERANCE, given, False

    def values(
        self, quantities: tuple[tuple[str, str], ...], times: np.ndarray, driven: np.ndarray | None = None
    ) -> np.ndarray:
        """The quantities (see `Pattern.rows`) at the instants `times`, s, shape (quantities, n).

        Many pieces may share one table of the sources' waves at their instants, `driven` (see `Layout.driven`).
        """
        pattern, amplitudes = self.pattern, self.amplitudes.copy()
        amplitudes[len(pattern.rates) :] = 1.0
        driven = pattern.layout.driven(times) if driven is None else driven
        table = pattern.waves(times - self.begin, driven, self.still)
        weights = spread(pattern.rows(quantities), amplitudes)
        step = max(1, _ON_ONE_THREAD // max(1, weights.size))
        parts = [weights.dot(table[:, k : k + step]) for k in range(0, len(times), step)]
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)

    def closes_soon(self) -> bool:
        """Whether no exit stands open a nanosecond or so after the beginning, and none more than a hair before that."""
        now, _, soon = self._early_margins(self.given)
        return max(now, default=-inf) <= _HAIR and max(soon, default=-inf) <= TOLERANCE

    def least_open(self) -> float:
        """By how much the widest exit stands open, or a nanosecond or so on, when what leakage leaves is gone."""
        return min(max([TOLERANCE, *margins]) for margins in (self._open_by(), self._early_margins(self.given)[2]))

    def open_exit(self, widest: bool) -> tuple | None:
        """The exit that stands open widest, or the first open one in the network's order."""
        margins = self._open_by()
        most = max(margins, default=-inf)
        if most <= TOLERANCE:
            return None
        k = margins.index(most) if widest else next(k for k, margin in enumerate(margins) if margin > TOLERANCE)
        return self.pattern.exits[k]

    def _open_by(self) -> list[float]:
        """By how much each exit stands open at the beginning; one on the verge is asked an instant on."""
        now, soon, _ = self._early_margins(self.given)
        return [later if abs(margin) <= TOLERANCE else margin for margin, later in zip(now, soon, strict=True)]

    def _early_margins(self, given: np.ndarray) -> list[list[float]]:
        """The margins of all exits where there is what is `given`, an instant on and a hundred instants on."""
        margins = self.pattern.early_margins.dot(given).reshape(3, -1)
        return self.pattern.least_margins(margins).tolist()

    def close(self, event: Event) -> np.ndarray:
        """End the piece at `event`; return what is given there."""
        self.event, self.end = event, self.begin + event.after
        self.growth = self.pattern.waves_at(event.after)
        layout = self.pattern.layout
        now = self.pattern.state_of_waves.dot((self.growth * self.amplitudes).view(float))
        return layout.given(self.end, now)

    def opened(self, given: np.ndarray) -> tuple:
        """All exits that open at its end, where there is what is `given`; the one that ended it first.

        One that stands on the verge and goes no further, such as a diode's on a dead branch, is none of them.
        """
        exits = self.event.exits
        if not exits:
            return ()
        now, _, soon = self._early_margins(given)
        others = [
            way
            for way, margin, later in zip(self.pattern.exits, now, soon, strict=True)
            if margin >= -_TOGETHER and later > margin + TOLERANCE and way not in exits
        ]
        return (*exits, *others)

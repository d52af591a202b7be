"""When the first exit of a piece opens: looked for on a grid, then located by Newton's method on the exact sum."""

from bisect import bisect_left
from collections.abc import Sequence
from math import inf
from operator import attrgetter

import numpy as np

from .curves import Curve, ceiling, hump, near, root
from .equations import Pattern, spread
from .pieces import Event, Piece

_EVEN = np.linspace(0, 49 / 48, 50)
"""Instants of the grid as parts of its length, half a period of the fastest source."""
_FADING = np.geomspace(1e-4, 1, 16)
"""Further instants for each fast wave, as parts of its life."""
_ALIKE = 3e-5
"""A change of this part of the largest, or less, leads to the same event."""
_begin = attrgetter("begin")
_MOST_STEPS = 4096
_DEAD = 30.0
"""Time constants after which a wave is gone: exp(−30) is 1e-13."""
_GOLDEN = 0.381966011250105
_NEXT_TO_NOTHING = 1e-13
"""A stretch of time as part of the instant it is at, too short to be divided any further."""
_PER_RADIAN = 1.3
"""Steps of the grid in a radian of a ringing wave: 8 in a turn."""


def first_event(piece: Piece, horizon: float) -> Event:
    """The first exit that opens within `horizon` seconds of the piece's beginning, or an Event without exits."""
    pattern, amplitudes, done = piece.pattern, piece.amplitudes, 0.0
    while pattern.exits and done < horizon:
        times, waves, length, factor, summand = _grid(pattern, done)
        asked = bisect_left(times, horizon - done) + 2
        event = _Search(piece, spread(pattern.watch, amplitudes), times, waves[:asked]).first()
        if done + event.after < horizon:
            return Event(done + event.after, event.exits, event.row)
        amplitudes = amplitudes * factor + summand
        done += length
    return Event(horizon)


def alike(piece: Piece, known: Sequence[Piece]) -> Sequence[Piece]:
    """The piece that is known and begins next to this one, and the one after it, as far as there are such."""
    reach = _ALIKE * piece.pattern.layout.shortest_period_s
    for k in range(bisect_left(known, piece.begin - reach, key=_begin), len(known)):
        old = known[k]
        if old.begin > piece.begin + reach:
            break
        if old.pattern is piece.pattern:
            change = piece.given - old.looked_from
            if change.dot(change) < _ALIKE**2 * piece.given.dot(piece.given):
                return known[k : k + 2]
    return ()


def event_again(piece: Piece, old: Piece, horizon: float) -> Event | None:
    """The event that ended `old`, located anew for a piece that begins next to it; None where it is not the same.

    Nothing is looked for in between: a change so small lifts no margin there that was not about to open anyway.
    """
    after, exits, row = old.event
    if exits:
        weights = piece.pattern.watch[row] * piece.amplitudes
        after = near(Curve(piece.pattern, weights, piece.tolerance), after)
        if after >= horizon:
            return None
    piece.looked_from = old.looked_from
    return Event(after if exits else horizon, exits, row)


def _grid(pattern: Pattern, done: float) -> tuple:
    """What `_make_grid` returns, for a stretch that begins `done` seconds into a piece: fast waves may be gone by then."""
    dead = sum(-rate.real * done > _DEAD for rate in pattern.exponents[: len(pattern.rates)]) if done else 0
    if dead not in pattern.grids:
        pattern.grids[dead] = _make_grid(pattern, dead)
    return pattern.grids[dead]


def _make_grid(pattern: Pattern, dead: int) -> tuple[list[float], np.ndarray, float, np.ndarray, np.ndarray]:
    """Instants at which margins are looked at, for waves of which the fastest few are `dead`, and the waves there.

    Then the time for which they serve (they look a step further, lest a hump at its end be seen from neither side), and
    the factor and summand of the amplitudes in that time.
    """
    half = 0.5 * pattern.layout.shortest_period_s
    alive = pattern.exponents[dead : len(pattern.rates)]
    alive = [(-rate.real, _DEAD / max(-rate.real, 1e-30), rate.imag * _PER_RADIAN) for rate in alive]
    length = min([half, *(_MOST_STEPS / swing for _, life, swing in alive if swing * min(life, half) > _MOST_STEPS)])
    times, end = [_EVEN * length], _EVEN[-1] * length
    for decay, life, swing in alive:
        lasts = min(end, life)
        if max(decay, swing / _PER_RADIAN) * length > 4:
            times.append(_FADING * lasts)
        if swing * lasts > 4:
            times.append(np.arange(0, lasts, 1 / swing))
    every = np.unique(np.concatenate(times)) if len(times) > 1 else times[0]
    waves = pattern.waves(every, pattern.layout.driven(every)).T.copy()
    return every.tolist(), waves, length, *pattern.shift(length)


class _Search:
    """Locates openings of a piece's exits on a grid; `rows` are the coefficients of all conditions over its `waves`."""

    def __init__(self, piece: Piece, rows: np.ndarray, times: list[float], waves: np.ndarray):
        self.pattern, self.tolerance = piece.pattern, piece.tolerance
        self.rows, self.times, self.each = rows, times, waves.dot(rows.T)

    def first(self) -> Event:
        """The first opening, between two instants of the grid or within a hump; after infinity where there is none."""
        margins = self.pattern.least_margins(self.each)
        opened = margins > self.tolerance
        rising = _row_by_row(opened[1:] > opened[:-1])
        step = rising[0][0] if rising else len(margins) - 2
        up = margins[1 : step + 2] >= margins[: step + 1]
        for before, exit in _row_by_row(up[:-1] > up[1:]):
            top = self._top(exit, before)
            if top is not None:
                return self._cross(exit, before, top)
        if not rising:
            return Event(inf)
        first, *others = [exit for at, exit in rising if at == step]
        event = self._cross(first, step, self.times[step + 1])
        for exit in others:  # of those that open together the first by number stays
            rows = self.pattern.exits[exit][2]
            if min(self._curve(row)(event.after)[0] for row in range(rows.start, rows.stop)) > self.tolerance:
                event = self._cross(exit, step, event.after)
        return event

    def _cross(self, exit: int, step: int, high: float) -> Event:
        """Where an exit that is closed at a step of the grid and open at `high` opens: with its last condition."""
        way, low = self.pattern.exits[exit], self.times[step]
        margins = (self.each[step, way[2]] - self.tolerance).tolist()
        times = [
            root(self._curve(row), low, high, margin) if margin <= 0 else low
            for row, margin in enumerate(margins, start=way[2].start)
        ]
        return Event(max(times), (way,), way[2].start + times.index(max(times)))

    def _top(self, exit: int, step: int) -> float | None:
        """An instant of the hump through three points of the grid at which the exit is open, if there is one.

        Golden section on the least of the exit's margins, given up once they cannot all be above zero any more: since
        they may be in amperes and in volts, each is held to its own tangents.
        """
        low, _, high = times = self.times[step : step + 3]
        rows = self.pattern.exits[exit][2]
        humps = [hump(times, margins) for margins in self.each[step : step + 3, rows].T.tolist()]
        if min([reach for _, reach in humps]) <= self.tolerance:
            return None
        held = [(self._curve(row), bend) for row, (bend, _) in enumerate(humps, start=rows.start)]
        while True:
            left, right = low + _GOLDEN * (high - low), high - _GOLDEN * (high - low)
            at_left, at_right = (min(curve(at)[0] for curve, _ in held) for at in (left, right))
            if max(at_left, at_right) > 0:
                return left if at_left > 0 else right
            highest = min(ceiling(curve, bend, at, low, high) for curve, bend in held for at in (left, right))
            if highest <= 0 or high - low <= _NEXT_TO_NOTHING * high:
                return None
            low, high = (low, right) if at_left > at_right else (left, high)

    def _curve(self, row: int) -> Curve:
        return Curve(self.pattern, self.rows[row].view(complex), self.tolerance)


def _row_by_row(table: np.ndarray) -> list[tuple[int, int]]:
    """Where a table of booleans is true: (row, column), from the first row on."""
    columns = table.shape[1]
    return [divmod(place, columns) for place in table.ravel().nonzero()[0].tolist()]

"""When the first exit of a piece opens: looked for on a grid, then located by Newton's method on the exact sum."""

from bisect import bisect_left
from collections.abc import Sequence
from functools import cached_property
from math import inf
from operator import attrgetter

import numpy as np

from .curves import Curve, hump, near, root
from .equations import Pattern, spread
from .pieces import Event, Piece

_EVEN = np.linspace(0, 49 / 48, 50)
"""Instants of the grid as parts of its length, half a period of the fastest source."""
_FADING = np.geomspace(1e-4, 1, 16)
"""Further instants for each fast wave, as parts of its life."""
_ALIKE = 3e-5
"""A change of this part of the largest, or less, leads to the same event."""
_begin = attrgetter("begin")
_FIRST = [True]
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
    pattern = piece.pattern
    if not pattern.exits:
        return Event(horizon)
    amplitudes, done = piece.amplitudes, 0.0
    while done < horizon:
        grid = _grid(pattern, done)
        event = _scan(piece, grid, amplitudes, horizon - done)
        if event is not None:
            return Event(done + event.after, event.exits, event.row)
        factor, summand = grid.shift
        amplitudes = amplitudes * factor + summand
        done += grid.length
    return Event(horizon)


def alike(piece: Piece, known: Sequence[Piece]) -> Sequence[Piece | None]:
    """The piece that is known and begins next to this one, and the one after it, as far as there are such."""
    reach = _ALIKE * piece.pattern.layout.shortest_period_s
    first = bisect_left(known, piece.begin - reach, key=_begin)
    for k in range(first, len(known)):
        if known[k].begin > piece.begin + reach:
            break
        if _is_alike(piece, known[k]):
            return known[k : k + 2]
    return (None,)


def _is_alike(piece: Piece, old: Piece) -> bool:
    if old.pattern is not piece.pattern:
        return False
    change = piece.given - old.looked_from
    return bool(change.dot(change) < _ALIKE**2 * piece.given.dot(piece.given))


def event_again(piece: Piece, old: Piece, horizon: float) -> Event | None:
    """The event that ended `old`, located anew for a piece that begins next to it; None where it is not the same.

    Nothing is looked for in between: a change so small lifts no margin there that was not about to open anyway.
    """
    row = old.event.row
    if row < 0:
        piece.looked_from = old.looked_from
        return Event(horizon)
    curve = Curve(piece.pattern, spread(piece.pattern.watch[row : row + 1], piece.amplitudes)[0], piece.tolerance)
    after = near(curve, old.event.after)
    if after is None or after >= horizon:
        return None
    piece.looked_from = old.looked_from
    return Event(after, old.event.exits, row)


class _Grid:
    """Instants at which margins are looked at, with the waves there.

    It serves for `length` seconds and looks a step further, lest a hump at its end be seen from neither side.
    """

    def __init__(self, pattern: Pattern, times: np.ndarray, length: float):
        self.pattern, self.times, self.length = pattern, times.tolist(), length
        self.waves = pattern.waves(times, pattern.layout.driven(times)).T.copy()

    @cached_property
    def shift(self) -> tuple[np.ndarray, np.ndarray]:
        """Factor and summand that turn the amplitudes at its beginning into those at its end."""
        return self.pattern.shift(self.length)


def _grid(pattern: Pattern, done: float) -> _Grid:
    """The grid for a stretch that begins `done` seconds into a piece: by then its fast waves may be gone."""
    dead = sum(-decay * done > _DEAD for decay, _ in pattern.exponents[: len(pattern.rates)]) if done else 0
    if dead not in pattern.grids:
        pattern.grids[dead] = _make_grid(pattern, dead)
    return pattern.grids[dead]


def _make_grid(pattern: Pattern, dead: int) -> _Grid:
    half = 0.5 * pattern.layout.shortest_period_s
    alive = pattern.exponents[dead : len(pattern.rates)]
    waves = [(-decay, _DEAD / max(-decay, 1e-30), turn * _PER_RADIAN) for decay, turn in alive]
    length = min([half, *(_MOST_STEPS / swing for _, life, swing in waves if swing * min(life, half) > _MOST_STEPS)])
    times, end = [_EVEN * length], _EVEN[-1] * length
    for decay, life, swing in waves:
        lasts = min(end, life)
        if max(decay, swing / _PER_RADIAN) * length > 4:
            times.append(_FADING * lasts)
        if swing * lasts > 4:
            steps = int(swing * lasts) + 1
            times.append(np.arange(1, steps + 1) * (lasts / steps))
    if len(times) > 1:
        every = np.concatenate(times)
        every.sort()
        times = [every[np.concatenate([_FIRST, every[1:] > every[:-1]])]]
    return _Grid(pattern, *times, length)


def _scan(piece: Piece, grid: _Grid, amplitudes: np.ndarray, limit: float) -> Event | None:
    """The first exit that opens on `grid` before `limit`."""
    pattern, tolerance = piece.pattern, piece.tolerance
    rows = spread(pattern.watch, amplitudes)
    asked = bisect_left(grid.times, limit) + 2
    each = grid.waves[:asked].dot(rows.T)
    margins = pattern.least_margins(each)
    opened = margins > tolerance
    rising = _row_by_row(opened[1:] > opened[:-1])
    step = rising[0][0] if rising else len(each) - 2
    up = margins[1 : step + 2] >= margins[: step + 1]
    tops = _row_by_row(up[:-1] > up[1:])
    if not rising and not tops:
        return None
    search = _Search(piece, rows, grid.times, each, margins)
    event = search.graze(tops, limit)
    if event is not None or not rising:
        return event
    event = search.first_cross([exit for at, exit in rising if at == step], step, grid.times[step + 1])
    return event if event.after < limit else None


def _row_by_row(table: np.ndarray) -> list[tuple[int, int]]:
    """Where a table of booleans is true: (row, column), from the first row on."""
    columns = table.shape[1]
    return [divmod(place, columns) for place in table.ravel().nonzero()[0].tolist()]


class _Search:
    """Locates openings of a pattern's exits; `rows` are the coefficients of all conditions, `each` their margins."""

    def __init__(self, piece: Piece, rows: np.ndarray, times: list[float], each: np.ndarray, margins: np.ndarray):
        self.pattern, self.tolerance = piece.pattern, piece.tolerance
        self.rows, self.times, self.each, self.margins = rows, times, each, margins
        self.curves: dict[int, Curve] = {}

    def curve(self, row: int) -> Curve:
        if row not in self.curves:
            self.curves[row] = Curve(self.pattern, self.rows[row], self.tolerance)
        return self.curves[row]

    def first_cross(self, exits: list[int], step: int, high: float) -> Event:
        """The first of several exits that all open between a step and `high`; of those together, the first by number."""
        first, *others = exits
        event = self.cross(first, step, high)
        for exit in others:
            if self._least(exit, event.after) > self.tolerance:
                event = self.cross(exit, step, event.after)
        return event

    def cross(self, exit: int, step: int, high: float) -> Event:
        """Where an exit that is closed at a step of the grid and open at `high` opens: where its last condition does."""
        way, low = self.pattern.exits[exit], self.times[step]
        margins = (self.each[step, way[2]] - self.tolerance).tolist()
        closed = [(row, margin) for row, margin in enumerate(margins, start=way[2].start) if margin <= 0]
        times = {row: root(self.curve(row), low, high, at_low) for row, at_low in closed} or {way[2].start: low}
        row = max(times, key=times.__getitem__)
        return Event(times[row], (way,), row)

    def graze(self, tops: list[tuple[int, int]], limit: float) -> Event | None:
        """An opening between two instants of the grid: where a margin has one of its `tops` just below zero."""
        for step, exit in tops:
            if self.times[step] >= limit:
                return None
            top = self._top(exit, slice(step, step + 3))
            if top is not None:
                event = self.cross(exit, step, top)
                return event if event.after < limit else None
        return None

    def _top(self, exit: int, three: slice) -> float | None:
        """An instant of the hump through three points of the grid at which the exit is open, if there is one.

        Golden section on the least of the exit's margins, given up once it cannot reach zero any more: a single margin
        is held to a parabola; of several, which may be in amperes and in volts, each to its own tangents.
        """
        rows = self.pattern.exits[exit][2]
        several = rows.stop - rows.start > 1
        if several and not self._can_open(rows, three):
            return None
        low, _, high = times = self.times[three]
        margins = (self.margins[three, exit] - self.tolerance).tolist()
        bend, reach = hump(times, margins)
        if not several and margins[1] + reach <= 0:
            return None
        bends = self._bends(exit, three)
        while True:
            left, right = low + _GOLDEN * (high - low), high - _GOLDEN * (high - low)
            at_left, at_right = self._least(exit, left), self._least(exit, right)
            if max(at_left, at_right) > 0:
                return left if at_left > 0 else right
            if several:
                highest = min(self._highest(exit, bends, at, low, high) for at in (left, right))
            else:
                highest = max(at_left, at_right) + bend * (high - low) ** 2
            if highest <= 0 or high - low <= _NEXT_TO_NOTHING * high:
                return None
            low, high = (low, right) if at_left > at_right else (left, high)

    def _bends(self, exit: int, three: slice) -> list[float]:
        """For each condition of an exit, half the second derivative of its margin over three points, whatever its sign."""
        times, rows = self.times[three], self.pattern.exits[exit][2]
        return [abs(hump(times, margins)[0]) for margins in self.each[three, rows].T.tolist()]

    def _highest(self, exit: int, bends: list[float], at: float, low: float, high: float) -> float:
        """No more than this are all of the exit's margins at once between `low` and `high`: tangents, and twice the bend."""
        first, highest = self.pattern.exits[exit][2].start, inf
        for row, bend in enumerate(bends, start=first):
            value, slope = self.curve(row)(at)
            rise = max(slope * (high - at), slope * (low - at))
            highest = min(highest, value + rise + 2 * bend * (high - low) ** 2)
        return highest

    def _least(self, exit: int, after: float) -> float:
        rows = self.pattern.exits[exit][2]
        return min(self.curve(row)(after)[0] for row in range(rows.start, rows.stop))

    def _can_open(self, rows: slice, three: slice) -> bool:
        """Whether each condition by itself comes near being true: over its points it rises no more than they spread."""
        return all(2 * max(margins) > min(margins) for margins in self.each[three, rows].T.tolist())

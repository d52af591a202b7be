"""Walk a network through time from event to event."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from math import prod
from operator import ne

import numpy as np

from .equations import Pattern
from .events import alike, event_again, first_event
from .layout import Layout
from .pieces import TOLERANCE, Piece

_MOST_PIECES = 2_000_000
_MOST_STALLED = 100
_MOST_COMBINATIONS = 4096
_MOST_FOLLOWED = 1024
"""Exits taken at one instant, one after another: with ten diodes as many as there are combinations."""

Modes = tuple[str, ...]


class SettleError(RuntimeError):
    """A network that finds no consistent set of modes, or no periodic steady state."""


class Walker:
    """Solves one layout; keeps every pattern it has met, so that a second run costs little."""

    def __init__(self, layout: Layout):
        self.layout = layout
        self._patterns: dict[Modes, Pattern] = {}
        self._by_laws: dict[tuple, Pattern] = {}
        self._devices = [layout.parts[name][0] for name in layout.devices]
        self._timed = [(k, device.timetable) for k, device in enumerate(self._devices) if device.timetable]

    def pattern(self, modes: Modes) -> Pattern:
        if modes not in self._patterns:
            laws = [of[mode] for of, mode in zip(self.layout.law_rows, modes, strict=True)]
            alike = tuple(map(id, laws))
            pattern = Pattern(self.layout, modes, laws, self._by_laws.get(alike))
            self._patterns[modes] = self._by_laws[alike] = pattern
        return self._patterns[modes]

    def first_modes(self) -> Modes:
        return ("off",) * len(self.layout.devices)

    def pieces(
        self, begin: float, end: float, x0: np.ndarray, modes: Modes, known: Sequence[Piece] = ()
    ) -> Iterator[Piece]:
        """Yield the exact pieces from `begin` to `end`; `last` holds the state and modes at the latest piece's end.

        `known` are pieces of another run, next to one of which a piece may turn out to be.
        """
        stalled, instant = 0, 1e-12 * (end - begin) + 1e-15 * abs(end)
        piece = self._settle(begin, self.layout.given(begin, x0), [self._scheduled(begin, modes)])
        for _ in range(_MOST_PIECES):
            horizon = min([end, *(timetable(piece.begin)[1] for _, timetable in self._timed)]) - piece.begin
            old, *following = alike(piece, known) or [None]
            again = old and event_again(piece, old, horizon)
            given = piece.close(again or first_event(piece, horizon))
            self.last = given[: len(x0)], piece.pattern.modes
            yield piece
            if piece.end >= end - instant:
                return
            stalled = stalled + 1 if piece.end - piece.begin <= self.layout.instant else 0
            if stalled > _MOST_STALLED:
                names = " and ".join(repr(self.layout.devices[k]) for k, *_ in piece.opened(given)) or "timed parts"
                raise SettleError(f"{names} switch to and fro without end at {piece.begin:g} s")
            next_again = again and self._closed([each.pattern for each in following], piece.end, given)
            piece = next_again or self._settle(piece.end, given, self._after(piece, given))
        raise ValueError(f"over {_MOST_PIECES:,} switching instants from {begin:g} s to {end:g} s: shorten the run")

    def _after(self, piece: Piece, given: np.ndarray) -> list[Modes]:
        """Modes to try after a piece: all exits taken that open at its end, where there is `given`; the first alone."""
        modes, exits = piece.pattern.modes, piece.opened(given)
        tries = [_changed(modes, exits[:1])]
        if len(exits) > 1:
            tries.insert(0, _changed(modes, reversed(exits)))
        return [self._scheduled(piece.end, each) for each in tries]

    def _scheduled(self, now: float, modes: Modes) -> Modes:
        for k, timetable in self._timed:
            modes = _changed(modes, [(k, timetable(now)[0])])
        return modes

    # ---- which modes hold just after an instant

    def _settle(self, now: float, given: np.ndarray, candidates: list[Modes]) -> Piece:
        """The piece that starts here with modes that no exit contradicts an instant later."""
        *together, modes = candidates
        return (
            self._closed(map(self.pattern, together), now, given)
            or self._follow(now, given, modes, widest=True)
            or self._follow(now, given, modes, widest=False)
            or self._search(now, given, modes)
        )

    def _closed(self, patterns: Iterable[Pattern], now: float, given: np.ndarray) -> Piece | None:
        """The piece in the first pattern of which no exit stands open an instant later."""
        pieces = (Piece(pattern, now, given) for pattern in patterns)
        return next((piece for piece in pieces if piece.closes_soon()), None)

    def _follow(self, now: float, given: np.ndarray, modes: Modes, widest: bool) -> Piece | None:
        """Take one open exit after another, always the widest or always the first, until none is left open.

        Always the first by number ends for any network of diodes (K. G. Murty, "Linear Complementarity", 1988,
        from memory); always the widest mostly ends sooner.
        """
        seen = set()
        while modes not in seen and len(seen) < _MOST_FOLLOWED:
            seen.add(modes)
            piece = Piece(self.pattern(modes), now, given)
            way = piece.open_exit(widest)
            if way is None:
                return piece
            modes = _changed(modes, [way])
        return None

    def _search(self, now: float, given: np.ndarray, modes: Modes) -> Piece:
        """Try every combination, nearest to the present one first: rare, and only for few devices."""
        free = [tuple(d.laws) if d.exits else (m,) for d, m in zip(self._devices, modes, strict=True)]
        combos = product(*free) if prod(map(len, free)) <= _MOST_COMBINATIONS else [modes]
        combos = sorted(combos, key=lambda combo: sum(map(ne, combo, modes)))
        best = min((Piece(self.pattern(combo), now, given) for combo in combos), key=Piece.least_open)
        if best.least_open() > 1e3 * TOLERANCE:
            raise SettleError(f"no consistent state found at {now:g} s for {', '.join(self.layout.devices)}")
        best.tolerance = 2 * best.least_open()
        return best


def _changed(modes: Modes, exits: Iterable[tuple]) -> Modes:
    """The modes after exits (number of the device, its new mode, …), of which the last one counts."""
    changed = list(modes)
    for k, to, *_ in exits:
        changed[k] = to
    return tuple(changed)

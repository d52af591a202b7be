"""Walk a network through time from event to event, and find its periodic steady state."""

from collections.abc import Iterator
from itertools import product
from math import inf

import numpy as np

from .equations import Layout, Pattern, Piece, Rows

__all__ = ["SettleError", "Walker"]

_GRID = 24
_MOST_PIECES = 2_000_000
_MOST_GRID = 4096


class SettleError(RuntimeError):
    """A network that finds no consistent set of modes, or no periodic steady state."""


class Walker:
    """Solves one layout; keeps every pattern it has met, so that a second run costs little."""

    def __init__(self, layout: Layout):
        self.layout = layout
        self._patterns: dict[tuple, Pattern] = {}
        self._grids: dict[tuple, tuple] = {}

    def pattern(self, modes: tuple[str, ...]) -> Pattern:
        if modes not in self._patterns:
            self._patterns[modes] = Pattern(self.layout, modes)
        return self._patterns[modes]

    def first_modes(self) -> tuple[str, ...]:
        return tuple(self.layout.parts[n][0].first_mode for n in self.layout.devices)

    def pieces(
        self, begin: float, end: float, x0: np.ndarray, modes: tuple[str, ...], jacobian: np.ndarray | None = None
    ) -> Iterator[Piece]:
        """Yield the exact pieces from `begin` to `end`; multiply each one's sensitivity into `jacobian` in place."""
        now, x, instant = begin, x0, 1e-12 * (end - begin) + 1e-15 * abs(end)
        for _ in range(_MOST_PIECES):
            piece = self._settle(now, x, self._scheduled(now, modes))
            after, crossing = self._next_event(piece, end)
            piece.end = now + after
            x = piece.state(after)
            self.last = x, piece.pattern.modes
            if jacobian is not None:
                self._carry(jacobian, piece, after, crossing, x)
            yield piece
            now, modes = piece.end, self._leave(piece.pattern, crossing)
            if now >= end - instant:
                return
        raise ValueError(
            f"the run from {begin:g} s to {end:g} s has over {_MOST_PIECES:,} switching instants: shorten it"
        )

    def _leave(self, pattern: Pattern, crossing: tuple | None) -> tuple[str, ...]:
        if crossing is None:
            return pattern.modes
        name, to, _ = crossing
        return _changed(self.layout, pattern.modes, name, to)

    def _scheduled(self, now: float, modes: tuple[str, ...]) -> tuple[str, ...]:
        devices = (self.layout.parts[n][0] for n in self.layout.devices)
        return tuple(device.scheduled_mode(now) or mode for device, mode in zip(devices, modes, strict=True))

    def _next_change(self, now: float) -> float:
        return min((self.layout.parts[n][0].next_change(now) for n in self.layout.devices), default=inf)

    # ---- which modes hold just after an instant

    def _settle(self, now: float, x: np.ndarray, modes: tuple[str, ...]) -> Piece:
        """The piece that starts here with modes that no exit contradicts an instant later.

        Takes the most violated exit first; where that goes in a circle, the first violated one (the least-index
        rule, which for diodes and resistors always ends: Murty, Linear Complementarity, 1988, from memory).
        """
        for rule in (np.argmax, lambda margins: np.argmax(margins > 0)):
            seen = set()
            while modes not in seen:
                seen.add(modes)
                piece = Piece(self.pattern(modes), now, x)
                margins = self._margins_now(piece)
                if not (margins > 0).any():
                    return piece
                name, to, _ = piece.pattern.exits[int(rule(margins))]
                modes = _changed(self.layout, modes, name, to)
        return self._search(now, x, modes)

    def _margins_now(self, piece: Piece) -> np.ndarray:
        """Margin of each exit an instant after the piece's begin."""
        exits = piece.pattern.exits
        values = piece.values(piece.pattern.watch, piece.waves(np.array([self._instant])))[:, 0] - piece.slack
        return np.array([values[rows].min() for _, _, rows in exits])

    def _search(self, now: float, x: np.ndarray, modes: tuple[str, ...]) -> Piece:
        """Try every combination, nearest to the present one first: rare, and only for few devices."""
        devices = [self.layout.parts[n][0] for n in self.layout.devices]
        free = [tuple(d.laws) if d.exits else (m,) for d, m in zip(devices, modes, strict=True)]
        if np.prod([len(f) for f in free]) > 4096:
            raise SettleError(f"no consistent state found at {now:g} s")
        combos = sorted(product(*free), key=lambda c: sum(a != b for a, b in zip(c, modes, strict=True)))
        pieces = [Piece(self.pattern(combo), now, x) for combo in combos]
        piece = min(pieces, key=lambda p: max(self._margins_now(p).max(initial=-inf), 0.0))
        if self._margins_now(piece).max(initial=-inf) > 1e-6:
            raise SettleError(f"no consistent state found at {now:g} s for {', '.join(self.layout.devices)}")
        return piece

    @property
    def _instant(self) -> float:
        return 1e-9 / (self.layout.hertz[-1] if self.layout.hertz else 60.0)

    # ---- when the next exit opens

    def _next_event(self, piece: Piece, end: float) -> tuple[float, tuple | None]:
        """Seconds after the piece's begin, and the exit that opens there (None at a timetable's edge or the end)."""
        horizon = min(end, self._next_change(piece.begin)) - piece.begin
        if not piece.pattern.exits:
            return horizon, None
        chunk = 0.25 / (self.layout.hertz[-1] if self.layout.hertz else 60.0)
        done = 0.0
        part = piece
        while done < horizon:
            found = self._scan(part, min(chunk, horizon - done), chunk)
            if found is not None:
                return done + found[0], found[1]
            done += chunk
            if done < horizon:
                part = Piece(piece.pattern, piece.begin + done, piece.state(done))
        return horizon, None

    def _scan(self, piece: Piece, length: float, chunk: float) -> tuple[float, tuple] | None:
        """The first exit of `piece` within `length`, scanned on the grid of a whole `chunk`."""
        pattern = piece.pattern
        waves = self._grid(pattern, chunk)
        times = waves[2]
        margins = self._margins(piece, waves)
        best = (inf, None)
        for k, way in enumerate(pattern.exits):
            bracket = _first_rise(margins[k])
            if bracket is not None and times[bracket] < min(length, best[0]):
                at = self._refine(piece, way, times[bracket], times[bracket + 1])
                best = min(best, (at, way), key=lambda pair: pair[0])
            at = self._peak(piece, way, times, margins[k], bracket, min(length, best[0]))
            if at is not None:
                best = (at, way)
        return best if best[0] < length else None

    def _margins(self, piece: Piece, waves: tuple) -> np.ndarray:
        values = piece.values(piece.pattern.watch, waves) - piece.slack[:, None]
        exits = piece.pattern.exits
        if len(exits) == len(values):
            return values
        return np.array([values[rows].min(axis=0) for _, _, rows in exits])

    def _grid(self, pattern: Pattern, chunk: float) -> tuple:
        key = (pattern.modes, chunk)
        if key not in self._grids:
            times = [np.array([self._instant]), np.linspace(0, chunk, _GRID + 1)[1:]]
            for rate in pattern.modes_rate:
                alive = min(chunk, 30 / max(abs(rate.real), 1e-30))
                if abs(rate) * chunk > 4:
                    times.append(np.geomspace(max(alive * 1e-4, self._instant), alive, 16))
                if rate.imag * alive > 4:
                    count = min(int(1.3 * rate.imag * alive), _MOST_GRID)
                    times.append(np.linspace(0, alive, count + 1)[1:])
            times = np.unique(np.concatenate(times))
            self._grids[key] = Piece(pattern, 0.0, np.zeros(len(self.layout.state))).waves(
                times[times >= self._instant]
            )
        return self._grids[key]

    def _margin_at(self, piece: Piece, way: tuple, times: np.ndarray) -> np.ndarray:
        rows = piece.pattern.watch
        values = piece.values(_some(rows, way[2]), piece.waves(times)) - piece.slack[way[2], None]
        return values.min(axis=0)

    def _refine(self, piece: Piece, way: tuple, low: float, high: float) -> float:
        """The crossing within (low, high]: two finer grids, then a straight line."""
        for _ in range(2):
            times = np.linspace(low, high, 33)
            margins = self._margin_at(piece, way, times)
            k = _first_rise(margins)
            k = k if k is not None else 31
            low, high, below, above = times[k], times[k + 1], margins[k], margins[k + 1]
        return high if above <= below else min(high, low + (high - low) * max(0.0, -below) / (above - below))

    def _peak(self, piece, way, times, margins, bracket, limit) -> float | None:
        """A crossing that rises and falls between two grid points, found at a parabola's top."""
        stop = len(times) if bracket is None else bracket + 1
        if stop < 3:
            return None
        left, mid, right = margins[: stop - 2], margins[1 : stop - 1], margins[2:stop]
        tops = np.flatnonzero((mid <= 0) & (mid >= left) & (mid >= right) & (2 * mid - left - right > -4 * mid))
        for k in tops:
            if times[k] >= limit:
                return None
            fine = np.linspace(times[k], times[k + 2], 65)
            rise = _first_rise(self._margin_at(piece, way, fine))
            if rise is not None:
                at = self._refine(piece, way, fine[rise], fine[rise + 1])
                return at if at < limit else None
        return None

    # ---- sensitivity and the periodic state

    def _carry(self, jacobian: np.ndarray, piece: Piece, after: float, crossing, x: np.ndarray) -> None:
        """Multiply the piece's flow, and the jump in its end's timing, into `jacobian` in place."""
        pattern = piece.pattern
        flow = ((pattern.vectors * np.exp(pattern.modes_rate * after)) @ pattern.vectors_inverse).real
        jacobian[:] = flow @ jacobian
        if crossing is None:
            return
        rows = _some(pattern.watch, crossing[2])
        k = int(np.argmin(piece.values(rows, piece.waves(np.array([after])))[:, 0]))
        before = piece.slope(after, x)
        rate = rows.of_state[k] @ before + (rows.of_drive[k] @ piece.drive_slope(after)).real
        if rate <= 0:
            return
        settled = self._settle(piece.end, x, self._scheduled(piece.end, self._leave(pattern, crossing)))
        jump = np.outer(settled.slope(0.0, x) - before, rows.of_state[k]) / rate
        jacobian[:] += jump @ jacobian

    def periodic(self, begin: float, period: float, x0: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
        """State and modes from which one `period` after `begin` leads back to the same state (Newton's method)."""
        modes, x = self.first_modes(), x0
        for attempt in range(60):
            jacobian = np.eye(len(x))
            for _ in self.pieces(begin, begin + period, x, modes, jacobian):
                pass
            reached, end_modes = self.last
            gap = reached - x
            size = 1e-9 * max(1.0, np.abs(reached).max(initial=0.0)) if len(x) else 1.0
            if np.abs(gap).max(initial=0.0) < size and end_modes == modes:
                return reached, modes
            modes = end_modes
            plain = attempt < 2 or attempt % 8 == 7
            x = reached if plain else x + _newton_step(jacobian, gap, self.pattern(modes).held)
        raise SettleError(f"no steady state with a period of {period:g} s found; its state still moves by {gap}")


def _newton_step(jacobian: np.ndarray, gap: np.ndarray, held: np.ndarray) -> np.ndarray:
    """The change of state that closes the gap, within the states that islands of inductors allow."""
    free = np.eye(len(gap)) if not len(held) else np.linalg.svd(held)[2][len(held) :].T
    return free @ np.linalg.lstsq((np.eye(len(gap)) - jacobian) @ free, gap, rcond=1e-13)[0]


def _some(rows: Rows, which: slice) -> Rows:
    part = object.__new__(Rows)
    part.of_state, part.of_drive = rows.of_state[which], rows.of_drive[which]
    part.of_modes, part.of_forced, part.constant = rows.of_modes[which], rows.of_forced[which], rows.constant[which]
    return part


def _changed(layout: Layout, modes: tuple[str, ...], name: str, to: str) -> tuple[str, ...]:
    k = layout.devices.index(name)
    return (*modes[:k], to, *modes[k + 1 :])


def _first_rise(margins: np.ndarray) -> int | None:
    """Index k of the first step from margins[k] <= 0 to margins[k+1] > 0."""
    rising = np.flatnonzero((margins[:-1] <= 0) & (margins[1:] > 0))
    return int(rising[0]) if len(rising) else None

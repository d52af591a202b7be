"""A first-order lag, exact on a record whose samples are joined by straight lines.

It is what a scope's bandwidth limit and a detector's attack time have in common: y' = (x - y) / tau. Within a straight
piece of x with slope s the solution is y = x - s·tau + (y0 - x0 + s·tau)·exp(-t/tau); the pieces are chained.
"""

import numpy as np

from .values import not_negative
from .waveforms import Waveform


class Lag:
    """The lagged wave, to be asked at any instant. `tau_s` is its time constant, s; 0 passes the wave unchanged.

    A wave that `repeats` is taken to follow itself end to end for ever, so the lag is in its own periodic state and any
    instant may be asked for; else it holds its first value before it begins and its last after it has ended.
    `samples` holds the lagged values at the wave's own samples.
    Errors: ValueError for a time constant that is negative or not finite.

    >>> step = Waveform([0.0, 1.0, 1.0, 9.0], [0.0, 0.0, 5.0, 5.0])
    >>> Lag(step, 1.0, repeats=False).at([1.0, 2.0]).round(4).tolist()
    [0.0, 3.1606]
    """

    def __init__(self, wave: Waveform, tau_s: float, *, repeats: bool = True) -> None:
        not_negative("time constant of a lag in seconds", tau_s)
        self._wave, self._tau, self._repeats = wave, tau_s, repeats
        self._steps = np.diff(wave.seconds)
        self._slopes = np.divide(
            np.diff(wave.values), self._steps, out=np.zeros_like(self._steps), where=self._steps > 0
        )
        self.samples = self._chained() if tau_s else wave.values

    def at(self, seconds) -> np.ndarray:
        """Lagged values at `seconds` (s, 1-D array, on the time base of the wave)."""
        known = self._wave.seconds
        times = self._folded(np.asarray(seconds, dtype=float))
        piece = np.clip(np.searchsorted(known, times, side="right") - 1, 0, len(self._steps) - 1)
        elapsed = times - known[piece]
        inside = np.where(elapsed < self._steps[piece], elapsed, self._steps[piece])
        straight = self._wave.values[piece] + self._slopes[piece] * inside
        if not self._tau:
            return np.where(elapsed > inside, self._wave.values[-1], straight)
        behind = self._slopes[piece] * self._tau
        rest = self.samples[piece] - self._wave.values[piece] + behind
        value = straight - behind + rest * np.exp(-inside / self._tau)
        held = self._wave.values[-1] + (self.samples[-1] - self._wave.values[-1]) * np.exp(
            (inside - elapsed) / self._tau
        )
        return np.where(elapsed > inside, held, value)

    def _folded(self, times: np.ndarray) -> np.ndarray:
        begin, length = self._wave.seconds[0], self._wave.duration_s
        return begin + np.mod(times - begin, length) if self._repeats else np.maximum(times, begin)

    def _chained(self) -> np.ndarray:
        """Lagged values at the wave's own samples: y[k+1] = keep[k]·y[k] + add[k], all at once by doubling."""
        values, moves = self._wave.values, self._steps > 0
        keep = np.exp(-self._steps / self._tau)
        behind = self._slopes * self._tau
        add = np.where(moves, values[1:] - behind + (behind - values[:-1]) * keep, 0.0)
        reach = 1
        while reach < keep.size and keep[reach:].any():
            add[reach:] = add[reach:] + keep[reach:] * add[:-reach]
            keep[reach:] = keep[reach:] * keep[:-reach]
            reach *= 2
        first = add[-1] / (1 - keep[-1]) if self._repeats else values[0]
        return np.concatenate([[first], add + keep * first])

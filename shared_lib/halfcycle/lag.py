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
        steps = np.diff(wave.seconds, append=wave.seconds[-1])  # after the last sample the wave is flat
        moves = np.diff(wave.values, append=wave.values[-1])
        self._slopes = np.divide(moves, steps, out=np.zeros_like(steps), where=steps > 0)
        self.samples = self._chained() if tau_s else wave.values

    def at(self, seconds) -> np.ndarray:
        """Lagged values at `seconds` (s, 1-D array, on the time base of the wave)."""
        known, begin, times = self._wave.seconds, self._wave.seconds[0], np.asarray(seconds, dtype=float)
        times = begin + np.mod(times - begin, self._wave.duration_s) if self._repeats else np.maximum(times, begin)
        piece = np.searchsorted(known, times, side="right") - 1
        elapsed = times - known[piece]
        straight = self._wave.values[piece] + self._slopes[piece] * elapsed
        if not self._tau:
            return straight
        behind = self._slopes[piece] * self._tau
        rest = self.samples[piece] - self._wave.values[piece] + behind
        return straight - behind + rest * np.exp(-elapsed / self._tau)

    def _chained(self) -> np.ndarray:
        """Lagged values at the wave's own samples: y[k+1] = keep[k]·y[k] + add[k], all at once by doubling."""
        values, steps = self._wave.values, np.diff(self._wave.seconds)
        behind = self._slopes[:-1] * self._tau
        keep = np.exp(-steps / self._tau)
        add = np.where(steps > 0, values[1:] - behind + (behind - values[:-1]) * keep, 0.0)
        reach = 1
        while keep[reach:].any():
            add[reach:] += keep[reach:] * add[:-reach]
            keep[reach:] *= keep[:-reach]
            reach *= 2
        first = add[-1] / (1 - keep[-1]) if self._repeats else values[0]
        return np.concatenate([[first], add + keep * first])

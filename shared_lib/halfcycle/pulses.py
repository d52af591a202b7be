"""Narrow pulses on a slow wave: how high, how wide, how often.

Terms of IEEE 181: a pulse's amplitude is counted from its base, here the wave as it would be undisturbed; its duration
lies between the 50 % reference level instants. A dip is a pulse of negative height. These pulses are a matter of the
bus itself: they are neither an electrical fast transient nor a surge in the sense of IEC 61000-4.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .lag import Lag
from .values import positive
from .waveforms import Waveform

_ROUNDS = 20


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses in the order of time, as three arrays of one length, and the `duration_s` of the record they are from.

    Parameters
    ----------
    seconds : instant of each pulse's extreme, s
    heights : V above the undisturbed wave; below zero for a dip
    widths : s between the two instants at which half of the height is passed
    duration_s : s

    >>> Pulses(np.array([1e-3, 2e-3]), np.array([50.0, -8.0]), np.array([2e-6, 9e-6]), 0.5).rate_hertz
    4.0
    """

    seconds: np.ndarray
    heights: np.ndarray
    widths: np.ndarray
    duration_s: float

    @property
    def count(self) -> int:
        """How many pulses there are."""
        return len(self.heights)

    @property
    def rate_hertz(self) -> float:
        """Pulses per second, Hz."""
        return self.count / self.duration_s

    @property
    def spikes(self) -> "Pulses":
        """Those above the undisturbed wave."""
        return self._where(self.heights > 0)

    @property
    def dips(self) -> "Pulses":
        """Those below the undisturbed wave."""
        return self._where(self.heights < 0)

    def _where(self, wanted: np.ndarray) -> "Pulses":
        return Pulses(self.seconds[wanted], self.heights[wanted], self.widths[wanted], self.duration_s)


def pulses(wave: Waveform, undisturbed: Waveform | None = None, *, threshold_volts: float, hertz: float = 60) -> Pulses:
    """The pulses of `wave` that rise (or dip) more than `threshold_volts` from the undisturbed wave.

    Parameters
    ----------
    wave : a capture or a solved wave, V
    undisturbed : the same wave without pulses, V; a record of whole cycles on the same time base, which repeats end to
        end. None: the sine of `hertz`, with its dc, that fits the samples best which lie within the threshold of it
    threshold_volts : V, well above the noise. A pulse ends where it is back within half of it, so that noise on its
        flank does not make two of one
    hertz : frequency of the undisturbed sine, Hz

    A pulse that the record cuts off is measured as far as it is seen. Errors: ValueError for a threshold or frequency
    that is not above zero.

    >>> bus = Waveform.sine(volts_peak=34.0); spiked = bus.values + 60.0 * (abs(bus.seconds - 4e-3) < 20e-6)
    >>> found = pulses(bus.with_values(spiked), threshold_volts=10.0)
    >>> found.heights.round(3).tolist(), (found.widths * 1e6).round().tolist()
    ([60.0], [42.0])
    """
    positive("threshold_volts", threshold_volts)
    positive("hertz", hertz)
    if undisturbed is None:
        excess = wave.values - _fitted_sine(wave, hertz, threshold_volts)
    elif undisturbed.seconds is wave.seconds:
        excess = wave.values - undisturbed.values
    else:
        excess = wave.values - Lag(undisturbed, 0.0).at(wave.seconds)
    found = [_measured(wave.seconds, excess, *span) for span in _spans(excess, threshold_volts)]
    return Pulses(*np.array(found, dtype=float).reshape(-1, 3).T, wave.duration_s)


def _fitted_sine(wave: Waveform, hertz: float, threshold: float) -> np.ndarray:
    """Least squares of dc, sine and cosine, over again without the samples that lie too far off."""
    turns = 2 * np.pi * hertz * wave.seconds
    shapes = np.stack([np.ones_like(turns), np.sin(turns), np.cos(turns)], axis=1)
    near = np.ones(len(wave), dtype=bool)
    for _ in range(_ROUNDS):
        fit = shapes @ np.linalg.lstsq(shapes[near], wave.values[near], rcond=None)[0]
        off = abs(wave.values - fit)
        before, near = near, off <= max(threshold, np.median(off))
        if (near == before).all():
            break
    return fit


def _spans(excess: np.ndarray, threshold: float) -> Iterable[tuple[int, int]]:
    """First and one past last sample of each stretch on one side, beyond half the threshold and somewhere beyond it."""
    size = abs(excess)
    side = np.sign(excess) * (size > threshold / 2)
    edges = np.flatnonzero(np.diff(side, prepend=np.nan, append=np.nan))  # both ends of the record count as edges
    high = np.maximum.reduceat(size, edges[:-1]) > threshold
    return zip(edges[:-1][high], edges[1:][high], strict=True)


def _measured(seconds: np.ndarray, excess: np.ndarray, first: int, stop: int) -> tuple[float, float, float]:
    """Instant, height and width of one pulse; with the sample before it and the one after, for half its height."""
    top = first + abs(excess[first:stop]).argmax()
    before, after = slice(max(first - 1, 0), top + 1), slice(top, stop + 1)
    rise = _half_instant(seconds[before][::-1], excess[before][::-1])
    return seconds[top], excess[top], _half_instant(seconds[after], excess[after]) - rise


def _half_instant(seconds: np.ndarray, excess: np.ndarray) -> float:
    """The instant at which half of the height is passed, going away from the top, which is first; the last if never."""
    share = excess / excess[0]
    outer = np.argmax(share < 0.5)
    return np.interp(0.5, share[[outer, outer - 1]], seconds[[outer, outer - 1]]) if outer else seconds[-1]

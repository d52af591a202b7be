"""A record of one quantity against time: what a solver hands to a meter or to a picture."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True, eq=False)
class Waveform:
    """Samples of one quantity, evenly spaced or not, as two arrays of the same length.

    Both ends count: a record of one cycle holds its first sample again at the end. Between samples the wave is taken
    as a straight line; two samples at one instant are a jump.

    Parameters
    ----------
    seconds : 1-D array, s, never running backwards
    values : 1-D array of the same length, in `unit`
    unit : unit of the values, for instance "V" or "A"

    Errors: ValueError in one sentence for tables, unequal lengths, missing samples, or times that run backwards.

    >>> Waveform([0.0, 1.0, 2.0], [0.0, 5.0, 0.0], "V").duration_s
    2.0
    """

    seconds: np.ndarray
    values: np.ndarray
    unit: str = "V"

    def __post_init__(self):
        seconds, values = _own(self.seconds), _own(self.values)
        vars(self).update(seconds=seconds, values=values)
        if seconds.ndim != 1 or values.ndim != 1:
            raise ValueError("A waveform needs one list of times and one list of values, not tables.")
        times, count = seconds.size, values.size
        if times != count:
            raise ValueError(f"A waveform needs one value for each time; it has {times} times and {count} values.")
        if times < 2:
            raise ValueError("A waveform needs at least two samples.")
        if not (np.isfinite(seconds).all() and np.isfinite(values).all()):
            raise ValueError("A waveform may not hold missing or infinite samples.")
        if (seconds[1:] < seconds[:-1]).any():
            raise ValueError("The times of a waveform may not run backwards.")
        if seconds[0] == seconds[-1]:
            raise ValueError("All samples of the waveform fall on one instant, so it has no duration.")

    @classmethod
    def sine(
        cls,
        *,
        volts_peak: float = 1.0,
        hertz: float = 60.0,
        cycles: int = 1,
        offset_volts: float = 0.0,
        start_degrees: float = 0.0,
        samples_per_cycle: int = 2000,
        unit: str = "V",
    ) -> "Waveform":
        """`cycles` whole cycles of a sine of `volts_peak` (in `unit`) about `offset_volts`.

        >>> Waveform.sine(volts_peak=34.0, samples_per_cycle=4).values.round(6).tolist()
        [0.0, 34.0, 0.0, -34.0, -0.0]
        """
        turns = np.arange(cycles * samples_per_cycle + 1) / samples_per_cycle
        wave = volts_peak * np.sin(2 * np.pi * turns + np.radians(start_degrees))
        return cls(turns / hertz, offset_volts + wave, unit)

    @property
    def duration_s(self) -> float:
        """Seconds from the first sample to the last."""
        return float(self.seconds[-1] - self.seconds[0])

    def __len__(self) -> int:
        return self.values.size

    @cached_property
    def shares(self) -> np.ndarray:
        """What part of the record each sample stands for, by trapezoids: `shares @ values` is the mean of the record."""
        halves = np.diff(self.seconds, prepend=self.seconds[0], append=self.seconds[-1]) / (2 * self.duration_s)
        return halves[:-1] + halves[1:]

    def with_values(self, values, unit: str | None = None) -> "Waveform":
        """The same instants with other values, in the same unit or another: `w.with_values(abs(w.values))` is a full wave.

        >>> Waveform([0.0, 1.0], [-2.0, 3.0]).with_values([2.0, 3.0]).values.tolist()
        [2.0, 3.0]
        """
        other = Waveform(self.seconds, values, self.unit if unit is None else unit)
        vars(other)["shares"] = self.shares  # they hang on the instants alone
        return other

    def slice(self, start_s: float, stop_s: float) -> "Waveform":
        """The part from `start_s` to `stop_s` (s), its two ends put in by straight-line interpolation.

        >>> Waveform([0.0, 1.0, 2.0], [0.0, 5.0, 0.0], "V").slice(0.5, 1.5).values.tolist()
        [2.5, 5.0, 2.5]
        """
        low, high = self.seconds[[0, -1]]
        if not low <= start_s < stop_s <= high:
            raise ValueError(f"The record runs from {low:g} s to {high:g} s; {start_s:g} to {stop_s:g} s is not in it.")
        inside = (self.seconds > start_s) & (self.seconds < stop_s)
        seconds = np.concatenate([[start_s], self.seconds[inside], [stop_s]])
        ends = np.interp([start_s, stop_s], self.seconds, self.values)
        return Waveform(seconds, np.concatenate([ends[:1], self.values[inside], ends[1:]]), self.unit)


def waves(seconds, rows, units) -> list[Waveform]:
    """Several waveforms over the same instants (s), each of `rows` in its own unit; their `shares` are worked out once.

    Errors: as of `Waveform`.

    >>> [wave.unit for wave in waves([0.0, 1.0], [[2.0, 3.0], [0.1, 0.2]], "VA")]
    ['V', 'A']
    """
    first = Waveform(seconds, rows[0])
    return [first.with_values(row, unit) for row, unit in zip(rows, units, strict=True)]


def _own(samples) -> np.ndarray:
    """A private read-only copy, so that a frozen record really is frozen; what is frozen already is shared."""
    if type(samples) is np.ndarray and samples.dtype == float and samples.flags.owndata and not samples.flags.writeable:
        return samples
    copy = np.array(samples, dtype=float)
    copy.setflags(write=False)
    return copy

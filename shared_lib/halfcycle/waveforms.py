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
        for name in ("seconds", "values"):
            object.__setattr__(self, name, _own(getattr(self, name)))
        if problem := _problem(self.seconds, self.values):
            raise ValueError(problem)

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
        values = _own(values)
        if problem := _sizes_differ(self.seconds, values) or _missing(values):
            raise ValueError(problem)
        other = object.__new__(type(self))
        vars(other).update(vars(self), values=values, unit=self.unit if unit is None else unit)
        return other

    def slice(self, start_s: float, stop_s: float) -> "Waveform":
        """The part from `start_s` to `stop_s` (s), its two ends put in by straight-line interpolation.

        >>> Waveform([0.0, 1.0, 2.0], [0.0, 5.0, 0.0], "V").slice(0.5, 1.5).values.tolist()
        [2.5, 5.0, 2.5]
        """
        first, last = self.seconds[0], self.seconds[-1]
        if not first <= start_s < stop_s <= last:
            raise ValueError(
                f"The record runs from {first:g} s to {last:g} s; {start_s:g} to {stop_s:g} s is not in it."
            )
        inside = (self.seconds > start_s) & (self.seconds < stop_s)
        seconds = np.concatenate([[start_s], self.seconds[inside], [stop_s]])
        ends = np.interp([start_s, stop_s], self.seconds, self.values)
        return Waveform(seconds, np.concatenate([ends[:1], self.values[inside], ends[1:]]), self.unit)


def waves(seconds, rows, units) -> list[Waveform]:
    """Several waveforms over the same instants (s), each of `rows` in its own unit; the instants are checked once.

    Errors: as of `Waveform`.

    >>> [wave.unit for wave in waves([0.0, 1.0], [[2.0, 3.0], [0.1, 0.2]], "VA")]
    ['V', 'A']
    """
    first = Waveform(seconds, rows[0], units[0])
    first.shares  # noqa: B018 - all waves share it
    return [first, *(first.with_values(row, unit) for row, unit in zip(rows[1:], units[1:], strict=True))]


def _own(samples) -> np.ndarray:
    """A private read-only copy, so that a frozen record really is frozen; what is frozen already is shared."""
    if type(samples) is np.ndarray and samples.dtype == float and samples.flags.owndata and not samples.flags.writeable:
        return samples
    copy = np.array(samples, dtype=float)
    copy.setflags(write=False)
    return copy


def _problem(seconds: np.ndarray, values: np.ndarray) -> str:
    """What is wrong with a record in one sentence, or nothing."""
    if problem := _sizes_differ(seconds, values) or _missing(seconds) or _missing(values):
        return problem
    if (seconds[1:] < seconds[:-1]).any():
        return "The times of a waveform may not run backwards."
    if seconds[0] == seconds[-1]:
        return "All samples of the waveform fall on one instant, so it has no duration."
    return ""


def _sizes_differ(seconds: np.ndarray, values: np.ndarray) -> str:
    if seconds.ndim != 1 or values.ndim != 1:
        return "A waveform needs one list of times and one list of values, not tables."
    if seconds.size != values.size:
        return f"A waveform needs one value for each time; it has {seconds.size} times and {values.size} values."
    return "A waveform needs at least two samples." if seconds.size < 2 else ""


def _missing(samples: np.ndarray) -> str:
    return "" if np.isfinite(samples).all() else "A waveform may not hold missing or infinite samples."

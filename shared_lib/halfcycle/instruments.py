"""What each kind of meter shows on a waveform.

Every reading is a mean over the whole record, taken by trapezoids between the samples (evenly spaced or not). So the
record has to hold whole cycles: a meter averages over many, and a cut-off cycle would lean the reading. Readings are in
the unit of the waveform. Use it as `from halfcycle import meters`.

Means are `einsum`'s: over ten thousand samples `@` would wake a second thread, and wait for it where cores are busy.

The factor of an average-responding meter is π/(2√2) = 1.1107, the form factor of a sine (rms over mean of |v|).
"""

import math

import numpy as np

from halfcycle.constants import CONSTANTS
from halfcycle.lag import Lag
from halfcycle.waveforms import Waveform

SINE_FORM_FACTOR = float(CONSTANTS["form factor of a sine"])
_HYSTERESIS = 0.1  # of peak to peak: how far a wave must fall below its middle before the next rise counts
_CLOSED = 0.02  # of peak to peak: how near its start a record must end to be called whole cycles


def dc(wave: Waveform) -> float:
    """Reading of a dc meter: the mean.

    >>> dc(Waveform.sine(volts_peak=34.0, offset_volts=5.0)).__round__(6)
    5.0
    """
    return float(np.einsum("i,i->", wave.shares, wave.values))


def true_rms(wave: Waveform) -> float:
    """Reading of a true-rms meter coupled ac+dc: the root of the mean square, the steady part included.

    >>> round(true_rms(Waveform.sine(volts_peak=34.0)), 3)
    24.042
    """
    return math.sqrt(np.einsum("i,i,i->", wave.shares, wave.values, wave.values))


def ac_rms(wave: Waveform) -> float:
    """Reading of a true-rms meter coupled ac: a capacitor at its input has taken the mean away first.

    >>> round(ac_rms(Waveform.sine(volts_peak=34.0, offset_volts=5.0)), 3)
    24.042
    """
    return true_rms(wave.with_values(wave.values - dc(wave)))


def average_responding(wave: Waveform, *, coupled: str = "ac") -> float:
    """Reading of a meter that rectifies, averages and scales by 1.1107 so that it is right on a sine only.

    `coupled="ac"` takes the mean of the wave away first, as the ac range of a common meter does; `coupled="dc"` does not.
    A straight line between two samples is split where it crosses zero.

    >>> half_wave = Waveform.sine(); half_wave = half_wave.with_values(half_wave.values.clip(0))
    >>> round(average_responding(half_wave, coupled="dc"), 4), round(average_responding(half_wave, coupled="ac"), 4)
    (0.3536, 0.3897)
    """
    if coupled not in ("ac", "dc"):
        raise ValueError(f'A meter is coupled "ac" or "dc", not {coupled!r}.')
    values = wave.values - dc(wave) if coupled == "ac" else wave.values
    left, right = values[:-1], values[1:]
    size = np.abs(left) + np.abs(right)
    np.divide(left**2 + right**2, size, out=size, where=left * right < 0)  # two triangles, on either side of zero
    return SINE_FORM_FACTOR * float((size / 2 * np.diff(wave.seconds)).sum() / wave.duration_s)


def peak(wave: Waveform) -> float:
    """Largest distance from zero, on whichever side.

    >>> peak(Waveform([0.0, 1.0, 2.0], [0.0, -7.0, 3.0]))
    7.0
    """
    return float(np.abs(wave.values).max())


def peak_hold(wave: Waveform, *, attack_s: float = 250e-6) -> float:
    """Reading of a peak hold: the largest distance from zero that its detector reaches, in the unit of the wave.

    The detector follows the wave with a first-order lag of time constant `attack_s` (s, 0 for an ideal one; the default
    is common practice, no source). Of a spike much narrower than that it sees hardly anything: of a flat one of width w
    on a steady wave, the share 1 - exp(-w/attack_s) of the height. The record is taken to repeat end to end.
    Errors: ValueError for an attack time that is negative or not finite.

    >>> spike = Waveform([0.0, 0.1, 0.1, 0.100002, 0.100002, 0.2], [0.0, 0.0, 200.0, 200.0, 0.0, 0.0])
    >>> peak_hold(spike, attack_s=0), round(peak_hold(spike, attack_s=250e-6), 2)
    (200.0, 1.59)
    """
    return float(np.abs(Lag(wave, attack_s).samples).max())


def peak_to_peak(wave: Waveform) -> float:
    """Highest sample less lowest sample.

    >>> peak_to_peak(Waveform([0.0, 1.0, 2.0], [0.0, -7.0, 3.0]))
    10.0
    """
    return float(np.ptp(wave.values))


def crest_factor(wave: Waveform) -> float:
    """Peak over true rms, no unit.

    >>> round(crest_factor(Waveform.sine()), 4)
    1.4142
    """
    rms = true_rms(wave)
    if rms == 0:
        raise ValueError("The record is zero throughout, so it has no crest factor.")
    return peak(wave) / rms


def frequency(wave: Waveform) -> float:
    """Cycles per second (Hz), from the times at which the wave rises through the middle of its swing.

    A record of one cycle is enough when it ends where it began: it is then taken to repeat.

    >>> round(frequency(Waveform.sine(hertz=60.0, cycles=3)), 6), round(frequency(Waveform.sine(hertz=50.0)), 6)
    (60.0, 50.0)
    """
    swing = peak_to_peak(wave)
    if swing == 0:
        raise ValueError("The record never changes, so it has no frequency.")
    rises = _rises(wave.seconds, wave.values)
    if len(rises) < 2:
        if abs(wave.values[-1] - wave.values[0]) > _CLOSED * swing:
            raise ValueError("The record holds less than one whole cycle, so no frequency can be read from it.")
        starts = wave.duration_s * np.arange(3)[:, None]
        rises = _rises((starts + wave.seconds).ravel(), np.tile(wave.values, 3))
    return float((len(rises) - 1) / (rises[-1] - rises[0]))


def _rises(seconds: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Instants (s) of rising through the middle, each counted once however noisy the crossing."""
    height = values - (values.max() + values.min()) / 2
    before = np.flatnonzero((height[:-1] < 0) & (height[1:] >= 0))
    lows_so_far = np.cumsum(height < -_HYSTERESIS * np.ptp(values))[before]
    before = before[np.diff(lows_so_far, prepend=0) > 0]
    share = -height[before] / (height[before + 1] - height[before])
    return seconds[before] + share * (seconds[before + 1] - seconds[before])

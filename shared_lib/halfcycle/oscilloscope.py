"""What a digital scope makes of a wave: bandwidth, trigger, sampling, offset, noise and a few bits.

The noise is the same on every platform and Python: whole numbers from PCG64, seeded by SHA-256, of which twelve are
added up for each sample (their sum is close to a normal law and never beyond six times its rms).
"""

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from .lag import Lag
from .values import need
from .waveforms import Waveform

_MOST_SAMPLES = 10_000_000
_NARROWINGS = 6  # each finds the trigger 64 times as closely


@dataclass(frozen=True)
class Oscilloscope:
    """A scope with its settings. Defaults: 10 V a division, eight divisions, a common 8-bit scope (common practice, no source).

    Parameters
    ----------
    sample_hertz : samples per second
    bandwidth_hertz : frequency at which a sine is down by 3 dB (first-order low-pass), Hz
    bits : bits of the converter; the step is `full_scale_volts` / 2**bits
    full_scale_volts : from the bottom of the screen to its top, V, zero in the middle; beyond it the record is flat
    noise_volts_rms, offset_volts : noise, V rms, and steady error, V, of the input
    trigger_volts : level at which time 0 is, V; None for no trigger (time 0 is then the wave's own first sample)
    trigger_slope : "rise" or "fall"
    pre_trigger_s : seconds recorded before the trigger; below zero, the record begins that long after it
    record_s : seconds recorded in all; None for the length of the wave

    Errors: ValueError which names the setting that is out of range.

    >>> Oscilloscope(full_scale_volts=80.0).step_volts
    0.3125
    """

    sample_hertz: float = 1e6
    bandwidth_hertz: float = 20e6
    bits: int = 8
    full_scale_volts: float = 80.0
    noise_volts_rms: float = 0.1
    offset_volts: float = 0.1
    trigger_volts: float | None = 0.0
    trigger_slope: str = "rise"
    pre_trigger_s: float = 1e-3
    record_s: float | None = None

    def __post_init__(self):
        above_zero, finite = ["sample_hertz", "bandwidth_hertz", "full_scale_volts"], ["offset_volts", "pre_trigger_s"]
        above_zero += ["record_s"] if self.record_s is not None else []
        finite += ["trigger_volts"] if self.trigger_volts is not None else []
        need(self, "of a scope", above_zero=above_zero, from_zero=("noise_volts_rms",), finite=finite)
        if self.bits not in range(1, 25):
            raise ValueError(f"bits of a scope must be a whole number from 1 to 24, not {self.bits!r}.")
        if self.trigger_slope not in ("rise", "fall"):
            raise ValueError(f'trigger_slope of a scope must be "rise" or "fall", not {self.trigger_slope!r}.')

    @property
    def step_volts(self) -> float:
        """One step of the converter, V: the least difference that the record can show."""
        return self.full_scale_volts / 2**self.bits

    def capture(self, wave: Waveform, seed: int | str, *, repeats: bool = True) -> Waveform:
        """What the scope records of `wave`: evenly spaced, time 0 at the trigger, negative before it.

        A wave that `repeats` (one period of a steady state) is taken to follow itself end to end, so the record may
        start before it and last longer; else (`repeats=False`, a switch-on) it holds its first and last values.
        The same `seed` gives the same noise. Unit as of `wave`.
        Errors: ValueError where the wave never passes the trigger level, or the record would fill the memory.

        >>> Oscilloscope(sample_hertz=1e5).capture(Waveform.sine(volts_peak=34.0), seed=1).values.max().item()
        34.375
        """
        steps = round((self.record_s or wave.duration_s) * self.sample_hertz)
        if not 1 <= steps <= _MOST_SAMPLES:
            raise ValueError(f"A scope records 2 to {_MOST_SAMPLES:,} samples; these settings ask for {steps + 1:,}.")
        seen = Lag(wave, 1 / (2 * math.pi * self.bandwidth_hertz), repeats=repeats)
        count_before = round(self.pre_trigger_s * self.sample_hertz)
        seconds = np.arange(-count_before, steps + 1 - count_before) / self.sample_hertz
        volts = seen.at(self._trigger_s(wave, seen) + seconds) + self.offset_volts
        volts += self.noise_volts_rms * _noise(seed, volts.size)
        half = 2 ** (self.bits - 1)
        levels = np.clip(np.rint(volts / self.step_volts), -half, half - 1)
        return Waveform(seconds, levels * self.step_volts + 0.0, wave.unit)  # + 0.0: no minus zero

    def _trigger_s(self, wave: Waveform, seen: Lag) -> float:
        """The first instant of the wave at which it passes the trigger level in the wanted direction, s."""
        if self.trigger_volts is None:
            return float(wave.seconds[0])
        way, level, samples = (1 if self.trigger_slope == "rise" else -1), self.trigger_volts, seen.samples
        passing = np.flatnonzero(np.diff((way * samples >= way * level).astype(int)) > 0)
        if not passing.size:
            raise ValueError(
                f"The scope never triggers: the wave does not {self.trigger_slope} through {level:g} {wave.unit}; "
                f"it runs from {samples.min():.4g} to {samples.max():.4g} {wave.unit}."
            )
        begin, end = wave.seconds[passing[0] :][:2]
        for _ in range(_NARROWINGS):
            times = np.linspace(begin, end, 65)
            beyond = np.append(way * seen.at(times[1:-1]) >= way * level, True)
            begin, end = times[np.argmax(beyond) :][:2]
        return float(end)


def _noise(seed: int | str, count: int) -> np.ndarray:
    """Noise of mean 0 and rms 1: sums of twelve 16-bit numbers, of variance (65536² - 1)/12 each."""
    digest = hashlib.sha256(f"oscilloscope|{seed}".encode()).digest()
    words = np.random.PCG64(int.from_bytes(digest, "big")).random_raw(3 * count)
    sums = words.view(np.uint16).reshape(count, 12).sum(axis=1, dtype=np.int64)
    return (sums - 6 * 65535) / 65536

"""The signals of lesson 02: a fan's speed signal (a sine that rides on dc) as a scope captured it, and a damper's pulses.

A learner's capture is made in memory from the circuit's own values, the same on every computer.
"""

import math
from functools import lru_cache

import numpy as np

from .. import instruments as meters
from ..oscilloscope import Oscilloscope
from ..waveforms import Waveform
from .screen import ACROSS, UP, Setting

__all__ = ["capture_of", "pulses", "speed_capture", "speed_divisions", "spikes_seen", "whole_cycles"]

_SAMPLES = 2000
_NOISE_DIVISIONS = 0.01
_PERIODS = tuple(round(3.2 + 0.1 * step, 1) for step in range(11))  # divisions
_SWINGS, _OFFSETS = (1.8, 2.0, 2.2), (1.2, 1.4, 1.6)  # divisions
_FIRST_CAPTURE = 100


def capture_of(
    setting: Setting, *, period_divisions: float, swing_divisions: float, offset_divisions: float, seed: int | str
) -> Waveform:
    """Ten divisions of a sine that swings about an offset, as an 8-bit scope records it; it rises through 0 V at division 1.

    >>> capture = capture_of(Setting(2, 5), period_divisions=4, swing_divisions=2, offset_divisions=1, seed="any")
    >>> round(meters.frequency(capture), 1), round(meters.dc(whole_cycles(capture)), 1)
    (50.0, 2.0)
    """
    volts, seconds = setting.volts_per_division, setting.ms_per_division / 1000
    wave = Waveform.sine(
        volts_peak=swing_divisions * volts,
        offset_volts=offset_divisions * volts,
        hertz=1 / (period_divisions * seconds),
    )
    scope = Oscilloscope(
        sample_hertz=_SAMPLES / (ACROSS * seconds),
        full_scale_volts=UP * volts,
        noise_volts_rms=_NOISE_DIVISIONS * volts,
        offset_volts=0.0,
        pre_trigger_s=seconds,
        record_s=ACROSS * seconds,
    )
    return scope.capture(wave, seed)


def speed_divisions(circuit) -> tuple[float, float, float]:
    """Period, swing and offset of a learner's own speed signal, in divisions of its screen, by the number of its capture."""
    rest, period = divmod(circuit.capture_number - _FIRST_CAPTURE, len(_PERIODS))
    swing, offset = divmod(rest, len(_OFFSETS))
    return _PERIODS[period], _SWINGS[swing], _OFFSETS[offset]


@lru_cache(maxsize=1024)
def speed_capture(circuit) -> Waveform:
    """The capture of a learner's own speed signal, V, ten divisions long."""
    period, swing, offset = speed_divisions(circuit)
    return capture_of(
        Setting(circuit.volts_per_division, circuit.ms_per_division),
        period_divisions=period,
        swing_divisions=swing,
        offset_divisions=offset,
        seed=f"speed signal|{circuit.values()}",
    )


def pulses(high_volts: float, low_volts: float, high_ms: float, period_ms: float) -> Waveform:
    """One period of a pulse: `high_volts` (V) for `high_ms` (ms), then `low_volts` up to `period_ms`.

    >>> wave = pulses(20.0, 0.0, 2.0, 8.0)
    >>> meters.dc(wave), meters.true_rms(wave)
    (5.0, 10.0)
    """
    seconds = np.array([0.0, high_ms, high_ms, period_ms, period_ms]) / 1000
    return Waveform(seconds, [high_volts, high_volts, low_volts, low_volts, high_volts])


def whole_cycles(wave: Waveform) -> Waveform:
    """As many whole cycles as the record holds, from its first sample on; the record itself where it has no cycle."""
    try:
        hertz = meters.frequency(wave)
    except ValueError:
        return wave
    cycles = math.floor(wave.duration_s * hertz + 1e-6)
    stop = min(wave.seconds[-1], wave.seconds[0] + cycles / hertz)
    return wave.slice(wave.seconds[0], stop) if cycles else wave


def spikes_seen(spike_us: float, interval_us: float, *, moments: int = 200) -> float:
    """Percent of spikes `spike_us` (µs) wide, at `moments` evenly spread moments, of which a record holds a sample.

    >>> spikes_seen(2, 20), spikes_seen(2, 1)
    (10.0, 100.0)
    """
    scope = Oscilloscope(
        sample_hertz=1e6 / interval_us, bandwidth_hertz=1e9, trigger_volts=None, noise_volts_rms=0.0, offset_volts=0.0,
        pre_trigger_s=0.0,
    )  # fmt: skip
    starts = 10 * interval_us + (np.arange(moments) + 0.5) / moments * interval_us
    records = (scope.capture(_spike(start, spike_us, 20 * interval_us + spike_us), 0) for start in starts)
    return 100.0 * sum(bool(record.values.max() > 15.0) for record in records) / moments


def _spike(start_us: float, wide_us: float, end_us: float) -> Waveform:
    """Nothing, 30 V for `wide_us`, nothing."""
    stop_us = start_us + wide_us
    edges = np.array([0.0, start_us, start_us, stop_us, stop_us, end_us]) / 1e6
    return Waveform(edges, [0.0, 0.0, 30.0, 30.0, 0.0, 0.0])

"""Keys of lesson 02, what the meter says, what the scope says.

First road: closed forms. Of the speed signal, a sine of amplitude A about an offset B, from what its capture was made of:
peak A + B, mean B, true rms √(B² + A²/2). Of a pulse, H volts for a share d of the time and L volts for the rest: mean
m = d·H + (1 - d)·L, mean square d·H² + (1 - d)·L², mean distance from the mean 2 d (1 - d)(H - L).

Second road: the meters read a record (the learner's own capture, or the pulse as a waveform); the scope's own settings are
tried one after the other, its samples counted, its steps measured.

The form factor of a sine, π/(2√2) = 1.1107, is the factor of an average-responding meter (published).
"""

import math

import numpy as np

from autograde.marking import Key
from halfcycle import Waveform, meters
from halfcycle.oscilloscope import Oscilloscope
from halfcycle.workbook.screen import ACROSS, UP, next_setting
from halfcycle.workbook.two_signals import pulses, speed_capture, speed_divisions, whole_cycles

__all__ = ["FORM", "KEYS", "mean_volts", "rms_volts", "sample_us", "share", "speed"]

PERIOD = "Across: period and frequency"
HEIGHT = "Up: the highest and the lowest point"
RIDES = "A sine that rides on dc"
PULSES = "Pulses: the mean, and what does the heating"
METERS = "Four meters on the same pulses"
CREST = "The crest factor"
SETTINGS = "Settings that use the screen"
SAMPLES = "Between two samples the scope is blind"
STEPS = "The smallest step of the record"

FORM = math.pi / (2 * math.sqrt(2))
_SERIES = tuple(float(f"{figure}e{power}") for power in range(-2, 3) for figure in (1, 2, 5))
_MOMENTS = 100_000


def speed(c):
    """Frequency (Hz), amplitude and offset (V) of the speed signal."""
    period, swing, offset = speed_divisions(c)
    return 1000 / (period * c.ms_per_division), swing * c.volts_per_division, offset * c.volts_per_division


def share(c):
    """Part of the time for which the pulse is on."""
    return c.high_ms / c.period_ms


def mean_volts(c):
    """Mean of the pulses, V."""
    return share(c) * c.high_volts + (1 - share(c)) * c.low_volts


def rms_volts(c):
    """True rms of the pulses, ac+dc, V."""
    return math.sqrt(share(c) * c.high_volts**2 + (1 - share(c)) * c.low_volts**2)


def sample_us(c):
    """From one sample of the long record to the next, µs."""
    return 1000 * ACROSS * c.record_ms_per_division / c.record_samples


def _speed_rms(c):
    _, amplitude, offset = speed(c)
    return math.sqrt(offset**2 + amplitude**2 / 2)


def _reads(meter, **options):
    return lambda c: meter(pulses(c.high_volts, c.low_volts, c.high_ms, c.period_ms), **options)


def _on_speed(meter):
    return lambda c: meter(whole_cycles(speed_capture(c)))


def _fitted_peak(c):
    """Highest point of the sine that fits the capture best: least squares at the frequency that the meter finds, V."""
    capture = speed_capture(c)
    turns = 2 * math.pi * meters.frequency(capture) * capture.seconds
    table = np.column_stack([np.sin(turns), np.cos(turns), np.ones_like(turns)])
    sine, cosine, offset = np.linalg.solve(table.T @ table, table.T @ capture.values)
    return math.hypot(sine, cosine) + float(offset)


def _first_volts(c):
    wave = Waveform.sine(volts_peak=c.sine_volts * math.sqrt(2))
    return next(step for step in _SERIES if meters.peak_to_peak(wave) <= UP * step)


def _first_ms(c):
    wave = pulses(c.high_volts, c.low_volts, c.high_ms, c.period_ms)
    return next(step for step in _SERIES if 2 * wave.duration_s <= ACROSS * step / 1000)


def _interval(c):
    times = np.linspace(0.0, ACROSS * c.record_ms_per_division * 1000, c.record_samples, endpoint=False)
    return float(np.median(np.diff(times)))


def _counted(c):
    """Spikes at evenly spread moments between two samples, of which the second sample still sees one."""
    moments = (np.arange(_MOMENTS) + 0.5) * sample_us(c) / _MOMENTS
    return 100.0 * float(np.mean(moments + c.spike_us > sample_us(c)))


def _measured_step(c):
    scope = Oscilloscope(
        bits=c.bits, full_scale_volts=UP * c.coarse_volts_per_division, noise_volts_rms=0, offset_volts=0,
        trigger_volts=None, pre_trigger_s=0,
    )  # fmt: skip
    ramp = Waveform([0.0, 0.02], [0.0, c.coarse_volts_per_division])
    return 1000 * float(np.diff(np.unique(scope.capture(ramp, 0, repeats=False).values)).min())


CAPTURED = "the learner's own capture, its whole cycles read by the meter"
PULSED = "the pulse as a waveform, read by the meter"
TRIED = "the scope's settings tried from the smallest up"

KEYS = (
    Key(
        "02-frequency",
        "Hz",
        2,
        first=lambda c: speed(c)[0],
        second=lambda c: meters.frequency(speed_capture(c)),
        first_road="one over the period that the capture was made with",
        second_road=CAPTURED,
        section=PERIOD,
        rel_tol=0.03,
    ),
    Key(
        "02-peak",
        "V",
        1,
        first=lambda c: speed(c)[1] + speed(c)[2],
        second=_fitted_peak,
        first_road="amplitude and offset added",
        second_road="the sine that fits the learner's own capture by least squares",
        section=HEIGHT,
        rel_tol=0.03,
    ),
    Key(
        "02-mean",
        "V",
        1,
        first=lambda c: speed(c)[2],
        second=_on_speed(meters.dc),
        first_road="the offset that the capture was made with",
        second_road=CAPTURED,
        section=RIDES,
        rel_tol=0.05,
    ),
    Key(
        "02-rms",
        "V",
        2,
        first=_speed_rms,
        second=_on_speed(meters.true_rms),
        first_road="root of offset squared and half the amplitude squared",
        second_road=CAPTURED,
        section=RIDES,
        rel_tol=0.04,
    ),
    Key(
        "02-dc",
        "V",
        2,
        first=mean_volts,
        second=_reads(meters.dc),
        first_road="both levels, each for its share of the time",
        second_road=PULSED,
        section=PULSES,
    ),
    Key(
        "02-ac-dc",
        "V",
        2,
        first=rms_volts,
        second=_reads(meters.true_rms),
        first_road="root of both levels' squares, each for its share of the time",
        second_road=PULSED,
        section=PULSES,
    ),
    Key(
        "02-ac",
        "V",
        2,
        first=lambda c: (c.high_volts - c.low_volts) * math.sqrt(share(c) * (1 - share(c))),
        second=_reads(meters.ac_rms),
        first_road="the step times the root of share times rest",
        second_road=PULSED,
        section=METERS,
        rel_tol=0.015,
    ),
    Key(
        "02-average-meter",
        "V",
        2,
        first=lambda c: FORM * 2 * share(c) * (1 - share(c)) * (c.high_volts - c.low_volts),
        second=_reads(meters.average_responding),
        first_road="sine form factor times the mean distance from the mean",
        second_road=PULSED,
        section=METERS,
    ),
    Key(
        "02-crest",
        "times",
        1,
        first=lambda c: c.high_volts / rms_volts(c),
        second=_reads(meters.crest_factor),
        first_road="the higher level over the root of the mean square",
        second_road=PULSED,
        section=CREST,
        rel_tol=0.02,
    ),
    Key(
        "02-volts-setting",
        "V",
        1,
        first=lambda c: next_setting(math.sqrt(2) * c.sine_volts / (UP / 2)),
        second=_first_volts,
        first_road="a quarter of the peak, up to the next of the series",
        second_road=TRIED,
        section=SETTINGS,
    ),
    Key(
        "02-time-setting",
        "ms",
        1,
        first=lambda c: next_setting(2 * c.period_ms / ACROSS),
        second=_first_ms,
        first_road="a tenth of two periods, up to the next of the series",
        second_road=TRIED,
        section=SETTINGS,
    ),
    Key(
        "02-sample-interval",
        "µs",
        1,
        first=sample_us,
        second=_interval,
        first_road="ten divisions over the number of samples",
        second_road="the samples' own instants, neighbour from neighbour",
        section=SAMPLES,
    ),
    Key(
        "02-spike-caught",
        "%",
        2,
        first=lambda c: 100 * c.spike_us / sample_us(c),
        second=_counted,
        first_road="width over interval",
        second_road="spikes at 100,000 moments, those with a sample in them counted",
        section=SAMPLES,
        rel_tol=0.02,
    ),
    Key(
        "02-step",
        "mV",
        1,
        first=lambda c: 1000 * UP * c.coarse_volts_per_division / 2**c.bits,
        second=_measured_step,
        first_road="eight divisions over two to the power of the bits",
        second_road="a slow ramp captured by such a scope, its smallest step measured",
        section=STEPS,
    ),
)

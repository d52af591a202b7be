"""The signals of lesson 02: a fan's speed signal (a sine that rides on dc) as a scope captured it, and a damper's pulses.

A learner's capture is made in memory from the circuit's own values, the same on every computer.
"""

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from .. import instruments as meters
from .. import wiring
from ..amounts import amount, plain
from ..oscilloscope import Oscilloscope
from ..scope import Level, Trace, scope_svg
from ..waveforms import Waveform
from .page import show_pair, table, twice
from .screen import ACROSS, UP, Setting, screen_svg, screen_words, show_screens, suited

__all__ = [
    "capture_of",
    "own_wave",
    "pulses",
    "pulses_picture",
    "readings",
    "speed_capture",
    "speed_divisions",
    "speed_picture",
    "speed_screen",
    "spikes_seen",
    "steps_picture",
    "whole_cycles",
]

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


def speed_screen(circuit) -> None:
    """Show the screen with a learner's own capture."""
    setting = Setting(circuit.volts_per_division, circuit.ms_per_division)
    show_screens([(f"Capture {circuit.capture_number}: your speed signal", speed_capture(circuit), setting)])


def speed_picture(capture: Waveform, setting: Setting) -> None:
    """Show where the speed signal comes from and where the scope and a meter are clipped on, beside its screen."""
    words = (
        "Wiring picture: a pickup at the fan makes an alternating voltage; a source of dc in the board is in series with "
        "it; a meter and a scope are both on the two terminals of the signal."
    )
    drawn = wiring.filled(_pickup_drawing(), words, {})
    show_pair(drawn, screen_svg("Scope on the speed signal", capture, setting),
              f"{words}\n{screen_words('Scope on the speed signal', capture, setting)}")  # fmt: skip


def pulses(high_volts: float, low_volts: float, high_ms: float, period_ms: float) -> Waveform:
    """One period of a pulse: `high_volts` (V) for `high_ms` (ms), then `low_volts` up to `period_ms`.

    >>> wave = pulses(20.0, 0.0, 2.0, 8.0)
    >>> meters.dc(wave), meters.true_rms(wave)
    (5.0, 10.0)
    """
    seconds = np.array([0.0, high_ms, high_ms, period_ms, period_ms]) / 1000
    return Waveform(seconds, [high_volts, high_volts, low_volts, low_volts, high_volts])


def pulses_picture(high_volts: float, low_volts: float, high_ms: float, period_ms: float) -> None:
    """Show the damper's output with three meters on it, and two of its pulses with mean and rms."""
    wave = pulses(high_volts, low_volts, high_ms, period_ms)
    mean, rms = meters.dc(wave), meters.true_rms(wave)
    levels = [Level(mean, f"mean {amount(mean, 'V')}"), Level(rms, f"rms {amount(rms, 'V')}")]
    scope = scope_svg(
        [Trace(twice(wave), "load", "At the damper")], levels, title="Scope picture of the damper's pulses, two of them"
    )
    words = (
        "Wiring picture: a control board feeds the damper's motor with pulses; three meters on its two terminals: dc, ac "
        f"and ac+dc. Read off: {', '.join(level.label for level in levels)}, high {high_volts:g} V for {high_ms:g} ms "
        f"of every {period_ms:g} ms, {low_volts:g} V between."
    )
    show_pair(wiring.filled(_pulses_drawing(), words, {}), scope, words)


def whole_cycles(wave: Waveform) -> Waveform:
    """As many whole cycles as the record holds, from its first sample on; the record itself where it has no cycle."""
    try:
        hertz = meters.frequency(wave)
    except ValueError:
        return wave
    cycles = math.floor(wave.duration_s * hertz + 1e-6)
    stop = min(wave.seconds[-1], wave.seconds[0] + cycles / hertz)
    return wave.slice(wave.seconds[0], stop) if cycles else wave


def own_wave(wave: Waveform) -> None:
    """Show a capture at the setting that suits it, and what the meters make of its whole cycles."""
    show_screens([("The capture, at the setting that suits it", wave, suited(wave))])
    readings("What the scope and four meters say", [("", wave)])


def readings(caption: str, waves: Sequence[tuple[str, Waveform]]) -> None:
    """Show frequency, peak, crest factor and four meters' readings of whole cycles, one column for each named wave.

    >>> readings("Readings", [("sine", Waveform.sine(volts_peak=34.0))])  # doctest: +ELLIPSIS
    Readings
    frequency | 60.0...Hz
    peak, from zero | 34.0...V
    peak to peak | 68.0...V
    dc meter (mean) | 0 V
    true rms, ac+dc | 24.0...V
    true rms, ac-coupled | 24.0...V
    average-responding, ac-coupled | 24.0...V
    crest factor | 1.41
    """
    columns = [_read(whole_cycles(wave)) for _, wave in waves]
    heads = ("", *(name for name, _ in waves))
    table(caption, heads, [(name, *(column[name] for column in columns)) for name in columns[0]])


def _read(wave: Waveform) -> dict[str, str]:
    def volts(value):
        return "0 V" if abs(value) < 1e-6 * top else amount(value, wave.unit)

    top = max(meters.peak(wave), 1e-12)
    return {
        "frequency": _frequency(wave),
        "peak, from zero": volts(top),
        "peak to peak": volts(meters.peak_to_peak(wave)),
        "dc meter (mean)": volts(meters.dc(wave)),
        "true rms, ac+dc": volts(meters.true_rms(wave)),
        "true rms, ac-coupled": volts(meters.ac_rms(wave)),
        "average-responding, ac-coupled": volts(meters.average_responding(wave)),
        "crest factor": plain(top / max(meters.true_rms(wave), 1e-12)),
    }


def _frequency(wave: Waveform) -> str:
    try:
        return amount(meters.frequency(wave), "Hz")
    except ValueError:
        return "none found"


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


def steps_picture(volts: float, settings: Sequence[float], *, bits: int = 8) -> None:
    """Show one slow hump of `volts` (V) as it was recorded at several settings (V a division), all drawn at the finest."""
    wave, screens = Waveform.sine(volts_peak=volts), []
    for setting in settings:
        scope = Oscilloscope(sample_hertz=1e5, bits=bits, full_scale_volts=UP * setting, noise_volts_rms=0.0,
                             offset_volts=0.0, trigger_volts=None, pre_trigger_s=0.0)  # fmt: skip
        step = f"{1000 * scope.step_volts:g} mV"
        screens.append((f"Recorded at {setting:g} V a division: steps of {step}", scope.capture(wave, 0), suited(wave)))
    show_screens(screens)


def _pickup_drawing() -> str:
    sketch, live = wiring.Sketch(), wiring.CONDUCTING
    sketch.part("SourceSin", (0.9, 0.0), (0.9, 2.7), state=live)
    sketch.part("Battery", (0.9, 5.4), (0.9, 2.7), state=live)
    sketch.words((0.2, 1.35), "pickup", align="right", size=14)
    sketch.words((0.2, 4.05), "dc", align="right", size=14)
    _instruments(sketch, (("meter", 4.0), ("scope", 6.2)))
    return sketch.svg()


def _pulses_drawing() -> str:
    sketch, live = wiring.Sketch(), wiring.CONDUCTING
    sketch.part("RBox", (0.9, 0.0), (0.9, 5.4), state=live)
    sketch.words((0.4, 2.7), "board", align="right", size=14)
    sketch.part("RBox", (2.6, 5.4), (2.6, 0.0), state=live)
    sketch.words((2.6, -0.6), "damper", align="center", size=14)
    _instruments(sketch, (("dc", 4.0), ("ac", 5.3), ("ac+dc", 6.6)))
    return sketch.svg()


def _instruments(sketch: wiring.Sketch, named: Sequence[tuple[str, float]]) -> None:
    """Both rails from the source at the left, and the instruments across them."""
    for y in (0.0, 5.4):
        sketch.wire((0.9, y), (named[-1][1], y), state=wiring.CONDUCTING)
    for name, x in named:
        sketch.part("MeterV", (x, 0.0), (x, 5.4))
        sketch.words((x, -0.6), name, align="center", size=14)
        for y in (0.0, 5.4):
            sketch.dot((x, y), wiring.CONDUCTING)

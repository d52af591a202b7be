"""The pictures and tables of lesson 02: where meter and scope are clipped on, their screens, and what the meters read."""

from collections.abc import Sequence

from .. import instruments as meters
from .. import wiring
from ..amounts import amount, plain
from ..oscilloscope import Oscilloscope
from ..scope import Level, Trace, scope_svg
from ..waveforms import Waveform
from .page import show_pair, table, twice
from .screen import UP, Setting, screen_svg, screen_words, show_screens, suited
from .two_signals import pulses, speed_capture, whole_cycles

__all__ = ["own_wave", "pulses_picture", "readings", "speed_picture", "speed_screen", "steps_picture"]


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

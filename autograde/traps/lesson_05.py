"""Wrong roads that lesson 05 recognises. A hint names the cause and the way back, never a value."""

from math import log, log10, pi, sqrt

import numpy as np

from autograde.keys.lesson_05 import (
    CHOICE,
    E12,
    FIRST,
    PULSES,
    RATINGS,
    RULE,
    SAFE_VOLTS,
    STEPS_VOLTS,
    TIMES,
    TRUE,
    bench,
    highest_volts,
    inrush_amps,
    next_e12,
    peak_inverse_volts,
    rule_ripple_volts,
)
from autograde.marking import Trap
from halfcycle.variants.lesson_05 import RATED_VOLTS

__all__ = ["TRAPS"]

_CREST = sqrt(2)
_FULL_WAVE = (
    "That is the answer for four diodes, which refill the capacitor twice in a cycle. Here one diode refills it once."
)
_RMS = "The rms value was used where the peak belongs: the capacitor charges up to the crest of the wave."
_DROP = "The drop of the diode was left out: the capacitor never sees that part of the peak."
_RATED = "The rated voltage was used. With little or no load the secondary stands higher than its rating."
_ONE_TAU = "One time constant was taken as full or empty. After one time constant more than a third is still to go."
_LOG10 = "The key marked log was used where the formula wants the natural logarithm, ln."
_BRIDGE_BENCH = "The bench was set to four diodes. Set it to one diode, as in your circuit, and read it again."


def _microfarads(c):
    return 1e3 * c.board_milliamps / (c.hertz * c.wanted_ripple_volts)


def _previous_e12(least):
    values = [round(base * 10.0**k, 6) for k in range(0, 6) for base in E12]
    return max(value for value in values if value < least)


def _mean_without_capacitor(c):
    """Mean of one diode and a load alone: the part of the half sine above the drop, shared out between the resistances."""
    angles = np.linspace(0, pi, 2001)
    above = np.maximum(c.volts_rms * _CREST * np.sin(angles) - c.drop_volts, 0)
    share = c.load_ohm / (c.load_ohm + c.source_ohm + c.diode_ohm)
    return float(np.trapezoid(above, angles)) / (2 * pi) * share


def _hold_ms(c, factor):
    return c.load_ohm * c.capacitor_microfarad * 1e-3 * factor


def _held(c):
    """How many times the drop-out voltage fits into the top."""
    return (c.volts_rms * _CREST - c.drop_volts) / c.dropout_volts


def _bleed_s(c, factor, ohm=None):
    return (c.bleeder_ohm if ohm is None else ohm) * c.capacitor_microfarad * 1e-6 * factor


def _step(volts):
    return min(step for step in STEPS_VOLTS if step >= volts)


_RULE_RIPPLE = (
    Trap("full-wave-on-half-wave", lambda c: rule_ripple_volts(c, pulses=2), _FULL_WAVE, RULE),
    Trap("rms-for-peak", lambda c: rule_ripple_volts(c, volts_peak=c.volts_rms), _RMS, RULE),
    Trap("drop-forgotten", lambda c: rule_ripple_volts(c, drop_volts=0.0), _DROP, RULE, share=0.5),
    Trap(
        "true-for-rule",
        lambda c: bench(c).ripple_volts,
        "That is what the bench shows. This question asks for what the rule of thumb says.",
        RULE,
    ),
    Trap(
        "frequency-forgotten",
        lambda c: rule_ripple_volts(c) * c.hertz,
        "The current was divided by the capacitor but not by the frequency: that is the fall in a whole second, not in one cycle.",
        RULE,
    ),
)

_RIPPLE = (
    Trap(
        "rule-for-true",
        rule_ripple_volts,
        "That is what the rule of thumb says. This question asks for the true ripple, which the bench shows.",
        TRUE,
    ),
    Trap("full-wave-on-half-wave", lambda c: bench(c, 2).ripple_volts, _BRIDGE_BENCH, TRUE),
    Trap(
        "peak-for-peak-to-peak",
        lambda c: bench(c).ripple_volts / 2,
        "Only half of the swing was taken. Peak to peak runs from the lowest point to the highest.",
        TRUE,
    ),
    Trap(
        "ac-meter-believed",
        lambda c: bench(c).ripple_rms_volts,
        "That is the ac reading of a meter, an rms value. Ripple peak to peak is read on the scope, from lowest to highest.",
        TRUE,
    ),
)

_MEAN = (
    Trap(
        "peak-for-mean",
        lambda c: bench(c).top_volts,
        "That is the top of the ripple. The mean lies between the top and the bottom.",
        TRUE,
    ),
    Trap(
        "capacitor-forgotten",
        _mean_without_capacitor,
        "That is the mean of one diode with no capacitor behind it. Put the capacitor in and read the bench again.",
        TRUE,
    ),
    Trap(
        "ac-meter-believed",
        lambda c: c.volts_rms,
        "That is the rms voltage of the secondary. The mean at the board is what a dc meter shows there.",
        TRUE,
    ),
)

_CAPACITOR = (
    Trap("full-wave-on-half-wave", lambda c: next_e12(_microfarads(c) / 2), _FULL_WAVE, CHOICE),
    Trap(
        "next-value-below",
        lambda c: _previous_e12(_microfarads(c)),
        "The value below was chosen. A smaller capacitor swings more than is wanted: go up, not down.",
        CHOICE,
        share=0.5,
    ),
    Trap(
        "not-a-preferred-value",
        _microfarads,
        "That capacitor is not sold. The last step is missing: the next value up in the list of preferred values.",
        CHOICE,
        share=0.5,
    ),
)

_CONDUCTION = (
    Trap(
        "half-cycle-for-conduction",
        lambda c: 180.0,
        "The diode was taken to conduct for the whole half cycle. With a capacitor behind it, it conducts only while the source stands above the capacitor.",
        PULSES,
    ),
    Trap(
        "time-for-angle",
        lambda c: bench(c).conduction_degrees / 360 / c.hertz * 1e3,
        "That is a time in milliseconds. The question asks for an angle: take the part of the whole cycle that it fills, in degrees.",
        PULSES,
    ),
    Trap("full-wave-on-half-wave", lambda c: bench(c, 2).conduction_degrees, _BRIDGE_BENCH, PULSES),
)

_DIODE_PEAK = (
    Trap(
        "load-current-for-diode-peak",
        lambda c: bench(c).mean_volts / c.load_ohm,
        "That is the steady current of the board. The diode carries all of it in one short pulse, so its peak is many times higher.",
        PULSES,
    ),
    Trap(
        "inrush-for-steady",
        inrush_amps,
        "That is the current at switch-on, with the capacitor empty. The question asks for the peak in every cycle afterwards.",
        PULSES,
    ),
    Trap("full-wave-on-half-wave", lambda c: bench(c, 2).diode_peak_amps, _BRIDGE_BENCH, PULSES),
    Trap(
        "rms-for-peak",
        lambda c: bench(c).source_rms_amps,
        "That is the rms current of the secondary. The peak is the top of the pulse on the scope.",
        PULSES,
    ),
)

_INRUSH = (
    Trap("rms-for-peak", lambda c: inrush_amps(c, volts_peak=c.volts_rms), _RMS, FIRST),
    Trap("rated-for-no-load", lambda c: inrush_amps(c, volts_peak=RATED_VOLTS * _CREST), _RATED, FIRST),
    Trap("drop-forgotten", lambda c: inrush_amps(c, drop_volts=0.0), _DROP, FIRST, share=0.5),
    Trap(
        "diode-resistance-forgotten",
        lambda c: inrush_amps(c, loop_ohm=c.source_ohm),
        "The on-resistance of the diode was left out: the current passes through the diode as well as the transformer.",
        FIRST,
        share=0.5,
    ),
    Trap(
        "load-limits-inrush",
        lambda c: inrush_amps(c, loop_ohm=c.source_ohm + c.diode_ohm + c.load_ohm),
        "The board's resistance was counted. The current into the capacitor goes past the board, not through it.",
        FIRST,
    ),
    Trap(
        "steady-for-inrush",
        lambda c: bench(c).diode_peak_amps,
        "That is the peak in every later cycle. At switch-on the capacitor is empty and takes much more.",
        FIRST,
    ),
)

_HOLD_UP = (
    Trap("one-time-constant", lambda c: _hold_ms(c, 1.0), _ONE_TAU, TIMES),
    Trap(
        "straight-line",
        lambda c: _hold_ms(c, 1 - 1 / _held(c)),
        "The voltage was taken to fall in a straight line. It falls more slowly as it gets lower, because the board then draws less.",
        TIMES,
    ),
    Trap("log10-for-ln", lambda c: _hold_ms(c, log10(_held(c))), _LOG10, TIMES),
    Trap(
        "rms-for-peak",
        lambda c: _hold_ms(c, log((c.volts_rms - c.drop_volts) / c.dropout_volts)),
        _RMS,
        TIMES,
    ),
    Trap("drop-forgotten", lambda c: _hold_ms(c, log(c.volts_rms * _CREST / c.dropout_volts)), _DROP, TIMES, share=0.5),
)

_WORKING_VOLTS = (
    Trap(
        "rating-against-rms",
        lambda c: _step(highest_volts(c) / _CREST * (1 + c.margin_percent / 100)),
        "That step comes from the rms voltage, or from a peak without the margin. The capacitor must stand the highest peak, at high line with no load, and the margin on top.",
        RATINGS,
    ),
    Trap(
        "inverse-for-working-voltage",
        lambda c: _step(2 * highest_volts(c)),
        "Twice the peak is what the diode must stand in reverse. The capacitor sees one peak.",
        RATINGS,
    ),
)

_PEAK_INVERSE = (
    Trap(
        "one-peak-inverse",
        highest_volts,
        "One peak was taken. The capacitor holds one peak while the secondary swings to the other, and the two add across the diode.",
        RATINGS,
    ),
    Trap("rms-for-peak", lambda c: peak_inverse_volts(c) / _CREST, _RMS, RATINGS),
    Trap(
        "high-line-forgotten",
        lambda c: peak_inverse_volts(c, line=1.0),
        "The line was taken at its normal voltage. The parts must also stand the highest line.",
        RATINGS,
        share=0.5,
    ),
    Trap("rated-for-no-load", lambda c: peak_inverse_volts(c, volts_rms=RATED_VOLTS), _RATED, RATINGS),
)

_BLEED = (
    Trap("one-time-constant", lambda c: _bleed_s(c, 1.0), _ONE_TAU, TIMES),
    Trap(
        "five-time-constants",
        lambda c: _bleed_s(c, 5.0),
        "Five time constants is the habit for as good as empty. The question asks when one stated voltage is reached.",
        TIMES,
    ),
    Trap("log10-for-ln", lambda c: _bleed_s(c, log10(c.volts_rms * _CREST / SAFE_VOLTS)), _LOG10, TIMES),
    Trap("rms-for-peak", lambda c: _bleed_s(c, log(c.volts_rms / SAFE_VOLTS)), _RMS, TIMES),
    Trap(
        "load-for-bleeder",
        lambda c: _bleed_s(c, log(c.volts_rms * _CREST / SAFE_VOLTS), c.load_ohm),
        "The board's resistance was used. The board is unplugged: only the bleeder empties the capacitor.",
        TIMES,
    ),
)

TRAPS = {
    "05-rule-ripple": _RULE_RIPPLE,
    "05-ripple": _RIPPLE,
    "05-mean": _MEAN,
    "05-capacitor": _CAPACITOR,
    "05-conduction": _CONDUCTION,
    "05-diode-peak": _DIODE_PEAK,
    "05-inrush": _INRUSH,
    "05-hold-up": _HOLD_UP,
    "05-working-volts": _WORKING_VOLTS,
    "05-peak-inverse": _PEAK_INVERSE,
    "05-bleed": _BLEED,
}

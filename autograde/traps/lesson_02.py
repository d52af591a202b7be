"""Traps of lesson 02, what the meter says, what the scope says. The same cause has the same name as in the other lessons."""

import math

from autograde.keys import lesson_02 as keys
from autograde.keys.lesson_02 import FORM, mean_volts, rms_volts, sample_us, share, speed
from autograde.marking import Trap
from halfcycle.workbook.screen import next_setting

__all__ = ["TRAPS"]

_ROOT = math.sqrt(2)


def _top(c):
    return speed(c)[1] + speed(c)[2]


def _step(c):
    return c.high_volts - c.low_volts


def _ac(c):
    return _step(c) * math.sqrt(share(c) * (1 - share(c)))


def _flipped(c):
    """Mean distance of the pulses from their mean, V."""
    return 2 * share(c) * (1 - share(c)) * _step(c)


def _below(setting):
    """The setting of the series below this one."""
    return next(
        setting / factor for factor in (2, 2.5) if math.isclose(next_setting(setting / factor), setting / factor)
    )


def _above(setting):
    return next_setting(1.01 * setting)


def _wrong_scale(value, section):
    hint = "The divisions were multiplied by the other scale. Up goes by volts, across goes by milliseconds."
    return Trap("divisions-times-the-wrong-scale", value, hint, section)


def _peak_to_peak(value, section):
    hint = "That is the whole height, from the lowest point to the highest. The peak counts from the zero line."
    return Trap("peak-to-peak-for-peak", value, hint, section)


def _offset_forgotten(value, section):
    hint = (
        "That is how far the wave swings about its own middle. The middle stands above the zero line: count from there."
    )
    return Trap("measured-from-the-middle", value, hint, section)


def _ac_coupled(value, section):
    hint = "That is the reading with the dc part blocked. An ac+dc meter, and a load, feel the dc part too."
    return Trap("ac-coupled-for-ac-dc", value, hint, section)


def _sine_factor(value, section):
    hint = "The root of two belongs to a plain sine about the zero line. This wave is another."
    return Trap("sine-factor-on-another-wave", value, hint, section)


def _low_level(value, section):
    hint = "Between the pulses the line does not fall to zero. Count the low level for its share of the time."
    return Trap("low-level-forgotten", value, hint, section)


def _shares_exchanged(value, section):
    hint = "The shares of the time were exchanged: the high level lasts while the pulse is on, the low level the rest of the time."
    return Trap("shares-exchanged", value, hint, section)


def _share_of_the_rest(value, section):
    hint = "You divided by the time between pulses. The share is the time on, out of the whole period."
    return Trap("on-over-off", value, hint, section)


def _mean_for_rms(value, section):
    hint = "That is the mean. Heat goes by the true rms, in which the high level counts more."
    return Trap("mean-for-rms", value, hint, section)


def _rms_for_mean(value, section):
    hint = "That is the true rms. A dc meter shows the mean: no squares."
    return Trap("rms-for-mean", value, hint, section)


def _leaves_the_screen(value):
    hint = "At that setting a part of the wave is off the screen. Take the next setting up, not down, and count the whole wave."
    return Trap("wave-leaves-the-screen", value, hint, keys.SETTINGS)


def _screen_not_used(value):
    hint = "The wave fits, but the next finer setting shows it larger and it still fits."
    return Trap("screen-not-used", value, hint, keys.SETTINGS)


def _between_settings(value):
    hint = "That is the least that would do. The knob has only the settings of its series: take the next one up."
    return Trap("between-the-settings", value, hint, keys.SETTINGS)


def _width_for_height(value, section):
    hint = "A screen is not as many divisions high as it is wide. You took the other number."
    return Trap("width-for-height", value, hint, section)


def _one_division(value, section):
    hint = "That counts one division. The scope records the whole screen."
    return Trap("one-division-for-the-screen", value, hint, section)


def _over(c):
    return c.high_ms / (c.period_ms - c.high_ms)


TRAPS = {
    "02-frequency": (
        Trap(
            "period-over-two-cycles",
            lambda c: speed(c)[0] / 2,
            "You took the time of two cycles for one. One cycle is from a rise to the very next rise.",
            keys.PERIOD,
        ),
        Trap(
            "half-cycle-for-cycle",
            lambda c: 2 * speed(c)[0],
            "You took half a cycle for a whole one. From a rise to the next fall is not yet a cycle.",
            keys.PERIOD,
        ),
        _wrong_scale(lambda c: speed(c)[0] * c.ms_per_division / c.volts_per_division, keys.PERIOD),
        Trap(
            "period-for-frequency",
            lambda c: 1000 / speed(c)[0],
            "That is the period. The frequency is how many of them go into one second.",
            keys.PERIOD,
        ),
    ),
    "02-peak": (
        _peak_to_peak(lambda c: 2 * speed(c)[1], keys.HEIGHT),
        _offset_forgotten(lambda c: speed(c)[1], keys.HEIGHT),
        _wrong_scale(lambda c: _top(c) * c.ms_per_division / c.volts_per_division, keys.HEIGHT),
    ),
    "02-mean": (
        _offset_forgotten(lambda c: speed(c)[1], keys.RIDES),
        Trap(
            "mean-of-a-sine-is-nought",
            lambda c: 0.0,
            "That is the mean of a sine about the zero line. This one rides higher.",
            keys.RIDES,
        ),
        Trap(
            "readings-not-halved",
            lambda c: 2 * speed(c)[2],
            "Highest and lowest point were added, but not halved. The middle is half-way between them.",
            keys.RIDES,
        ),
        Trap(
            "half-of-the-peak",
            lambda c: _top(c) / 2,
            "That is half of the highest point. The lowest point is not at the zero line: it counts as well, with its sign.",
            keys.RIDES,
        ),
    ),
    "02-rms": (
        _sine_factor(lambda c: _top(c) / _ROOT, keys.RIDES),
        _ac_coupled(lambda c: speed(c)[1] / _ROOT, keys.RIDES),
        Trap(
            "plain-addition",
            lambda c: speed(c)[1] / _ROOT + speed(c)[2],
            "The readings were added as they are. It is their squares that add, and the root comes last.",
            keys.RIDES,
        ),
        _peak_to_peak(lambda c: math.sqrt(speed(c)[2] ** 2 + 2 * speed(c)[1] ** 2), keys.RIDES),
    ),
    "02-dc": (
        _low_level(lambda c: share(c) * c.high_volts, keys.PULSES),
        _shares_exchanged(lambda c: (1 - share(c)) * c.high_volts + share(c) * c.low_volts, keys.PULSES),
        Trap(
            "levels-averaged-without-time",
            lambda c: (c.high_volts + c.low_volts) / 2,
            "That is half-way between the two levels. They do not last equally long: weigh each with its share of the time.",
            keys.PULSES,
        ),
        _share_of_the_rest(lambda c: _over(c) * c.high_volts + (1 - _over(c)) * c.low_volts, keys.PULSES),
        _rms_for_mean(rms_volts, keys.PULSES),
    ),
    "02-ac-dc": (
        _ac_coupled(_ac, keys.METERS),
        _mean_for_rms(mean_volts, keys.PULSES),
        _low_level(lambda c: math.sqrt(share(c)) * c.high_volts, keys.PULSES),
        _sine_factor(lambda c: c.high_volts / _ROOT, keys.PULSES),
        Trap(
            "root-forgotten",
            lambda c: rms_volts(c) ** 2,
            "That is the mean of the squares. The root of it is still to be taken.",
            keys.PULSES,
        ),
        _shares_exchanged(
            lambda c: math.sqrt((1 - share(c)) * c.high_volts**2 + share(c) * c.low_volts**2), keys.PULSES
        ),
    ),
    "02-ac": (
        Trap(
            "mean-not-removed", rms_volts, "That reading still holds the dc part, which this meter blocks.", keys.METERS
        ),
        Trap(
            "plain-subtraction",
            lambda c: rms_volts(c) - mean_volts(c),
            "The mean was taken from the rms directly. It is the squares that are subtracted, and the root comes last.",
            keys.METERS,
        ),
        Trap(
            "squares-added",
            lambda c: math.hypot(rms_volts(c), mean_volts(c)),
            "The square of the mean was added. This meter leaves the dc part out, so it is taken away.",
            keys.METERS,
        ),
        _low_level(lambda c: c.high_volts * math.sqrt(share(c) * (1 - share(c))), keys.METERS),
    ),
    "02-average-meter": (
        Trap(
            "form-factor-forgotten",
            _flipped,
            "That is the mean of the flipped wave. The scale of this meter multiplies it so as to be right on a sine.",
            keys.METERS,
        ),
        Trap(
            "form-factor-twice",
            lambda c: FORM**2 * _flipped(c),
            "The form factor was used twice. The scale multiplies by it once.",
            keys.METERS,
        ),
        Trap(
            "form-factor-upside-down",
            lambda c: _flipped(c) / FORM,
            "The mean was divided by the form factor. The scale of this meter multiplies by it.",
            keys.METERS,
        ),
        Trap(
            "average-meter-taken-for-true-rms",
            _ac,
            "That is what a true-rms meter shows. An averaging meter agrees with it on a sine and on no other wave.",
            keys.METERS,
        ),
        Trap(
            "dc-passed-for-dc-blocked",
            lambda c: FORM * mean_volts(c),
            "You scaled the mean of the wave itself. This meter blocks the mean first, and averages what is left.",
            keys.METERS,
        ),
        Trap(
            "one-side-of-the-mean",
            lambda c: FORM * _flipped(c) / 2,
            "Only one side of the mean was counted. Flipped, the part below the mean counts as well as the part above.",
            keys.METERS,
        ),
    ),
    "02-crest": (
        Trap(
            "crest-upside-down",
            lambda c: rms_volts(c) / c.high_volts,
            "It was divided the wrong way round: the peak comes first, the rms goes below.",
            keys.CREST,
        ),
        _sine_factor(lambda c: _ROOT, keys.CREST),
        _ac_coupled(lambda c: c.high_volts / _ac(c), keys.CREST),
        Trap(
            "step-for-peak",
            lambda c: (c.high_volts - c.low_volts) / _ac(c),
            "You compared the step with what is left of the wave without its mean. The crest factor counts the whole wave.",
            keys.CREST,
        ),
    ),
    "02-volts-setting": (
        _leaves_the_screen(lambda c: _below(next_setting(_ROOT * c.sine_volts / 4))),
        _screen_not_used(lambda c: _above(next_setting(_ROOT * c.sine_volts / 4))),
        _between_settings(lambda c: _ROOT * c.sine_volts / 4),
    ),
    "02-time-setting": (
        _leaves_the_screen(lambda c: _below(next_setting(c.period_ms / 5))),
        _screen_not_used(lambda c: _above(next_setting(c.period_ms / 5))),
        _between_settings(lambda c: c.period_ms / 5),
    ),
    "02-sample-interval": (
        _one_division(lambda c: sample_us(c) / 10, keys.SAMPLES),
        _width_for_height(lambda c: 0.8 * sample_us(c), keys.SAMPLES),
        Trap(
            "upside-down",
            lambda c: 1 / sample_us(c),
            "It was divided the wrong way round. The time is shared out among the samples.",
            keys.SAMPLES,
        ),
    ),
    "02-spike-caught": (
        Trap(
            "missed-for-caught",
            lambda c: 100 - 100 * c.spike_us / sample_us(c),
            "Those are the spikes that are missed. The question asks for those that leave a mark.",
            keys.SAMPLES,
        ),
        Trap(
            "fraction-for-percent",
            lambda c: c.spike_us / sample_us(c),
            "The answer is a fraction of one. The question asks for percent.",
            keys.SAMPLES,
        ),
        Trap(
            "upside-down",
            lambda c: 100 * sample_us(c) / c.spike_us,
            "It was divided the wrong way round. A spike is narrower than the gap between samples, so few are caught.",
            keys.SAMPLES,
        ),
        _one_division(lambda c: 1000 * c.spike_us / sample_us(c), keys.SAMPLES),
    ),
    "02-step": (
        _one_division(lambda c: 1000 * c.coarse_volts_per_division / 2**c.bits, keys.STEPS),
        _width_for_height(lambda c: 10000 * c.coarse_volts_per_division / 2**c.bits, keys.STEPS),
        Trap(
            "bits-for-steps",
            lambda c: 8000 * c.coarse_volts_per_division / c.bits,
            "You divided by the number of bits. Each bit doubles the number of steps.",
            keys.STEPS,
        ),
        Trap(
            "half-the-screen",
            lambda c: 4000 * c.coarse_volts_per_division / 2**c.bits,
            "You shared out one half of the screen. The steps reach from its lower edge to its upper edge.",
            keys.STEPS,
        ),
    ),
}

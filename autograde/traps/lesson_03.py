"""Traps of lesson 03, one diode. The same cause has the same name in every item, and in the other lessons."""

import math

from autograde.keys.lesson_03 import ac_volts, mean_volts, peak_volts, rms_volts
from autograde.marking import Trap

__all__ = ["TRAPS"]

_PASSES = "What one diode lets through"
_MEAN = "The mean: what a dc meter shows"
_RMS = "The true rms: what does the heating"
_METERS = "Four meters on one wave"
_BLOCKS = "The voltage the diode must block"
_HEAT = "Half the heat, and a little less"
_COIL = "A relay coil and its flywheel diode"
_WINDING = "The direct current in the transformer"
_FORM = math.pi / (2 * math.sqrt(2))


def _blocked_average(c):
    """Average-responding reading with the mean taken away first, V: twice the area above the mean."""
    peak, level = peak_volts(c), mean_volts(c) + c.drop_volts
    a = math.asin(level / peak)
    return _FORM * (2 * peak * math.cos(a) - level * (math.pi - 2 * a)) / math.pi


def _no_drop_ac(c):
    return peak_volts(c) * math.sqrt(1 / 4 - 1 / math.pi**2)


def _drop_forgotten(value, section):
    return Trap(
        "drop-forgotten", value, "The diode keeps a part of the voltage while it conducts; take its drop off.", section
    )


def _full_wave(value, section):
    hint = "Those are the factors of a full wave. Here every second half cycle is missing."
    return Trap("full-wave-on-half-wave", value, hint, section)


def _halved_rms(value, section):
    hint = "Half of the secondary's rms is not the rms of half the wave: half the time is half the heat, not half the volts."
    return Trap("rms-divided-by-two", value, hint, section)


def _rms_for_peak(value, section):
    hint = "The transformer's voltage is given as rms. The formula wants the peak, which is higher."
    return Trap("rms-for-peak", value, hint, section)


def _ac_believed(value, section):
    hint = "That is the ac voltage of the secondary itself, in front of the diode. Behind it the wave is another."
    return Trap("ac-meter-believed", value, hint, section)


def _rms_for_mean(value, section):
    hint = "That is worked with the true rms, which tells the heating. A dc meter, a coil and a winding's dc go by the mean."
    return Trap("rms-for-mean", value, hint, section)


def _mean_for_rms(value, section):
    hint = "That is worked with the mean. Heat goes by the true rms, in which the high parts of the wave count more."
    return Trap("mean-for-rms", value, hint, section)


def _off_the_peak(value, section):
    hint = (
        "The drop was taken off the peak only. It is lost all the time the diode conducts, which is half of the time."
    )
    return Trap("drop-off-the-peak-only", value, hint, section)


def _diode_ignored(value, section):
    hint = "That is Ohm's law with the whole ac voltage, as if there were no diode in the line."
    return Trap("diode-ignored", value, hint, section)


def _peak_for_mean(value, section):
    hint = "The peak is there for an instant only. The question asks for the mean over the whole cycle."
    return Trap("peak-for-mean", value, hint, section)


TRAPS = {
    "03-load-peak": (
        _drop_forgotten(peak_volts, _PASSES),
        _rms_for_peak(lambda c: c.volts_rms - c.drop_volts, _PASSES),
        _ac_believed(lambda c: c.volts_rms, _PASSES),
        Trap(
            "two-drops",
            lambda c: peak_volts(c) - 2 * c.drop_volts,
            "Two drops were taken off. With one diode the current passes one drop.",
            _PASSES,
        ),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: 2 * peak_volts(c) - c.drop_volts,
            "That begins with the peak-to-peak voltage. The diode lets one side of it through.",
            _PASSES,
        ),
    ),
    "03-dc": (
        _drop_forgotten(lambda c: peak_volts(c) / math.pi, _MEAN),
        _full_wave(lambda c: 2 * mean_volts(c), _MEAN),
        _off_the_peak(lambda c: (peak_volts(c) - c.drop_volts) / math.pi, _MEAN),
        _rms_for_mean(rms_volts, _MEAN),
        _halved_rms(lambda c: c.volts_rms / 2, _MEAN),
        _rms_for_peak(lambda c: c.volts_rms / math.pi - c.drop_volts / 2, _MEAN),
        _ac_believed(lambda c: c.volts_rms, _MEAN),
        _peak_for_mean(lambda c: peak_volts(c) - c.drop_volts, _MEAN),
    ),
    "03-true-rms": (
        _drop_forgotten(lambda c: peak_volts(c) / 2, _RMS),
        _halved_rms(lambda c: c.volts_rms / 2, _RMS),
        _full_wave(lambda c: math.sqrt(2) * rms_volts(c), _RMS),
        _mean_for_rms(mean_volts, _RMS),
        _ac_believed(lambda c: c.volts_rms, _RMS),
        Trap(
            "ac-coupled-for-ac-dc",
            ac_volts,
            "That is the reading with the dc part blocked. The heater feels the dc part too.",
            _METERS,
        ),
    ),
    "03-ac-rms": (
        _drop_forgotten(_no_drop_ac, _METERS),
        _full_wave(lambda c: math.sqrt(2 * rms_volts(c) ** 2 - 4 * mean_volts(c) ** 2), _METERS),
        Trap("mean-not-removed", rms_volts, "That reading still holds the dc part, which this meter blocks.", _METERS),
        Trap(
            "plain-subtraction",
            lambda c: rms_volts(c) - mean_volts(c),
            "The mean was taken from the rms directly. It is the squares that are subtracted, and the root comes last.",
            _METERS,
        ),
        Trap(
            "squares-added",
            lambda c: math.hypot(rms_volts(c), mean_volts(c)),
            "The square of the mean was added. This meter leaves the dc part out, so it is taken away.",
            _METERS,
        ),
        _ac_believed(lambda c: c.volts_rms, _METERS),
    ),
    "03-average-meter": (
        _drop_forgotten(lambda c: _FORM * peak_volts(c) / math.pi, _METERS),
        _full_wave(lambda c: 2 * _FORM * mean_volts(c), _METERS),
        Trap(
            "form-factor-forgotten",
            mean_volts,
            "That is the mean. The scale of this meter multiplies it so as to be right on a sine.",
            _METERS,
        ),
        Trap(
            "form-factor-upside-down",
            lambda c: mean_volts(c) / _FORM,
            "The mean was divided by the form factor. The scale of this meter multiplies by it.",
            _METERS,
        ),
        Trap(
            "average-meter-taken-for-true-rms",
            rms_volts,
            "That is the true rms. An averaging meter shows it on a sine and on no other wave.",
            _METERS,
        ),
        Trap(
            "dc-blocked-for-dc-passed",
            _blocked_average,
            "That is the averaging meter with a capacitor at its input. The question is about the one without.",
            _METERS,
        ),
        _ac_believed(lambda c: c.volts_rms, _METERS),
    ),
    "03-inverse": (
        _rms_for_peak(lambda c: c.volts_rms, _BLOCKS),
        Trap(
            "drop-while-blocking",
            lambda c: peak_volts(c) - c.drop_volts,
            "The drop belongs to a diode that conducts. While it blocks, no current flows and nothing is taken off.",
            _BLOCKS,
        ),
        Trap(
            "two-peaks-without-capacitor",
            lambda c: 2 * peak_volts(c),
            "Two peaks stand across the diode only where a capacitor holds the other side up. Here there is none.",
            _BLOCKS,
        ),
    ),
    "03-inverse-capacitor": (
        Trap(
            "one-peak-inverse",
            peak_volts,
            "One peak is counted. The capacitor holds the far side of the diode up while the near side swings down.",
            _BLOCKS,
        ),
        _rms_for_peak(lambda c: 2 * c.volts_rms - c.drop_volts, _BLOCKS),
        Trap(
            "capacitor-at-rms",
            lambda c: peak_volts(c) + c.volts_rms,
            "The capacitor was taken to stand at the rms voltage. With next to no load it stands at the peak.",
            _BLOCKS,
        ),
        Trap(
            "capacitor-at-the-mean",
            lambda c: peak_volts(c) + mean_volts(c),
            "The capacitor was taken to stand at the mean of the half wave. With next to no load it stands at the peak.",
            _BLOCKS,
        ),
    ),
    "03-power": (
        _drop_forgotten(lambda c: c.volts_rms**2 / 2 / c.load_ohm, _HEAT),
        _halved_rms(lambda c: c.volts_rms**2 / 4 / c.load_ohm, _HEAT),
        _mean_for_rms(lambda c: mean_volts(c) ** 2 / c.load_ohm, _HEAT),
        _full_wave(lambda c: 2 * rms_volts(c) ** 2 / c.load_ohm, _HEAT),
        _diode_ignored(lambda c: c.volts_rms**2 / c.load_ohm, _HEAT),
        Trap(
            "peak-for-rms",
            lambda c: (peak_volts(c) - c.drop_volts) ** 2 / c.load_ohm,
            "That is the power at the top of the wave. The mean power goes by the true rms.",
            _HEAT,
        ),
        Trap(
            "ac-coupled-for-ac-dc",
            lambda c: ac_volts(c) ** 2 / c.load_ohm,
            "That is worked with the reading that leaves the dc part out. The heater feels the dc part too.",
            _METERS,
        ),
    ),
    "03-power-share": (
        _drop_forgotten(lambda c: 50.0, _HEAT),
        _halved_rms(lambda c: 25.0, _HEAT),
        _mean_for_rms(lambda c: 100 * (mean_volts(c) / c.volts_rms) ** 2, _HEAT),
        Trap(
            "voltage-for-power",
            lambda c: 100 * rms_volts(c) / c.volts_rms,
            "Those are the volts compared. Power goes by the square of the volts.",
            _HEAT,
        ),
        Trap(
            "lost-for-left",
            lambda c: 100 - 100 * (rms_volts(c) / c.volts_rms) ** 2,
            "That is the part which is lost. The question asks for the part which is left.",
            _HEAT,
        ),
        Trap(
            "fraction-for-percent",
            lambda c: (rms_volts(c) / c.volts_rms) ** 2,
            "The answer is a fraction of one. The question asks for percent.",
            _HEAT,
        ),
    ),
    "03-coil": (
        _drop_forgotten(lambda c: 1000 * peak_volts(c) / math.pi / c.coil_ohm, _COIL),
        Trap(
            "flywheel-drop-forgotten",
            lambda c: 1000 * mean_volts(c) / c.coil_ohm,
            "That is right while the series diode conducts. In the other half of the time the flywheel diode keeps its drop too.",
            _COIL,
        ),
        _rms_for_mean(lambda c: 1000 * rms_volts(c) / c.coil_ohm, _COIL),
        _full_wave(lambda c: 1000 * (2 * peak_volts(c) / math.pi - c.drop_volts) / c.coil_ohm, _COIL),
        _off_the_peak(lambda c: 1000 * (peak_volts(c) - c.drop_volts) / math.pi / c.coil_ohm, _COIL),
        _diode_ignored(lambda c: 1000 * c.volts_rms / c.coil_ohm, _COIL),
        _rms_for_peak(lambda c: 1000 * (c.volts_rms / math.pi - c.drop_volts) / c.coil_ohm, _COIL),
    ),
    "03-winding-dc": (
        _drop_forgotten(lambda c: peak_volts(c) / math.pi / c.load_ohm, _WINDING),
        Trap(
            "no-dc-in-a-transformer",
            lambda c: 0.0,
            "A transformer passes no dc on from one winding to the other, but its secondary carries whatever the diode draws.",
            _WINDING,
        ),
        _rms_for_mean(lambda c: rms_volts(c) / c.load_ohm, _WINDING),
        _full_wave(lambda c: 2 * mean_volts(c) / c.load_ohm, _WINDING),
        _off_the_peak(lambda c: (peak_volts(c) - c.drop_volts) / math.pi / c.load_ohm, _WINDING),
        _halved_rms(lambda c: c.volts_rms / 2 / c.load_ohm, _WINDING),
        _diode_ignored(lambda c: c.volts_rms / c.load_ohm, _WINDING),
        _peak_for_mean(lambda c: (peak_volts(c) - c.drop_volts) / c.load_ohm, _WINDING),
    ),
}

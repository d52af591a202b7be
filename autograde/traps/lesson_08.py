"""Traps of lesson 08, light across the gap. The same cause has the same name in every item, and in the other lessons."""

import math

from autograde.keys.lesson_08 import (
    ACROSS,
    ANGLE,
    AVERAGE,
    BLEEDS,
    E24,
    HOLDS,
    HOT,
    LEAKS,
    LIT,
    RATINGS_WATTS,
    TRIGGER,
    WINDOW,
    bleeder_ohm,
    cases,
    dark_volts,
    fires_at,
    mean_volts,
    new_ohm,
    peak_volts,
    reactance_ohm,
    rms_volts,
)
from autograde.marking import Trap
from halfcycle.constants import next_preferred
from halfcycle.variants.lesson_08 import JOINTS

__all__ = ["TRAPS"]


def _asin(share):
    return math.degrees(math.asin(share))


def _one_diode(c):
    return dark_volts(c) - c.diode_drop_volts


def _new_peak(c):
    return (peak_volts(c) - dark_volts(c)) / new_ohm(c)


def _next(volts, amps):
    return next_preferred(volts / amps, "E24")


def _below(ohm):
    return max(step for step in E24 if step <= ohm)


def _meter_ohm(c):
    return 1e6 * c.meter_megohm


def _rms_for_peak(value, section):
    hint = "The transformer's voltage is given as rms. The formula wants the peak, which is higher."
    return Trap("rms-for-peak", value, hint, section)


def _second_diode(value, section):
    hint = "One diode is missing. Follow the loop with a finger: two diodes lie in series with the LED."
    return Trap("second-diode-forgotten", value, hint, section)


def _drops_forgotten(value, section):
    hint = "The diodes and the LED keep a part of the voltage while they conduct; take their drops off."
    return Trap("drop-forgotten", value, hint, section)


def _average_for_peak(value, section):
    hint = "That is worked with the average. The question is about the peak, at the top of the half wave."
    return Trap("average-for-peak", value, hint, section)


def _full_wave(value, section):
    hint = "Those are the factors of a full wave. Here the LED is dark in every second half cycle."
    return Trap("full-wave-on-half-wave", value, hint, section)


def _radians(value, section):
    hint = "The calculator is set to radians. Set it to degrees, or put degrees( ) round the arc sine."
    return Trap("radians-for-degrees", value, hint, section)


def _ignored(section):
    hint = "The leakage is ignored. The triac is off, but the snubber's capacitor still passes alternating current."
    return Trap("leakage-ignored", lambda c: 0.0, hint, section)


def _plain_sum(value, section):
    hint = "The capacitor's ohms were added to the resistance as if both were resistors. They stand at right angles."
    return Trap("reactance-added-plainly", value, hint, section)


def _two_pi(value, section):
    hint = "The factor of two pi is missing between hertz and the capacitor's ohms."
    return Trap("two-pi-forgotten", value, hint, section)


def _peak_for_rms(value, section):
    hint = "That is worked with the peak. The question goes by rms values."
    return Trap("peak-for-rms", value, hint, section)


def _as_fixed(value):
    hint = "The leakage current was taken to stay as large as into a short. The input's resistance makes it smaller."
    return Trap("current-taken-as-fixed", value, hint, LEAKS)


def _other_part(value):
    hint = "That is the voltage that the snubber keeps. The question asks for the rest of the loop."
    return Trap("across-the-snubber", value, hint, LEAKS)


def _rated(watts):
    return next(step for step in RATINGS_WATTS if step >= watts)


def _joints_at_least(count):
    return lambda c: tuple(int(JOINTS[case] >= count) for case in cases(c))


TRAPS = {
    "08-fitted-peak": (
        _rms_for_peak(lambda c: 1000 * (c.volts_rms - dark_volts(c)) / c.led_resistor_ohm, LIT),
        _second_diode(lambda c: 1000 * (peak_volts(c) - _one_diode(c)) / c.led_resistor_ohm, LIT),
        _drops_forgotten(lambda c: 1000 * peak_volts(c) / c.led_resistor_ohm, LIT),
        Trap(
            "led-drop-forgotten",
            lambda c: 1000 * (peak_volts(c) - 2 * c.diode_drop_volts) / c.led_resistor_ohm,
            "The two diodes are counted, the LED is not. It keeps its own drop too.",
            LIT,
        ),
        _average_for_peak(lambda c: 1000 * mean_volts(c) / c.led_resistor_ohm, AVERAGE),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: 1000 * (2 * peak_volts(c) - dark_volts(c)) / c.led_resistor_ohm,
            "That begins with the peak-to-peak voltage. The diodes let one side of it through.",
            LIT,
        ),
    ),
    "08-inhibit": (
        _rms_for_peak(lambda c: _asin(c.inhibit_volts / c.volts_rms), WINDOW),
        _radians(lambda c: math.asin(c.inhibit_volts / peak_volts(c)), WINDOW),
        Trap(
            "both-sides-of-zero",
            lambda c: 2 * _asin(c.inhibit_volts / peak_volts(c)),
            "That is the whole window, before and after the zero. The question asks for the part after it.",
            WINDOW,
        ),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: _asin(c.inhibit_volts / (2 * peak_volts(c))),
            "That divides by the peak-to-peak voltage. The angle is counted up to the peak.",
            WINDOW,
        ),
    ),
    "08-fires-at": (
        _rms_for_peak(lambda c: fires_at(c, volts=c.volts_rms), WINDOW),
        _second_diode(lambda c: fires_at(c, dark=_one_diode(c)), WINDOW),
        _drops_forgotten(lambda c: fires_at(c, dark=0.0), WINDOW),
        _radians(lambda c: math.radians(fires_at(c)), WINDOW),
        Trap(
            "falling-side",
            lambda c: 180 - fires_at(c),
            "That is where the LED falls below its trigger current again. The question asks where it gets there.",
            WINDOW,
        ),
    ),
    "08-resistor": (
        _rms_for_peak(lambda c: _next(c.volts_rms - dark_volts(c), c.wanted_amps), LIT),
        _average_for_peak(lambda c: _next(mean_volts(c), c.wanted_amps), AVERAGE),
        Trap(
            "next-value-below",
            lambda c: _below((peak_volts(c) - dark_volts(c)) / c.wanted_amps),
            "The value was rounded down. A smaller resistor lets more through than is wanted.",
            LIT,
        ),
        Trap(
            "not-a-preferred-value",
            lambda c: (peak_volts(c) - dark_volts(c)) / c.wanted_amps,
            "That is the least resistance that will do. Nobody sells it: take the next preferred value.",
            LIT,
        ),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: _next(2 * peak_volts(c) - dark_volts(c), c.wanted_amps),
            "That begins with the peak-to-peak voltage. The diodes let one side of it through.",
            LIT,
        ),
    ),
    "08-margin": (
        _average_for_peak(lambda c: mean_volts(c) / new_ohm(c) / c.guaranteed_amps, TRIGGER),
        _rms_for_peak(lambda c: (c.volts_rms - dark_volts(c)) / new_ohm(c) / c.guaranteed_amps, TRIGGER),
        Trap(
            "one-part-for-all",
            lambda c: _new_peak(c) / c.trigger_amps,
            "That compares with the one part you measured. The next part may need all that the data sheet allows it.",
            TRIGGER,
        ),
        Trap(
            "wanted-for-actual",
            lambda c: c.wanted_amps / c.guaranteed_amps,
            "That is the current you wanted. The preferred resistor is larger than the one you worked out, so less flows.",
            TRIGGER,
        ),
        Trap(
            "upside-down",
            lambda c: c.guaranteed_amps / _new_peak(c),
            "The two currents are divided the wrong way round. A margin that is enough is above one.",
            TRIGGER,
        ),
    ),
    "08-average": (
        Trap(
            "peak-for-mean",
            lambda c: 1000 * _new_peak(c),
            "The peak is there for an instant only. The question asks for the average over the whole cycle.",
            AVERAGE,
        ),
        Trap(
            "rms-for-mean",
            lambda c: 1000 * rms_volts(c) / new_ohm(c),
            "That is worked with the true rms, which tells the heating. A dc meter shows the average.",
            AVERAGE,
        ),
        _full_wave(lambda c: 2000 * mean_volts(c) / new_ohm(c), AVERAGE),
        _drops_forgotten(lambda c: 1000 * peak_volts(c) / math.pi / new_ohm(c), AVERAGE),
        _second_diode(lambda c: 1000 * mean_volts(c, dark=_one_diode(c)) / new_ohm(c), LIT),
        _rms_for_peak(lambda c: 1000 * (c.volts_rms / math.pi - dark_volts(c) / 2) / new_ohm(c), AVERAGE),
    ),
    "08-conduction": (
        Trap(
            "drop-forgotten",
            lambda c: 180.0,
            "That is the whole half cycle. No current flows until the voltage is above the drops.",
            ANGLE,
        ),
        Trap(
            "one-end-only",
            lambda c: 180 - _asin(dark_volts(c) / peak_volts(c)),
            "The dark angle was taken off once. The LED is late to light and early to go dark.",
            ANGLE,
        ),
        _second_diode(lambda c: 180 - 2 * _asin(_one_diode(c) / peak_volts(c)), ANGLE),
        _rms_for_peak(lambda c: 180 - 2 * _asin(dark_volts(c) / c.volts_rms), ANGLE),
        Trap(
            "dark-for-lit",
            lambda c: 2 * _asin(dark_volts(c) / peak_volts(c)),
            "That is the part of the half cycle in which the LED stays dark. The question asks for the lit part.",
            ANGLE,
        ),
        _full_wave(lambda c: 360 - 4 * _asin(dark_volts(c) / peak_volts(c)), ANGLE),
    ),
    "08-heat": (
        _peak_for_rms(lambda c: 1000 * _new_peak(c) ** 2 * new_ohm(c), HOT),
        Trap(
            "mean-for-rms",
            lambda c: 1000 * mean_volts(c) ** 2 / new_ohm(c),
            "That is worked with the average. Heat goes by the true rms, in which the high parts of the wave count more.",
            HOT,
        ),
        _full_wave(lambda c: 2000 * rms_volts(c) ** 2 / new_ohm(c), HOT),
        _drops_forgotten(lambda c: 1000 * c.volts_rms**2 / 2 / new_ohm(c), HOT),
        _second_diode(lambda c: 1000 * rms_volts(c, dark=_one_diode(c)) ** 2 / new_ohm(c), LIT),
        Trap(
            "diode-ignored",
            lambda c: 1000 * c.volts_rms**2 / new_ohm(c),
            "That is the heat on straight alternating current, as if there were no diode in the loop.",
            HOT,
        ),
        Trap(
            "rms-divided-by-two",
            lambda c: 1000 * c.volts_rms**2 / 4 / new_ohm(c),
            "Half of the secondary's rms is not the rms of half the wave: half the time is half the heat, not half the volts.",
            HOT,
        ),
    ),
    "08-rating": (
        Trap(
            "no-margin-on-the-rating",
            lambda c: _rated(rms_volts(c) ** 2 / new_ohm(c)),
            "That rating is just above the heat. Leave the margin that the section asks for, or the board browns.",
            HOT,
        ),
        Trap(
            "margin-counted-twice",
            lambda c: _rated(4 * rms_volts(c) ** 2 / new_ohm(c)),
            "One step too much: the margin was counted two times.",
            HOT,
        ),
        _peak_for_rms(lambda c: _rated(2 * _new_peak(c) ** 2 * new_ohm(c)), HOT),
        Trap(
            "not-a-rating",
            lambda c: 2 * rms_volts(c) ** 2 / new_ohm(c),
            "That is the heat with its margin. Resistors are sold in steps: take the next one up.",
            HOT,
        ),
    ),
    "08-load": (
        Trap(
            "latching-holding-exchanged",
            lambda c: (peak_volts(c) - c.output_drop_volts) / c.holding_amps,
            "That is worked with the holding current. To stay on at all, the output must first reach its latching current.",
            HOLDS,
        ),
        _rms_for_peak(lambda c: (c.volts_rms - c.output_drop_volts) / c.latching_amps, HOLDS),
        Trap(
            "drop-forgotten",
            lambda c: peak_volts(c) / c.latching_amps,
            "The output keeps a drop of its own while it is on; take it off.",
            HOLDS,
        ),
        Trap(
            "drops-of-the-other-side",
            lambda c: (peak_volts(c) - dark_volts(c)) / c.latching_amps,
            "Those are the drops of the LED's loop. On the output side the current passes the output alone.",
            HOLDS,
        ),
        Trap(
            "trigger-for-latching",
            lambda c: (peak_volts(c) - c.output_drop_volts) / c.guaranteed_amps,
            "That is worked with the trigger current, which flows in the LED. The load's current is another.",
            HOLDS,
        ),
    ),
    "08-leak": (
        _ignored(LEAKS),
        _two_pi(lambda c: 1000 * c.volts_rms * c.hertz * c.snubber_farad, LEAKS),
        _peak_for_rms(lambda c: 1000 * peak_volts(c) / reactance_ohm(c), LEAKS),
        Trap(
            "fifty-for-sixty-hertz",
            lambda c: 1000 * c.volts_rms / reactance_ohm(c) * 50 / c.hertz,
            "That is worked with another supply frequency than the one in your table.",
            LEAKS,
        ),
    ),
    "08-meter": (
        _ignored(LEAKS),
        _plain_sum(lambda c: c.volts_rms * _meter_ohm(c) / (_meter_ohm(c) + reactance_ohm(c)), LEAKS),
        _other_part(lambda c: c.volts_rms * reactance_ohm(c) / math.hypot(_meter_ohm(c), reactance_ohm(c))),
        _peak_for_rms(lambda c: peak_volts(c) * _meter_ohm(c) / math.hypot(_meter_ohm(c), reactance_ohm(c)), LEAKS),
        Trap(
            "input-for-meter",
            lambda c: c.volts_rms * c.input_ohm / math.hypot(c.input_ohm, reactance_ohm(c)),
            "That is worked with the input's resistance. In this question the input is unplugged, and the meter is alone.",
            LEAKS,
        ),
    ),
    "08-half-on": (
        _ignored(LEAKS),
        _plain_sum(lambda c: c.volts_rms * c.input_ohm / (c.input_ohm + reactance_ohm(c)), LEAKS),
        _other_part(lambda c: c.volts_rms * reactance_ohm(c) / math.hypot(c.input_ohm, reactance_ohm(c))),
        _peak_for_rms(lambda c: peak_volts(c) * c.input_ohm / math.hypot(c.input_ohm, reactance_ohm(c)), LEAKS),
        _as_fixed(lambda c: c.volts_rms * c.input_ohm / reactance_ohm(c)),
        Trap(
            "whole-supply",
            lambda c: c.volts_rms,
            "That is the whole supply, as with the input unplugged. The input draws current and pulls the voltage down.",
            LEAKS,
        ),
    ),
    "08-bleeder": (
        Trap(
            "next-value-above",
            lambda c: next_preferred(bleeder_ohm(c), "E24"),
            "The value was rounded up. A larger bleeder leaves more than the limit.",
            BLEEDS,
        ),
        _plain_sum(lambda c: _below(reactance_ohm(c) * c.off_volts / (c.volts_rms - c.off_volts)), BLEEDS),
        _peak_for_rms(lambda c: _below(reactance_ohm(c) * c.off_volts / peak_volts(c)), BLEEDS),
        _two_pi(lambda c: _below(2 * math.pi * bleeder_ohm(c)), BLEEDS),
        Trap(
            "not-a-preferred-value",
            bleeder_ohm,
            "That is the largest resistance that will do. Nobody sells it: take the next preferred value below.",
            BLEEDS,
        ),
    ),
    "08-across": (
        Trap(
            "one-joint-taken-for-a-loop",
            _joints_at_least(1),
            "One joint of metal is not a way round. Current needs a way there and a way back.",
            ACROSS,
        ),
        Trap(
            "light-taken-for-a-cure-all",
            _joints_at_least(3),
            "The light alone keeps the sides apart only where no metal joins them. Count the joints in each case.",
            ACROSS,
        ),
        Trap(
            "nought-and-one-exchanged",
            lambda c: tuple(1 - int(JOINTS[case] >= 2) for case in cases(c)),
            "The noughts and ones are exchanged. Read again which of them means that the trouble can come across.",
            ACROSS,
        ),
    ),
}

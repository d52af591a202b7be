"""Traps of lesson 09, two calls on one conductor. The same cause has the same name in every item and lesson."""

import math

from autograde.keys.lesson_09 import (
    BOTH,
    COUNT,
    FAN,
    FAULTS,
    FIELD,
    KEYS,
    LIGHT,
    METERS,
    SORT,
    cause_row,
    conductors,
    fault_row,
    led_drops,
    mean_volts,
    meters_row,
    of_call_a,
    peak_volts,
    rms_volts,
    seen_half,
)
from autograde.marking import Trap
from halfcycle.variants.lesson_09 import DIODE_DROP_VOLTS
from halfcycle.workbook import field_test

__all__ = ["TRAPS"]

_RIGHT = {key.item: key.first for key in KEYS}


def _drop_forgotten(value, section):
    hint = "The diodes keep a part of the voltage while they conduct; take their drops off."
    return Trap("drop-forgotten", value, hint, section)


def _full_wave(value, section):
    hint = "Those are the factors of a full wave. One call alone sends every second half cycle only."
    return Trap("full-wave-on-half-wave", value, hint, section)


def _rms_for_peak(value, section):
    hint = "The transformer's voltage is given as rms. The formula wants the peak, which is higher."
    return Trap("rms-for-peak", value, hint, section)


def _rms_for_mean(value, section):
    hint = "That is worked with the true rms, which tells the heating. A dc meter goes by the mean."
    return Trap("rms-for-mean", value, hint, section)


def _peak_for_mean(value, section):
    hint = "The peak is there for an instant only. The question asks for the mean."
    return Trap("peak-for-mean", value, hint, section)


def _halves_cancel(value, section):
    hint = "The two calls were taken to cancel. They are never there at the same instant: each has its own half of the cycle."
    return Trap("both-at-once-cancel", value, hint, section)


def _branch_drops(value, section):
    hint = (
        "The drops inside the branch were taken off. The meter lies across the whole branch; only the diode at the "
        "thermostat stands before it."
    )
    return Trap("branch-drops-at-the-meter", value, hint, section)


def _second_diode(value, section):
    hint = "One plain diode was counted. The current passes one at the thermostat and one at the board."
    return Trap("second-diode-forgotten", value, hint, section)


def _led_forgotten(value, section):
    hint = "The plain diodes were counted, but the LED keeps a drop of its own."
    return Trap("led-drop-forgotten", value, hint, section)


def _worked_not_read(value, section):
    hint = "That is your own transformer's voltage, worked out. The captures come from another board: read the picture."
    return Trap("worked-out-not-read", value, hint, section)


def _exchanged(item, section, pairs):
    """Output A for output B in every pair of a table of so many pairs."""
    hint = "A and B are exchanged: look again which half the diode passes, and which way that LED points."

    def value(c):
        right = _RIGHT[item](c)
        return tuple(right[2 * k + 1 - end] for k in range(pairs) for end in (0, 1))

    return Trap("polarity-exchanged", value, hint, section)


def _both_off(item, section):
    """Both calls together taken to turn nothing on."""
    return _halves_cancel(lambda c: (*_RIGHT[item](c)[:4], 0, 0), section)


def _zeros_and_ones(item, section):
    hint = "Nought and one are exchanged in your whole row: read again what a one stands for."
    return Trap("nought-and-one-exchanged", lambda c: tuple(1 - bit for bit in _RIGHT[item](c)), hint, section)


def _not_followed(c):
    """The last pair as one who does not put the first two together has it."""
    right = _RIGHT["09-wiring"](c)
    return (*right[:4], *(right[:2] if right[4:] == (1, 1) else (1, 1)))


_OPEN_LED = (8, 9)


def _not_at_the_meter(c):
    """The meters of a sound circuit; where the conductor is sound and only an LED is not, those of a dead conductor."""
    if c.fault in _OPEN_LED:
        return meters_row(frozenset())
    return meters_row(frozenset({"upper" if of_call_a(c.fault) else "lower"}))


def _ac_not_followed(c):
    """The right dc reading with an ac reading that does not belong to it."""
    right = _RIGHT["09-fault-meters"](c)
    return (*right[:3], *((1, 0, 0) if right[3:] == (0, 0, 1) else (0, 0, 1)))


_MIRRORED = {1: 4, 2: 5, 3: 6, 4: 1, 5: 2, 6: 3, 8: 9, 9: 8}
_OTHER_KIND = {1: 2, 2: 1, 3: 1, 4: 5, 5: 4, 6: 4, 8: 2, 9: 5}
_SOUND = (1, 0, 0, 1, 1, 1)


def _states(change):
    """The row of the captures with each state seen as `change` has it."""
    return lambda c: tuple(int(on) for state in field_test.state_order(c) for on in change.get(state, state))


def _other_half_causes(c):
    call_a, call_b, fault = field_test.cause_case(c)
    other = {"upper": "lower", "lower": "upper"}
    return cause_row(call_a, call_b, frozenset(other[half] for half in seen_half(call_a, call_b, fault)))


def _first_only(c):
    right = _RIGHT["09-cause"](c)
    return tuple(int(k == right.index(1)) for k in range(len(right)))


def _led_amps(c, volts, drops):
    return 1000 * (volts - drops) / (c.led_resistor_ohm + c.wire_ohm)


def _led_mean(c, drops):
    return 1000 * (peak_volts(c.volts_rms) / math.pi - drops / 2) / (c.led_resistor_ohm + c.wire_ohm)


def _dark_degrees(c, drops=None):
    return math.degrees(math.asin((led_drops(c) if drops is None else drops) / peak_volts(c.volts_rms)))


_MS_PER_DEGREE = 1000 / 60 / 360


TRAPS = {
    "09-wiring": (
        _exchanged("09-wiring", SORT, 3),
        _both_off("09-wiring", SORT),
        Trap(
            "both-calls-not-followed",
            _not_followed,
            "Your last pair does not follow from the first two. With both calls closed, an output is on if either call "
            "sends it its half.",
            SORT,
        ),
    ),
    "09-dc": (
        _drop_forgotten(lambda c: -peak_volts(c.volts_rms) / math.pi, METERS),
        _full_wave(lambda c: -2 * mean_volts(c.volts_rms, DIODE_DROP_VOLTS), METERS),
        _rms_for_peak(lambda c: -c.volts_rms / math.pi + DIODE_DROP_VOLTS / 2, METERS),
        _rms_for_mean(lambda c: -rms_volts(c.volts_rms, DIODE_DROP_VOLTS), METERS),
        _branch_drops(lambda c: -mean_volts(c.volts_rms, led_drops(c)), METERS),
        _peak_for_mean(lambda c: DIODE_DROP_VOLTS - peak_volts(c.volts_rms), METERS),
        Trap(
            "ac-meter-believed",
            lambda c: -_RIGHT["09-ac"](c),
            "That is the reading of the ac range. The dc range shows the mean.",
            METERS,
        ),
    ),
    "09-ac": (
        Trap(
            "mean-not-removed",
            lambda c: rms_volts(c.volts_rms, DIODE_DROP_VOLTS),
            "That reading still holds the dc part, which this meter blocks.",
            METERS,
        ),
        Trap(
            "plain-subtraction",
            lambda c: rms_volts(c.volts_rms, DIODE_DROP_VOLTS) - mean_volts(c.volts_rms, DIODE_DROP_VOLTS),
            "The mean was taken from the rms directly. It is the squares that are subtracted, and the root comes last.",
            METERS,
        ),
        Trap(
            "rms-divided-by-two",
            lambda c: c.volts_rms / 2,
            "Half of the supply's rms is not the reading of half of the wave.",
            METERS,
        ),
        Trap(
            "mean-for-rms",
            lambda c: mean_volts(c.volts_rms, DIODE_DROP_VOLTS),
            "That is the mean, which the dc range shows. The question asks for the ac range.",
            METERS,
        ),
        _rms_for_peak(lambda c: 0.386 * (c.volts_rms - DIODE_DROP_VOLTS), METERS),
    ),
    "09-ac-both": (
        _halves_cancel(lambda c: 0.0, METERS),
        _drop_forgotten(lambda c: c.volts_rms, METERS),
        Trap(
            "two-drops",
            lambda c: c.volts_rms - 1.8 * DIODE_DROP_VOLTS,
            "Two drops were taken off. Each half passes one diode on its way to the meter.",
            METERS,
        ),
        Trap(
            "half-wave-on-full-wave",
            lambda c: rms_volts(c.volts_rms, DIODE_DROP_VOLTS),
            "Those are the factors of a half wave. With both calls closed both halves are there.",
            METERS,
        ),
        Trap(
            "readings-added",
            lambda c: 2 * _RIGHT["09-ac"](c),
            "The ac readings of the two calls were added. Rms values do not add like that.",
            METERS,
        ),
        Trap(
            "one-call-for-both",
            lambda c: _RIGHT["09-ac"](c),
            "That is the reading with one call alone. With both, the other half is there too and the mean is gone.",
            METERS,
        ),
        Trap(
            "peak-for-rms",
            lambda c: peak_volts(c.volts_rms) - DIODE_DROP_VOLTS,
            "That is the top of the wave. The meter shows the rms, which is less.",
            METERS,
        ),
    ),
    "09-led-peak": (
        _drop_forgotten(lambda c: _led_amps(c, peak_volts(c.volts_rms), 0), LIGHT),
        _second_diode(lambda c: _led_amps(c, peak_volts(c.volts_rms), led_drops(c) - DIODE_DROP_VOLTS), LIGHT),
        _led_forgotten(lambda c: _led_amps(c, peak_volts(c.volts_rms), 2 * DIODE_DROP_VOLTS), LIGHT),
        _rms_for_peak(lambda c: _led_amps(c, c.volts_rms, led_drops(c)), LIGHT),
        Trap(
            "shared-by-both-branches",
            lambda c: _led_amps(c, peak_volts(c.volts_rms), led_drops(c)) / 2,
            "The current was shared between the two branches. In one half cycle one of them blocks and takes nothing.",
            LIGHT,
        ),
        Trap(
            "mean-for-peak",
            lambda c: _RIGHT["09-led-mean"](c),
            "That is the mean over the whole cycle. The question asks for the peak.",
            LIGHT,
        ),
    ),
    "09-led-mean": (
        Trap(
            "current-halved",
            lambda c: _RIGHT["09-led-mean"](c) / 2,
            "The LED's current was halved because two are lit. Each LED has its own half cycle to itself, with a call or without.",
            LIGHT,
        ),
        _halves_cancel(lambda c: 0.0, LIGHT),
        _full_wave(lambda c: 2 * _RIGHT["09-led-mean"](c), LIGHT),
        _drop_forgotten(lambda c: _led_mean(c, 0), LIGHT),
        _second_diode(lambda c: _led_mean(c, led_drops(c) - DIODE_DROP_VOLTS), LIGHT),
        _rms_for_mean(
            lambda c: 1000 * rms_volts(c.volts_rms, led_drops(c)) / (c.led_resistor_ohm + c.wire_ohm),
            LIGHT,
        ),
        _peak_for_mean(lambda c: _RIGHT["09-led-peak"](c), LIGHT),
        Trap(
            "whole-drops",
            lambda c: _led_mean(c, 2 * led_drops(c)),
            "The drops were taken off whole. They count for half of the time, so half of them counts in the mean.",
            LIGHT,
        ),
    ),
    "09-dark": (
        Trap(
            "one-side-of-zero",
            lambda c: _dark_degrees(c) * _MS_PER_DEGREE,
            "That is one side of the zero. The LEDs are dark before it and after it.",
            BOTH,
        ),
        Trap(
            "conductor-for-led",
            lambda c: 2 * _dark_degrees(c, DIODE_DROP_VOLTS) * _MS_PER_DEGREE,
            "That is how long the conductor has no voltage. An LED stays dark longer: all the drops of its loop must be passed.",
            BOTH,
        ),
        Trap(
            "both-zeros-added",
            lambda c: 4 * _dark_degrees(c) * _MS_PER_DEGREE,
            "That is both zeros of a cycle together. The question asks for one.",
            BOTH,
        ),
        Trap(
            "angle-for-time",
            lambda c: 2 * _dark_degrees(c),
            "That is the angle in degrees. Turn it into time: a whole cycle is the whole circle.",
            BOTH,
        ),
        Trap(
            "fifty-for-sixty-hertz",
            lambda c: 1.2 * 2 * _dark_degrees(c) * _MS_PER_DEGREE,
            "That is worked with another supply frequency than this one.",
            BOTH,
        ),
        Trap(
            "rms-for-peak",
            lambda c: 2 * math.degrees(math.asin(led_drops(c) / c.volts_rms)) * _MS_PER_DEGREE,
            "The transformer's voltage is given as rms. The wave climbs towards its peak, which is higher.",
            BOTH,
        ),
    ),
    "09-conductors": (
        Trap(
            "conductor-counted-twice",
            lambda c: conductors(c) + c.pairs,
            "The shared conductors were counted once for each call. A pair has one conductor between its two calls.",
            COUNT,
        ),
        Trap(
            "supply-conductors-forgotten",
            lambda c: c.calls - c.pairs,
            "Only the calls were counted. The thermostat needs its supply too.",
            COUNT,
        ),
        Trap(
            "common-miscounted",
            lambda c: conductors(c) + (-1 if c.common_needed else 1),
            "Look at C again: a thermostat that is fed over the run needs it, one with a battery does not.",
            COUNT,
        ),
    ),
    "09-fan": (
        Trap(
            "nothing-given-up",
            lambda c: (1,) * 8,
            "Nothing was taken to be given up. A conductor that is the common cannot carry the fan's call as well.",
            FAN,
        ),
        Trap(
            "fan-lost-in-every-plan",
            lambda c: (1, 1, 0, 0) * 2,
            "The fan was taken as lost in both plans. Follow each plan's wires to the unit's fan terminal again.",
            FAN,
        ),
        _zeros_and_ones("09-fan", FAN),
    ),
    "09-fault": (
        Trap(
            "fault-overlooked",
            lambda c: _SOUND,
            "That is the row of the sound circuit. Go through it again with your fault in its place.",
            FAULTS,
        ),
        Trap(
            "fault-on-the-other-call",
            lambda c: fault_row(_MIRRORED[c.fault]),
            "That is the row for the same fault on the other call.",
            FAULTS,
        ),
        Trap(
            "kind-of-fault-mistaken",
            lambda c: fault_row(_OTHER_KIND[c.fault]),
            "The right call, but another kind of fault: open passes nothing, shorted passes both halves, reversed passes "
            "the other half.",
            FAULTS,
        ),
        _both_off("09-fault", FAULTS),
    ),
    "09-fault-meters": (
        Trap(
            "fault-not-followed-to-the-meter",
            _not_at_the_meter,
            "Ask what reaches the conductor with this fault: nothing, the other half, both halves, or just what a sound "
            "circuit sends. The meters do not see the LEDs.",
            FAULTS,
        ),
        Trap(
            "ac-not-followed",
            _ac_not_followed,
            "The dc part is right, the ac part is not. With no mean there may be nothing on the conductor, or both halves; "
            "one half alone has a mean.",
            FAULTS,
        ),
        _zeros_and_ones("09-fault-meters", FAULTS),
    ),
    "09-captures": (
        _exchanged("09-captures", FIELD, 4),
        Trap(
            "full-wave-taken-as-fault",
            _states({(True, True): (0, 0)}),
            "A full wave was taken as a fault with nothing on. With both calls closed it is what belongs there.",
            FIELD,
        ),
        _halves_cancel(_states({(True, True): (0, 0), (False, False): (1, 1)}), FIELD),
        _zeros_and_ones("09-captures", FIELD),
    ),
    "09-read-peak": (
        Trap(
            "peak-to-peak-for-peak",
            lambda c: 2 * _RIGHT["09-read-peak"](c),
            "That is from the lowest point to the highest. The question asks for the peak above zero.",
            FIELD,
        ),
        Trap(
            "rms-for-peak",
            lambda c: _RIGHT["09-read-peak"](c) / math.sqrt(2),
            "The peak was turned into an rms value. The question asks for the top of the wave itself.",
            FIELD,
        ),
        _worked_not_read(lambda c: peak_volts(c.volts_rms) - DIODE_DROP_VOLTS, FIELD),
    ),
    "09-read-dc": (
        _full_wave(lambda c: 2 * _RIGHT["09-read-dc"](c), FIELD),
        _rms_for_mean(lambda c: -rms_volts(field_test.board_volts(c), DIODE_DROP_VOLTS), FIELD),
        _peak_for_mean(lambda c: -_RIGHT["09-read-peak"](c), FIELD),
        _worked_not_read(lambda c: _RIGHT["09-dc"](c), FIELD),
        _halves_cancel(lambda c: 0.0, FIELD),
    ),
    "09-cause": (
        Trap(
            "polarity-exchanged",
            _other_half_causes,
            "Those causes would put the other half on the conductor: look again whether the humps go up or down.",
            FIELD,
        ),
        Trap(
            "first-cause-only",
            _first_only,
            "That cause fits, but it is not the only one: try every line of the list against the picture.",
            FIELD,
        ),
        _zeros_and_ones("09-cause", FIELD),
    ),
}

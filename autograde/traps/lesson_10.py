"""Traps of lesson 10, the service call. The same cause has the same name in every item and lesson."""

import math
from itertools import combinations

from autograde.keys.lesson_10 import (
    CURES_SECTION,
    LEAKS,
    LIST,
    MINUTES,
    NO_CAPACITOR,
    ONE_LED,
    half_wave_mean,
    reactance,
    sheet_peak,
)
from autograde.marking import Trap
from halfcycle.workbook.service_calls import least_minutes, met, sheet
from halfcycle.workbook.service_lists import CALLS, SUSPECTS

__all__ = ["TRAPS"]

_SHARES_A_READING = {1: 2, 2: 1, 3: 4, 4: 5, 5: 4, 6: 7, 7: 8, 8: 9, 9: 8, 10: 11, 11: 10, 12: 13, 13: 14, 14: 13}
"""For each suspect, one that shows the same in the reading that one would take first."""
_OTHER_SIDE = {1: 3, 2: 3, 3: 5, 4: 3, 5: 3, 6: 8, 7: 9, 8: 7, 9: 7, 10: 13, 11: 14, 12: 14, 13: 10, 14: 10}
"""For each suspect, one on the other side: before or behind the diode, W or the output, thermostat or board."""
_NEXT_CALL = {1: 2, 2: 3, 3: 1}
_LARGER_FUSE, _ALL_AT_ONCE = 35, 36


def _rms_for_peak(value, section):
    hint = "The transformer's voltage is given as rms. The formula wants the peak, which is higher."
    return Trap("rms-for-peak", value, hint, section)


def _drop_forgotten(value, hint, section):
    return Trap("drop-forgotten", value, hint, section)


def _full_wave(value, section):
    hint = "Those are the factors of a full wave. Behind one diode, every second half cycle is missing."
    return Trap("full-wave-on-half-wave", value, hint, section)


def _ac_believed(value, hint, section):
    return Trap("ac-meter-believed", value, hint, section)


def _rms_for_mean(value, section):
    hint = "That is worked with the true rms, which tells the heating. A dc meter goes by the mean."
    return Trap("rms-for-mean", value, hint, section)


def _peak_for_mean(value, section):
    hint = "The peak is there for an instant only. The question asks for the mean."
    return Trap("peak-for-mean", value, hint, section)


def _half_wave_rms(peak, drop):
    angle = math.asin(drop / peak)
    square = peak**2 * (math.pi / 2 - angle + math.sin(2 * angle) / 2) - 4 * peak * drop * math.cos(angle)
    return math.sqrt((square + drop**2 * (math.pi - 2 * angle)) / (2 * math.pi))


def _milliamperes(volts):
    return lambda c: 1000 * volts(c) / c.led_resistor_ohm


def _no_load_peak(c):
    return c.volts_rms * math.sqrt(2)


def _neighbours(call):
    def mapped(table):
        return lambda c: table[met(call, c)]

    other = _NEXT_CALL[call]
    return (
        Trap(
            "shares-a-reading",
            mapped(_SHARES_A_READING),
            "That suspect shows the same in one reading and not in all. Take a further one in which the two differ.",
            LIST,
        ),
        Trap(
            "wrong-side-of-the-circuit",
            mapped(_OTHER_SIDE),
            "The suspect is on the other side of the circuit. Find the last place where all is still well, and look behind it.",
            LIST,
        ),
        Trap(
            "cure-for-suspect",
            lambda c: SUSPECTS[met(call, c)].cure,
            "That is a number from the list of cures. This question asks for the suspect.",
            LIST,
        ),
        Trap(
            "other-call",
            lambda c: met(other, c),
            "That suspect belongs to another of your calls. Look whose readings you have before you.",
            LIST,
        ),
    )


def _cures(call):
    return (
        Trap(
            "cure-of-a-neighbour",
            lambda c: SUSPECTS[_SHARES_A_READING[met(call, c)]].cure,
            "That cures a suspect which shows the same in one reading only. Cure the cause that all readings agree on.",
            CURES_SECTION,
        ),
        Trap(
            "suspect-for-cure",
            lambda c: met(call, c),
            "That is a number from the list of suspects. This question asks for the cure.",
            CURES_SECTION,
        ),
        Trap(
            "fuse-enlarged",
            lambda c: _LARGER_FUSE,
            "A larger fuse cures nothing: it takes away the protection of the wire. Find the cause.",
            CURES_SECTION,
        ),
        Trap(
            "parts-changed-on-suspicion",
            lambda c: _ALL_AT_ONCE,
            "Changing everything hides the cause and may leave it there. Cure the one cause that the readings show.",
            CURES_SECTION,
        ),
    )


def _one_call(c):
    return least_minutes(3, c, met(3, c))


def _for_any_suspect(c):
    """The minutes of readings that would tell all suspects of each call from each other."""
    total = 0
    for call in CALLS.values():
        costs = [reading.cost(c) for reading in call.readings]
        places = range(len(costs))
        total += min(
            sum(costs[place] for place in chosen)
            for count in places
            for chosen in combinations(places, count)
            if len({tuple(SUSPECTS[number].shows[place] for place in chosen) for number in call.suspects})
            == len(call.suspects)
        )
    return total


def _every_reading(c):
    return sum(reading.cost(c) for call in CALLS.values() for reading in call.readings)


TRAPS = {
    "10-valve-volts": (
        _drop_forgotten(
            lambda c: half_wave_mean(sheet_peak(c), 0.0),
            "The diode keeps a part of the voltage while it conducts; take its drop off for the half of the time.",
            NO_CAPACITOR,
        ),
        _rms_for_peak(lambda c: half_wave_mean(sheet_peak(c) / math.sqrt(2), c.drop_volts), NO_CAPACITOR),
        _full_wave(lambda c: 2 * half_wave_mean(sheet_peak(c), c.drop_volts), NO_CAPACITOR),
        _ac_believed(
            lambda c: sheet(1, c)["valve"],
            "That is the ac voltage in front of the diode. Behind it, a dc meter goes by the mean of what is left.",
            NO_CAPACITOR,
        ),
        _rms_for_mean(lambda c: _half_wave_rms(sheet_peak(c), c.drop_volts), NO_CAPACITOR),
        _peak_for_mean(lambda c: sheet_peak(c) - c.drop_volts, NO_CAPACITOR),
    ),
    "10-valve-suspect": _neighbours(1),
    "10-valve-cure": _cures(1),
    "10-boiler-volts": (
        Trap(
            "reactance-added-plainly",
            lambda c: c.volts_rms * c.input_ohm / (c.input_ohm + reactance(c)),
            "A resistance and a reactance are not added like two resistances. Add their squares and take the root.",
            LEAKS,
        ),
        Trap(
            "current-taken-as-fixed",
            lambda c: c.volts_rms * c.input_ohm / reactance(c),
            "That takes the leakage as if the input were a short. The input holds the current back as well.",
            LEAKS,
        ),
        Trap(
            "two-pi-forgotten",
            lambda c: c.volts_rms * c.input_ohm / math.hypot(c.input_ohm, 2 * math.pi * reactance(c)),
            "In the reactance, the frequency is multiplied by two pi.",
            LEAKS,
        ),
        Trap(
            "across-the-snubber",
            lambda c: c.volts_rms * reactance(c) / math.hypot(c.input_ohm, reactance(c)),
            "That is the voltage across the snubber. The question asks for the voltage across the input.",
            LEAKS,
        ),
        _ac_believed(
            lambda c: c.volts_rms,
            "That is the whole supply, as if the snubber were a wire. It lets only a part through.",
            LEAKS,
        ),
    ),
    "10-boiler-suspect": _neighbours(2),
    "10-boiler-cure": _cures(2),
    "10-heat-milliamperes": (
        Trap(
            "second-diode-forgotten",
            _milliamperes(lambda c: half_wave_mean(_no_load_peak(c), c.led_path_volts - 0.7)),
            "One diode is missing. Follow the loop with a finger: two diodes lie in series with the LED.",
            ONE_LED,
        ),
        _drop_forgotten(
            _milliamperes(lambda c: half_wave_mean(_no_load_peak(c), 0.0)),
            "The diodes and the LED keep a part of the voltage while they conduct; take their drops off for the half of the time.",
            ONE_LED,
        ),
        _rms_for_peak(_milliamperes(lambda c: half_wave_mean(c.volts_rms, c.led_path_volts)), ONE_LED),
        _full_wave(_milliamperes(lambda c: 2 * half_wave_mean(_no_load_peak(c), c.led_path_volts)), ONE_LED),
        _rms_for_mean(_milliamperes(lambda c: _half_wave_rms(_no_load_peak(c), c.led_path_volts)), ONE_LED),
        _peak_for_mean(_milliamperes(lambda c: _no_load_peak(c) - c.led_path_volts), ONE_LED),
    ),
    "10-heat-suspect": _neighbours(3),
    "10-heat-cure": _cures(3),
    "10-minutes": (
        Trap(
            "every-reading-taken",
            _every_reading,
            "That is every reading on the menus. Most of them tell nothing new once the others are known.",
            MINUTES,
        ),
        Trap(
            "settles-any-suspect",
            _for_any_suspect,
            "Those readings would tell all suspects from each other. Yours has only to be told from the rest.",
            MINUTES,
        ),
        Trap("one-call-only", _one_call, "Those are the minutes of one call. Add up all of the day's calls.", MINUTES),
    ),
}

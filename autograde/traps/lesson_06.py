"""Traps of lesson 06, a pulse-charging actuator. The same cause has the same name in every item, and in the other lessons."""

import math
from functools import lru_cache

import numpy as np

from autograde.keys.lesson_06 import (
    AVERAGE,
    DIP,
    HEIGHT,
    HERTZ,
    METER,
    RATE,
    SERIES,
    TIME,
    TRIPS,
    added_rms,
    average_va,
    charge_seconds,
    energy_joules,
    fall_minutes,
    series_farad,
    spikes_per_second,
    trips_per_second,
)
from autograde.marking import Trap
from halfcycle.workbook.spiky_bus import bus_of

__all__ = ["TRAPS"]

_ADDED = "The two capacitances were added, as for two side by side. In series the same charge goes through both."
_HALF = "The half in front of the formula was left out: the voltage rises from nothing while the store fills."
_ONE_VOLTS = (
    "The volts of one capacitor were taken together with the capacitance of both. Both hold their volts, and they add."
)
_PER_CYCLE = "That is a count in one cycle of the supply. The question asks for a second."
_CLOSINGS = "Every closing of the switch was counted. A spike comes only where the actuator draws current."
_FROM_ZERO = "The height was counted from zero volts. A spike stands on the sine, and only what stands above it counts."


def _added(value, section):
    return Trap("series-capacitors-added", value, _ADDED, section)


def _no_half(value, section):
    return Trap("half-forgotten", value, _HALF, section)


def _one_volts(value, section):
    return Trap("volts-of-one-for-both", value, _ONE_VOLTS, section)


def _per_cycle(value, section):
    return Trap("per-cycle-for-per-second", value, _PER_CYCLE, section)


def _closings(value, section):
    return Trap("closings-for-spikes", value, _CLOSINGS, section)


def _from_zero(value, section):
    return Trap("height-from-zero", value, _FROM_ZERO, section)


def _va_while_charging(c):
    return c.charging_volts * c.charging_milliamps / 1000


@lru_cache(maxsize=128)
def _microseconds_between(bus, share_of_height, share_of_rest):
    """From the rise through a level to the fall through it; the level in parts of the height, on a part of the sine, µs."""
    level = share_of_height * bus.height_volts + share_of_rest * bus.rest_volts
    near = (bus.seconds > bus.opening_s) & (bus.seconds < bus.opening_s + 100e-6)
    seconds, volts = bus.seconds[near], bus.bus.values[near]
    top = int(volts.argmax())
    return 1e6 * float(
        np.interp(-level, -volts[top:], seconds[top:]) - np.interp(level, volts[: top + 1], seconds[: top + 1])
    )


def _added_rms(c, *, height=None, count=1.0):
    bus = bus_of(c)
    return added_rms(c, height or bus.height_volts, bus.width_s, spikes_per_second(c) * count)


def _added_to_the_instant(c):
    rest = bus_of(c).rest_volts
    return math.hypot(rest, _spikes_alone(c)) - rest


def _spikes_alone(c):
    return bus_of(c).height_volts * math.sqrt(bus_of(c).width_s * spikes_per_second(c))


def _over_threshold(c):
    return HERTZ * sum(time > 0 for time in bus_of(c).seconds_above(c.threshold_volts))


def _charging_seconds(c):
    """Seconds of charging in an hour."""
    return c.calls_per_hour * charge_seconds(c)


TRAPS = {
    "06-series": (
        _added(lambda c: 2 * c.supercap_farad, SERIES),
        Trap(
            "one-capacitor-for-both",
            lambda c: c.supercap_farad,
            "That is one capacitor alone. Two in series hold less charge for each volt than one does.",
            SERIES,
        ),
        Trap(
            "reciprocal-not-turned-back",
            lambda c: 2 / c.supercap_farad,
            "The reciprocals were added, but the sum was not turned over again at the end.",
            SERIES,
        ),
    ),
    "06-energy": (
        _added(lambda c: 4 * energy_joules(c), SERIES),
        _no_half(lambda c: 2 * energy_joules(c), SERIES),
        _one_volts(lambda c: energy_joules(c) / 4, SERIES),
        Trap(
            "one-capacitor-for-both",
            lambda c: energy_joules(c) / 2,
            "That is the energy in one of the two capacitors. The store is both of them.",
            SERIES,
        ),
        Trap(
            "volts-not-squared",
            lambda c: 0.5 * series_farad(c) * 2 * c.supercap_volts,
            "The volts were not squared. Each further volt is pushed in against the volts that are there already.",
            SERIES,
        ),
    ),
    "06-charge-time": (
        _added(lambda c: 4 * charge_seconds(c), TIME),
        _no_half(lambda c: 2 * charge_seconds(c), TIME),
        _one_volts(lambda c: charge_seconds(c) / 4, TIME),
        Trap(
            "one-capacitor-for-both",
            lambda c: charge_seconds(c) / 2,
            "The energy of one capacitor was taken. Both have to be filled.",
            TIME,
        ),
        Trap(
            "volt-amperes-for-watts",
            lambda c: energy_joules(c) / _va_while_charging(c),
            "The volt-amperes that the feed draws were used. Only the watts that reach the store fill it.",
            TIME,
        ),
        Trap(
            "moment-for-mean",
            lambda c: energy_joules(c) / bus_of(c).solved.charging_watts,
            "The power of one moment was taken, as the bench shows it. A whole charge goes by the mean power.",
            TIME,
            share=0.5,
        ),
        Trap(
            "minutes-for-seconds",
            lambda c: charge_seconds(c) / 60,
            "That is in minutes. The question asks for seconds.",
            TIME,
        ),
    ),
    "06-fall-time": (
        _added(lambda c: 4 * fall_minutes(c), TIME),
        Trap(
            "one-capacitor-for-both",
            lambda c: 2 * fall_minutes(c),
            "The capacitance of one was taken for the volts of both. In series they have less than one has.",
            TIME,
        ),
        Trap(
            "fall-to-zero",
            lambda c: fall_minutes(c) * 2 * c.supercap_volts / (2 * c.supercap_volts - c.lowest_volts),
            "The whole voltage was taken. The fall ends where the valve would no longer close, and only the volts lost until then count.",
            TIME,
        ),
        Trap(
            "left-for-lost",
            lambda c: fall_minutes(c) * c.lowest_volts / (2 * c.supercap_volts - c.lowest_volts),
            "The volts that are left were taken. The time goes by the volts that are lost.",
            TIME,
        ),
        Trap(
            "seconds-for-minutes",
            lambda c: 60 * fall_minutes(c),
            "That is in seconds. The question asks for minutes.",
            TIME,
        ),
    ),
    "06-average-va": (
        Trap(
            "not-averaged",
            _va_while_charging,
            "That is what it draws while it charges. The question asks for the average over an hour, in which it mostly rests.",
            AVERAGE,
        ),
        Trap(
            "watts-for-volt-amperes",
            lambda c: c.charging_watts * _charging_seconds(c) / 3600,
            "That is worked with the watts that reach the store. The transformer has to carry the volt-amperes of the feed.",
            AVERAGE,
        ),
        Trap(
            "one-call-for-all",
            lambda c: average_va(c) / c.calls_per_hour,
            "Only one call was counted. Each call of the hour charges the store again.",
            AVERAGE,
        ),
        _added(lambda c: 4 * average_va(c), AVERAGE),
    ),
    "06-rate": (
        _per_cycle(lambda c: spikes_per_second(c) / HERTZ, RATE),
        _closings(lambda c: HERTZ * c.pulses_per_cycle, RATE),
        Trap(
            "both-half-cycles-counted",
            lambda c: 2 * spikes_per_second(c),
            "Both half cycles were counted. The actuator's diode lets it draw in one of them only.",
            RATE,
        ),
        Trap(
            "closing-at-the-crossing-counted",
            lambda c: HERTZ * c.pulses_per_cycle / 2,
            "Half of the closings were counted. The one at the zero crossing has no voltage to draw with, and makes no spike.",
            RATE,
        ),
    ),
    "06-height": (
        _from_zero(lambda c: bus_of(c).height_volts + bus_of(c).rest_volts, HEIGHT),
        Trap(
            "peak-to-peak-for-peak",
            lambda c: bus_of(c).height_volts - bus_of(c).rest_volts,
            "The sine was taken off twice. The spike stands on one side of the sine only.",
            HEIGHT,
        ),
        Trap(
            "dip-counted-in",
            lambda c: bus_of(c).height_volts + bus_of(c).before[0],
            "The height was counted from the bottom of the dip. It is counted from the sine as it would be undisturbed.",
            HEIGHT,
            share=0.5,
        ),
    ),
    "06-width": (
        Trap(
            "half-from-zero",
            lambda c: _microseconds_between(bus_of(c), 0.5, 0.5),
            "The level was put at half of the top counted from zero. Half of the height is counted from the sine.",
            HEIGHT,
        ),
        Trap(
            "width-at-the-base",
            lambda c: _microseconds_between(bus_of(c), 0.1, 1.0),
            "That is about the width at the foot of the spike. The standard takes the width at half of the height.",
            HEIGHT,
        ),
        Trap(
            "closing-for-spike",
            lambda c: 1e6 * c.pulse_s,
            "That is how long the switch stays closed. The spike comes when it opens.",
            HEIGHT,
        ),
    ),
    "06-source-ohm": (
        Trap(
            "winding-alone",
            lambda c: c.resistance_ohm,
            "That is the resistance of the winding. The current rises quickly, and the leakage takes volts of its own.",
            DIP,
        ),
        Trap(
            "bus-for-dip",
            lambda c: (bus_of(c).rest_volts - bus_of(c).before[0]) / bus_of(c).before[1],
            "The volts that are left on the bus were divided by the current. The source takes the volts that are missing.",
            DIP,
        ),
        Trap(
            "sine-for-dip",
            lambda c: bus_of(c).rest_volts / bus_of(c).before[1],
            "The whole sine was divided by the current. The source takes only the volts by which the bus dips.",
            DIP,
        ),
        Trap(
            "spike-for-dip",
            lambda c: bus_of(c).height_volts / bus_of(c).before[1],
            "The spike was divided by the current. It tells of the loads on the bus; the dip tells of the source.",
            DIP,
        ),
    ),
    "06-added-rms": (
        Trap(
            "plain-addition",
            _spikes_alone,
            "The rms of the spikes was added to the rms of the sine as it is. The squares are added, and the root comes last.",
            METER,
        ),
        Trap(
            "total-for-added",
            lambda c: c.rest_volts + _added_rms(c),
            "That is the whole rms. The question asks by how much it grows.",
            METER,
        ),
        Trap(
            "instant-for-rms",
            _added_to_the_instant,
            "The sine at the moment of the spike was taken. The squares are added to the rms of the bus at rest.",
            METER,
        ),
        _per_cycle(lambda c: _added_rms(c, count=1 / HERTZ), METER),
        Trap(
            "sine-factor-on-a-spike",
            lambda c: bus_of(c).height_volts / math.sqrt(2),
            "The height was divided by the crest factor of a sine. A spike is no sine: it is there for a very small part of the time.",
            METER,
        ),
        _from_zero(lambda c: _added_rms(c, height=bus_of(c).height_volts + bus_of(c).rest_volts), METER),
    ),
    "06-false-trips": (
        Trap(
            "qualifying-time-ignored",
            _over_threshold,
            "Every spike that passes the threshold was counted. It must also stay above it for the qualifying time.",
            TRIPS,
        ),
        _per_cycle(lambda c: trips_per_second(c) / HERTZ, TRIPS),
        _closings(lambda c: HERTZ * c.pulses_per_cycle, TRIPS),
        Trap(
            "per-hour-for-per-second",
            lambda c: 3600 * trips_per_second(c),
            "That is a count in an hour. The question asks for a second.",
            TRIPS,
        ),
    ),
    "06-trips-hour": (
        Trap(
            "not-averaged",
            lambda c: 3600 * trips_per_second(c),
            "The actuator was taken to charge all the time. It charges once for each call.",
            TRIPS,
        ),
        Trap(
            "one-call-for-all",
            lambda c: trips_per_second(c) * charge_seconds(c),
            "Only one call was counted. Each call of the hour charges the store again.",
            TRIPS,
        ),
        Trap(
            "qualifying-time-ignored",
            lambda c: _over_threshold(c) * _charging_seconds(c),
            "Every spike that passes the threshold was counted. It must also stay above it for the qualifying time.",
            TRIPS,
        ),
        _per_cycle(lambda c: trips_per_second(c) / HERTZ * _charging_seconds(c), TRIPS),
    ),
}

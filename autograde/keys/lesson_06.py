"""Keys of lesson 06, what a pulse-charging actuator does to the bus.

First road: closed forms for the store, and for the bus the exact solver's waves, measured on samples that stand closest
at the spikes (height above the undisturbed sine, width between the 50 % instants of IEEE 181).

Second road: the store counted one capacitor at a time, or the solver's charge from empty; for the bus Kirchhoff's laws,
stepped through here without the solver. While the switch is closed, two currents run: through the leakage and through
the choke. After it has opened, what stands above the sine is a leakage, a resistance and the wiring's capacitance. And
the scope's own records, for what is counted in them.
"""

import math
from functools import lru_cache

import numpy as np

from autograde.marking import Key
from halfcycle import Supply, meters, spike_bus
from halfcycle.spikes import Actuator
from halfcycle.workbook.spiky_bus import bus_of

__all__ = [
    "HERTZ",
    "KEYS",
    "added_rms",
    "average_va",
    "charge_seconds",
    "counted",
    "energy_joules",
    "fall_minutes",
    "series_farad",
    "source_ohm",
]

HERTZ = 60
SERIES = "Two supercapacitors in series"
TIME = "How long it charges, and how long it lasts"
AVERAGE = "What it draws: volt-amperes, and their average"
RATE = "How often: spikes per second"
HEIGHT = "How high, and how wide"
DIP = "The dip, and the source impedance behind it"
METER = "What the meter makes of it"
TRIPS = "What the thermostat counts"
_LINE_FARAD, _THERMOSTAT_OHM, _FEED_OHM, _DROP_VOLTS = 2.2e-9, 2000.5, 0.5 + 0.2 + 0.05, 0.7


def series_farad(c):
    """Capacitance of the two in series, F."""
    return c.supercap_farad / 2


def energy_joules(c):
    """Energy of the full store, J."""
    return 0.5 * series_farad(c) * (2 * c.supercap_volts) ** 2


def charge_seconds(c):
    """Seconds of one charge from empty."""
    return energy_joules(c) / c.charging_watts


def fall_minutes(c):
    """Minutes from full to the lowest voltage that still closes the valve."""
    return series_farad(c) * (2 * c.supercap_volts - c.lowest_volts) / (c.hold_milliamps / 1000) / 60


def average_va(c):
    """Volt-amperes of the actuator, averaged over an hour, VA."""
    return c.charging_volts * c.charging_milliamps / 1000 * c.calls_per_hour * charge_seconds(c) / 3600


def added_rms(c, height, width_s, spikes_per_second):
    """What blocks of this height (V), width (s) and rate add to the true rms of the resting bus, V."""
    alone = height * math.sqrt(width_s * spikes_per_second)
    return math.hypot(c.rest_volts, alone) - c.rest_volts


def source_ohm(c):
    """Dip over current just before the switch opens, Ω."""
    dip, amps = bus_of(c).before
    return dip / amps


def counted(c, times):
    """How many spikes of a cycle stay above the threshold for the qualifying time."""
    return sum(time >= c.qualify_microseconds * 1e-6 for time in times)


def _half_cycle_closings(c):
    """Closings between the two zero crossings, not counting those at a crossing: 0 < k < half of those in a cycle."""
    return c.pulses_per_cycle // 2 - 1


def _fall_one_by_one(c):
    return _stepped_fall(c.supercap_farad, c.supercap_volts, c.lowest_volts, c.hold_milliamps / 1000) / 60


@lru_cache(maxsize=256)
def _stepped_fall(farad, full_volts, lowest_volts, amps):
    """Each capacitor loses half of the volts, and the same current flows through both: seconds, stepped through."""
    volts, seconds, step = [full_volts] * 2, 0.0, 0.1
    while sum(volts) > lowest_volts:
        volts, seconds = [v - amps * step / farad for v in volts], seconds + step
    return seconds


@lru_cache(maxsize=512)
def _solved_seconds_per_farad(winding, pulses_per_cycle, bus_load_ohm, supercap_volts, charger):
    volts_rms, resistance, leakage = winding
    pulse_s, inductance, store_volts = charger
    actuator = Actuator(
        supercap_volts=supercap_volts, pulse_s=pulse_s, inductance_henry=inductance, pulses_per_cycle=pulses_per_cycle
    )
    supply = Supply(volts_rms, resistance_ohm=resistance, leakage_henry=leakage)
    bus = spike_bus(supply, actuator, bus_load_ohm=bus_load_ohm, store_volts=store_volts)
    return bus.charge_seconds() / actuator.series_farad


def _solved_charge_seconds(c):
    winding = (c.volts_rms, c.resistance_ohm, c.leakage_henry)
    charger = (c.pulse_s, c.inductance_henry, c.store_volts)
    per_farad = _solved_seconds_per_farad(winding, c.pulses_per_cycle, c.bus_load_ohm, c.supercap_volts, charger)
    return per_farad / (1 / c.supercap_farad + 1 / c.supercap_farad)


def _stepped(c):
    """By Kirchhoff's laws, without the solver: height (V), width (s), dip (V) and current (A) of the highest spike."""
    return _stepped_through(
        c.volts_rms,
        c.resistance_ohm,
        c.leakage_henry,
        1 / (1 / c.bus_load_ohm + 1 / _THERMOSTAT_OHM),
        c.pulses_per_cycle,
        c.pulse_s,
        c.inductance_henry,
    )


@lru_cache(maxsize=512)
def _stepped_through(volts_rms, winding_ohm, leakage, load, closings, pulse_s, choke):
    begins = min((k / HERTZ / closings for k in range(closings)), key=lambda t: abs(t + pulse_s - 0.25 / HERTZ))
    turn = 2j * math.pi * HERTZ
    phasor = math.sqrt(2) * volts_rms / (winding_ohm + load + turn * leakage)

    def slopes(seconds, leak, drawn):
        source = math.sqrt(2) * volts_rms * math.sin(2 * math.pi * HERTZ * seconds)
        bus = load * (leak - drawn)
        return np.array(
            [(source - winding_ohm * leak - bus) / leakage, (bus - _DROP_VOLTS - _FEED_OHM * drawn) / choke]
        )

    seconds, amps, step = begins, np.array([(phasor * np.exp(turn * begins)).imag, 0.0]), pulse_s / 600
    for _ in range(600):
        middle = amps + step / 2 * slopes(seconds, *amps)
        amps, seconds = amps + step * slopes(seconds + step / 2, *middle), seconds + step
    resting = (phasor * np.exp(turn * seconds)).imag
    dip = load * (resting - amps[0] + amps[1])
    height, width = _pulse(leakage, winding_ohm, load, amps[0] - resting, -dip)
    return height, width, dip, amps[1]


def _pulse(leakage, winding_ohm, load, amps, volts):
    """What a leakage's surplus current makes of the load and the wiring's capacitance: height (V) and width (s) at half."""
    laws = np.array([[-winding_ohm / leakage, -1 / leakage], [1 / _LINE_FARAD, -1 / (load * _LINE_FARAD)]])
    rates, ways = np.linalg.eig(laws)
    shares = np.linalg.solve(ways, [amps, volts])
    seconds = np.linspace(0, 3 * leakage / load, 30_001)
    wave = (ways[1] * shares @ np.exp(np.outer(rates, seconds))).real
    above = np.flatnonzero(wave >= wave.max() / 2)
    return float(wave.max()), float(seconds[above[-1]] - seconds[above[0]])


def _rms_of_records(c):
    height, width, *_ = _stepped(c)
    alone = height**2 * width * HERTZ * _half_cycle_closings(c)
    rest = meters.true_rms(bus_of(c).solved.undisturbed_volts)
    return alone / (math.sqrt(rest**2 + alone) + rest)


def _solved_average_va(c):
    return bus_of(c).solved.feed_volt_amperes * c.calls_per_hour * _solved_charge_seconds(c) / 3600


def _recorded_count(c):
    return counted(c, bus_of(c).captured_seconds_above(c.threshold_volts))


def spikes_per_second(c):
    """Spikes per second of the solved bus."""
    return HERTZ * bus_of(c).spikes.count


def trips_per_second(c):
    """Spikes per second which the thermostat's input counts."""
    return HERTZ * counted(c, bus_of(c).seconds_above(c.threshold_volts))


MEASURED = "the exact solver's bus and the same bus at rest, sampled closely"
STEPPED = "Kirchhoff's laws stepped through the closing, then a leakage, a resistance and a capacitance"

KEYS = (
    Key(
        "06-series",
        "F",
        1,
        first=series_farad,
        second=lambda c: 1 / (1 / c.supercap_farad + 1 / c.supercap_farad),
        first_road="half of one",
        second_road="one over the sum of the reciprocals",
        section=SERIES,
    ),
    Key(
        "06-energy",
        "J",
        2,
        first=energy_joules,
        second=lambda c: sum(0.5 * c.supercap_farad * c.supercap_volts**2 for _ in range(2)),
        first_road="half of the series capacitance times the square of the whole voltage",
        second_road="the energies of the two capacitors, added",
        section=SERIES,
    ),
    Key(
        "06-charge-time",
        "s",
        2,
        first=charge_seconds,
        second=_solved_charge_seconds,
        first_road="closed energy over the mean power",
        second_road="the exact solver's charging power at several stored voltages, integrated from empty to full",
        section=TIME,
        rel_tol=0.02,
    ),
    Key(
        "06-fall-time",
        "min",
        2,
        first=fall_minutes,
        second=_fall_one_by_one,
        first_road="capacitance times the volts lost over the current",
        second_road="both capacitors stepped down by the same current",
        section=TIME,
    ),
    Key(
        "06-average-va",
        "VA",
        2,
        first=average_va,
        second=_solved_average_va,
        first_road="rms volts times rms amps as printed, times the charging part of an hour",
        second_road="rms volts and amps of the exact solver, and its charge from empty",
        section=AVERAGE,
        rel_tol=0.03,
    ),
    Key(
        "06-rate",
        "Hz",
        1,
        first=spikes_per_second,
        second=lambda c: HERTZ * _half_cycle_closings(c),
        first_road="spikes counted in one solved cycle, times the cycles in a second",
        second_road="closings of the switch inside the rectifier's half cycle, times the cycles in a second",
        section=RATE,
    ),
    Key(
        "06-height",
        "V",
        2,
        first=lambda c: bus_of(c).height_volts,
        second=lambda c: _stepped(c)[0],
        first_road=MEASURED,
        second_road=STEPPED,
        section=HEIGHT,
        rel_tol=0.03,
    ),
    Key(
        "06-width",
        "µs",
        2,
        first=lambda c: 1e6 * bus_of(c).width_s,
        second=lambda c: 1e6 * _stepped(c)[1],
        first_road=MEASURED,
        second_road=STEPPED,
        section=HEIGHT,
        rel_tol=0.1,
    ),
    Key(
        "06-source-ohm",
        "Ω",
        2,
        first=source_ohm,
        second=lambda c: _stepped(c)[2] / _stepped(c)[3],
        first_road="dip over current of the exact solver, just before the switch opens",
        second_road="the same by Kirchhoff's laws stepped through the closing",
        section=DIP,
        rel_tol=0.05,
    ),
    Key(
        "06-added-rms",
        "V",
        2,
        first=lambda c: added_rms(c, bus_of(c).height_volts, bus_of(c).width_s, spikes_per_second(c)),
        second=_rms_of_records,
        first_road="root of the sum of squares less the rms at rest, from the solver's spikes",
        second_road="the same rearranged, from the stepped spike, the closings and the solver's sine",
        section=METER,
        rel_tol=0.15,
    ),
    Key(
        "06-false-trips",
        "Hz",
        2,
        first=trips_per_second,
        second=lambda c: HERTZ * _recorded_count(c),
        first_road="time of each solved spike above the threshold, against the qualifying time",
        second_road="the same in the scope's records, noise and all",
        section=TRIPS,
    ),
    Key(
        "06-trips-hour",
        "per hour",
        1,
        first=lambda c: trips_per_second(c) * c.calls_per_hour * charge_seconds(c),
        second=lambda c: HERTZ * _recorded_count(c) * c.calls_per_hour * _solved_charge_seconds(c),
        first_road="trips per second times the seconds of charging in an hour, closed",
        second_road="trips counted in the records times the solver's seconds of charging",
        section=TRIPS,
        rel_tol=0.03,
    ),
)

"""Keys of lesson 08, light across the gap.

First road: closed forms. The LED's loop is a half wave behind a threshold D = two diodes and the LED, so with peak P and
a = asin(D/P): mean volts at the resistor = (2 P cos a - D (π - 2a)) / 2π, taught as 0.318 P - 0.5 D (low by at most
0.6 %); mean square = (P² (π/2 - a + sin 2a / 2) - 4 P D cos a + D² (π - 2a)) / 2π, taught as 0.5 P - 0.64 D for its root
(low by at most 0.3 %). A dark output is its snubber's capacitor, at right angles to any resistance in series with it.

Second road: the exact solver on the real parts: the LED's loop, the triac with its latching current, the snubber with
its resistor, two supplies with or without joints of metal between them.
"""

import math
from functools import lru_cache

from autograde.marking import TABLE, Key
from halfcycle import meters
from halfcycle.constants import PREFERRED, next_preferred
from halfcycle.variants.lesson_08 import JOINTS
from halfcycle.waveforms import Waveform
from halfcycle.workbook import across_the_gap as gap

__all__ = [
    "E24",
    "KEYS",
    "RATINGS_WATTS",
    "bleeder_ohm",
    "cases",
    "dark_volts",
    "fires_at",
    "mean_volts",
    "new_ohm",
    "peak_volts",
    "reactance_ohm",
    "rms_volts",
]

E24 = tuple(round(base * 10**decade) for decade in range(2, 6) for base in PREFERRED["E24"])
"""IEC 60063, 100 Ω to 910 kΩ."""
RATINGS_WATTS = (0.125, 0.25, 0.5, 1.0, 2.0, 5.0)
"""Common ratings of resistors, W (common practice, no source)."""
MARGIN = 2

LIT = "The LED's resistor"
AVERAGE = "Peak and average: what the LED feels"
ANGLE = "How long the LED is lit"
HOT = "The resistor's heat and its rating"
TRIGGER = "Enough light: the trigger current"
WINDOW = "The zero-cross window"
HOLDS = "Latching and holding"
LEAKS = "What leaks past a dark output"
BLEEDS = "The bleeder"
ACROSS = "Why a short cannot cross"


def peak_volts(c):
    """Peak of the secondary, V."""
    return c.volts_rms * math.sqrt(2)


def dark_volts(c):
    """Voltage below which no current flows in the LED's loop, V: two diodes and the LED."""
    return 2 * c.diode_drop_volts + c.led_drop_volts


def mean_volts(c, dark=None):
    """Mean voltage at the LED's resistor over a whole cycle, V."""
    peak, dark = peak_volts(c), dark_volts(c) if dark is None else dark
    a = math.asin(dark / peak)
    return (2 * peak * math.cos(a) - dark * (math.pi - 2 * a)) / (2 * math.pi)


def rms_volts(c, dark=None):
    """True rms voltage at the LED's resistor, V."""
    peak, dark = peak_volts(c), dark_volts(c) if dark is None else dark
    a = math.asin(dark / peak)
    swing = peak**2 * (math.pi / 2 - a + math.sin(2 * a) / 2)
    return math.sqrt((swing - 4 * peak * dark * math.cos(a) + dark**2 * (math.pi - 2 * a)) / (2 * math.pi))


def new_ohm(c):
    """The new LED resistor, Ω: the next preferred value that lets no more than the wanted peak through."""
    return next_preferred((peak_volts(c) - dark_volts(c)) / c.wanted_amps, "E24")


def fires_at(c, dark=None, volts=None):
    """Degrees after the zero at which the resistor as found lets this part's trigger current through."""
    at_volts = c.trigger_amps * c.led_resistor_ohm + (dark_volts(c) if dark is None else dark)
    return math.degrees(math.asin(at_volts / (volts or peak_volts(c))))


def reactance_ohm(c):
    """What the snubber's capacitor is worth at the supply's frequency, Ω."""
    return 1 / (2 * math.pi * c.hertz * c.snubber_farad)


def bleeder_ohm(c):
    """Resistance at which the phantom voltage stands at the limit, Ω."""
    return reactance_ohm(c) * c.off_volts / math.sqrt(c.volts_rms**2 - c.off_volts**2)


def cases(c):
    """The four cases of the learner's list, by number."""
    return (c.case_a, c.case_b, c.case_c, c.case_d)


def _across(ohm, reactance, volts):
    return volts * ohm / math.hypot(ohm, reactance)


def _rating(watts):
    return next(step for step in RATINGS_WATTS if step >= watts)


# The second roads.


@lru_cache(maxsize=4096)
def _lit(volts_rms, led_drop_volts, ohm):
    return gap.led_amps(volts_rms, led_drop_volts=led_drop_volts, resistor_ohm=ohm)


def _as_found(c):
    return _lit(c.volts_rms, c.led_drop_volts, c.led_resistor_ohm)


@lru_cache(maxsize=2048)
def _solved_new(c):
    """Walk down E24 until the solved peak is more than is wanted: (the value before, its wave)."""
    best = None
    for ohm in reversed([ohm for ohm in E24 if ohm <= 3000]):
        wave = _lit(c.volts_rms, c.led_drop_volts, ohm)
        if meters.peak(wave) > c.wanted_amps:
            return best
        best = ohm, wave
    raise AssertionError("no preferred value lets the wanted current through")


def _solved_watts(c):
    ohm, wave = _solved_new(c)
    return meters.dc(wave.with_values(wave.values**2 * ohm))


def _solved_lit_degrees(c):
    _, wave = _solved_new(c)
    up, down = gap.degrees_above(wave, 1e-7)
    return down - up


def _read_inhibit(c):
    wave = Waveform.sine(volts_peak=peak_volts(c), hertz=c.hertz, samples_per_cycle=8000)
    return gap.degrees_above(wave, c.inhibit_volts)[0]


@lru_cache(maxsize=512)
def _solved_load(volts_rms, latching_amps, holding_amps):
    """Halve the interval between a load that latches and one that does not, Ω."""
    yes, no = 200.0, 5000.0
    while no / yes > 1.001:
        middle = math.sqrt(yes * no)
        _, latched = gap.load_amps(volts_rms, middle, latching_amps=latching_amps, holding_amps=holding_amps)
        yes, no = (middle, no) if latched else (yes, middle)
    return math.sqrt(yes * no)


@lru_cache(maxsize=2048)
def _phantom(volts_rms, snubber_farad, ohm):
    return meters.true_rms(gap.phantom(volts_rms, snubber_farad=snubber_farad, across_ohm=ohm))


def _solved_bleeder(c):
    """Halve the list of preferred values until two neighbours are left, the lower of which is the answer."""
    low, high = 0, len(E24) - 1
    while high - low > 1:
        middle = (low + high) // 2
        fits = _phantom(c.volts_rms, c.snubber_farad, E24[middle]) <= c.off_volts
        low, high = (middle, high) if fits else (low, middle)
    return E24[low]


@lru_cache(maxsize=16)
def _solved_reach(case):
    sound, shorted = (meters.peak(gap.thermostat_amps(case, shorted=short)) for short in (False, True))
    return int(abs(shorted / sound - 1) > 0.01)


SOLVED = "exact solver, the LED's loop as a network"

KEYS = (
    Key(
        "08-fitted-peak",
        "mA",
        1,
        first=lambda c: 1000 * (peak_volts(c) - dark_volts(c)) / c.led_resistor_ohm,
        second=lambda c: 1000 * meters.peak(_as_found(c)),
        first_road="peak less two diodes and the LED, over the resistance",
        second_road=SOLVED,
        section=LIT,
    ),
    Key(
        "08-inhibit",
        "°",
        1,
        first=lambda c: math.degrees(math.asin(c.inhibit_volts / peak_volts(c))),
        second=_read_inhibit,
        first_road="arc sine of the inhibit voltage over the peak",
        second_road="read off the sampled secondary, where it rises through the inhibit voltage",
        section=WINDOW,
    ),
    Key(
        "08-fires-at",
        "°",
        2,
        first=fires_at,
        second=lambda c: gap.degrees_above(_as_found(c), c.trigger_amps)[0],
        first_road="arc sine of the voltage at which the trigger current flows",
        second_road="exact solver's LED current, where it rises through the trigger current",
        section=WINDOW,
    ),
    Key(
        "08-resistor",
        "Ω",
        2,
        first=new_ohm,
        second=lambda c: _solved_new(c)[0],
        first_road="Ohm's law at the peak, rounded up to E24",
        second_road="exact solver, walking down E24 until the peak is more than is wanted",
        section=LIT,
    ),
    Key(
        "08-margin",
        "times",
        1,
        first=lambda c: (peak_volts(c) - dark_volts(c)) / new_ohm(c) / c.guaranteed_amps,
        second=lambda c: meters.peak(_solved_new(c)[1]) / c.guaranteed_amps,
        first_road="closed peak over the guaranteed trigger current",
        second_road=SOLVED,
        section=TRIGGER,
    ),
    Key(
        "08-average",
        "mA",
        2,
        first=lambda c: 1000 * mean_volts(c) / new_ohm(c),
        second=lambda c: 1000 * meters.dc(_solved_new(c)[1]),
        first_road="closed form of the mean with a threshold",
        second_road=SOLVED,
        section=AVERAGE,
        rel_tol=0.02,
    ),
    Key(
        "08-conduction",
        "°",
        1,
        first=lambda c: 180 - 2 * math.degrees(math.asin(dark_volts(c) / peak_volts(c))),
        second=_solved_lit_degrees,
        first_road="arc sine of the drops over the peak, at both ends",
        second_road=SOLVED,
        section=ANGLE,
        rel_tol=0.005,
    ),
    Key(
        "08-heat",
        "mW",
        2,
        first=lambda c: 1000 * rms_volts(c) ** 2 / new_ohm(c),
        second=lambda c: 1000 * _solved_watts(c),
        first_road="closed rms squared over the resistance",
        second_road="mean of current squared times resistance of the exact solver",
        section=HOT,
        rel_tol=0.02,
    ),
    Key(
        "08-rating",
        "W",
        1,
        first=lambda c: _rating(MARGIN * rms_volts(c) ** 2 / new_ohm(c)),
        second=lambda c: min(step for step in RATINGS_WATTS if _solved_watts(c) / step <= 1 / MARGIN),
        first_road="twice the closed heat, rounded up to a rating",
        second_road="least rating that the solved heat loads by half",
        section=HOT,
    ),
    Key(
        "08-load",
        "Ω",
        2,
        first=lambda c: (peak_volts(c) - c.output_drop_volts) / c.latching_amps,
        second=lambda c: _solved_load(c.volts_rms, c.latching_amps, c.holding_amps),
        first_road="peak less the output's drop, over the latching current",
        second_road="exact solver, halving between a load that latches and one that does not",
        section=HOLDS,
    ),
    Key(
        "08-leak",
        "mA",
        1,
        first=lambda c: 1000 * c.volts_rms / reactance_ohm(c),
        second=lambda c: 1000 * meters.true_rms(gap.snubber_amps(c.volts_rms, snubber_farad=c.snubber_farad)),
        first_road="volts over the reactance",
        second_road="exact solver, the snubber with its resistor behind a short",
        section=LEAKS,
    ),
    Key(
        "08-meter",
        "V",
        1,
        first=lambda c: _across(1e6 * c.meter_megohm, reactance_ohm(c), c.volts_rms),
        second=lambda c: _phantom(c.volts_rms, c.snubber_farad, 1e6 * c.meter_megohm),
        first_road="divider of a resistance and a reactance at right angles",
        second_road="exact solver, the snubber behind a meter",
        section=LEAKS,
    ),
    Key(
        "08-half-on",
        "V",
        1,
        first=lambda c: _across(c.input_ohm, reactance_ohm(c), c.volts_rms),
        second=lambda c: _phantom(c.volts_rms, c.snubber_farad, c.input_ohm),
        first_road="divider of a resistance and a reactance at right angles",
        second_road="exact solver, the snubber behind the input",
        section=LEAKS,
    ),
    Key(
        "08-bleeder",
        "Ω",
        2,
        first=lambda c: max(ohm for ohm in E24 if ohm <= bleeder_ohm(c)),
        second=_solved_bleeder,
        first_road="divider turned round, rounded down to E24",
        second_road="exact solver, halving the list of preferred values",
        section=BLEEDS,
    ),
    Key(
        "08-across",
        TABLE,
        2,
        first=lambda c: tuple(int(JOINTS[case] >= 2) for case in cases(c)),
        second=lambda c: tuple(_solved_reach(case) for case in cases(c)),
        first_road="joints of metal counted: there and back",
        second_road="exact solver: does the LED's current change when the far side is shorted",
        section=ACROSS,
    ),
)

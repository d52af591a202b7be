"""Keys of lesson 03, one diode.

First road: closed forms of a half-wave behind a constant drop, the source taken as stiff. With peak P, drop D and the
angle a = asin(D/P) at which the diode begins to conduct (integrals of (P sin x - D) from a to π - a over one cycle):

- mean = (2 P cos a - D (π - 2a)) / 2π. The lesson teaches P/π - D/2, which is low by at most 0.05 % here;
- mean square = (P² (π/2 - a + sin 2a / 2) - 4 P D cos a + D² (π - 2a)) / 2π. The lesson teaches P/2 - 0.64 D for its root;
- a coil with a flywheel diode whose current never stops: mean volts = P/π - D, whatever its inductance.

Second road: the exact solver, its waveforms read by the meters (the coil as a network with an inductance).
"""

import math
from functools import lru_cache

from autograde.marking import Key
from halfcycle import meters
from halfcycle.workbook.one_diode import heater, relay, straight

__all__ = ["KEYS", "ac_volts", "mean_volts", "peak_volts", "rms_volts"]

_FARAD = 470e-6


def peak_volts(c):
    """Peak of the secondary, V."""
    return c.volts_rms * math.sqrt(2)


def _conducts_from(c):
    return math.asin(c.drop_volts / peak_volts(c))


def mean_volts(c):
    """Mean across the heater, V."""
    peak, drop, a = peak_volts(c), c.drop_volts, _conducts_from(c)
    return (2 * peak * math.cos(a) - drop * (math.pi - 2 * a)) / (2 * math.pi)


def rms_volts(c):
    """True rms (ac+dc) across the heater, V."""
    peak, drop, a = peak_volts(c), c.drop_volts, _conducts_from(c)
    swing = peak**2 * (math.pi / 2 - a + math.sin(2 * a) / 2)
    return math.sqrt((swing - 4 * peak * drop * math.cos(a) + drop**2 * (math.pi - 2 * a)) / (2 * math.pi))


def ac_volts(c):
    """True rms of what is left when the mean is taken away, V."""
    return math.sqrt(rms_volts(c) ** 2 - mean_volts(c) ** 2)


@lru_cache(maxsize=1024)
def _heater(c):
    return heater(c.volts_rms, drop_volts=c.drop_volts, load_ohm=c.load_ohm)


@lru_cache(maxsize=1024)
def _with_capacitor(c):
    return heater(c.volts_rms, drop_volts=c.drop_volts, capacitor_farad=_FARAD)


def _solved_coil(c):
    _, amps = relay(c.volts_rms, drop_volts=c.drop_volts, coil_ohm=c.coil_ohm)
    return 1000 * meters.dc(amps)


def _reads(meter, **options):
    return lambda c: meter(_heater(c).load_volts, **options)


def _inverse(solved):
    return lambda c: -float(solved(c).diode_volts.values.min())


def _solved_watts(c):
    run = _heater(c)
    return meters.dc(run.load_volts.with_values(run.load_volts.values * run.diode_amps.values))


def _solved_share(c):
    return 100 * _solved_watts(c) / (meters.true_rms(straight(c.volts_rms)) ** 2 / c.load_ohm)


SOLVED = "the exact solver's waveform, read by the meter"

KEYS = (
    Key(
        "03-load-peak",
        "V",
        1,
        first=lambda c: peak_volts(c) - c.drop_volts,
        second=_reads(meters.peak),
        first_road="peak of the secondary less one drop",
        second_road=SOLVED,
        section="What one diode lets through",
    ),
    Key(
        "03-dc",
        "V",
        2,
        first=mean_volts,
        second=_reads(meters.dc),
        first_road="closed form of the mean with a threshold",
        second_road=SOLVED,
        section="The mean: what a dc meter shows",
    ),
    Key(
        "03-true-rms",
        "V",
        2,
        first=rms_volts,
        second=_reads(meters.true_rms),
        first_road="closed form of the mean square with a threshold",
        second_road=SOLVED,
        section="The true rms: what does the heating",
    ),
    Key(
        "03-ac-rms",
        "V",
        2,
        first=ac_volts,
        second=_reads(meters.ac_rms),
        first_road="root of rms squared less mean squared, closed forms",
        second_road=SOLVED,
        section="Four meters on one wave",
        rel_tol=0.015,
    ),
    Key(
        "03-average-meter",
        "V",
        2,
        first=lambda c: math.pi / (2 * math.sqrt(2)) * mean_volts(c),
        second=_reads(meters.average_responding, coupled="dc"),
        first_road="sine form factor times the closed mean",
        second_road=SOLVED,
        section="Four meters on one wave",
    ),
    Key(
        "03-inverse",
        "V",
        1,
        first=peak_volts,
        second=_inverse(_heater),
        first_road="the whole peak of the secondary",
        second_road="least diode voltage of the exact solver",
        section="The voltage the diode must block",
    ),
    Key(
        "03-inverse-capacitor",
        "V",
        2,
        first=lambda c: 2 * peak_volts(c) - c.drop_volts,
        second=_inverse(_with_capacitor),
        first_road="capacitor at its peak plus the peak of the secondary",
        second_road="least diode voltage of the exact solver, a capacitor and next to no load",
        section="The voltage the diode must block",
        rel_tol=0.02,
    ),
    Key(
        "03-power",
        "W",
        2,
        first=lambda c: rms_volts(c) ** 2 / c.load_ohm,
        second=_solved_watts,
        first_road="closed rms squared over the resistance",
        second_road="mean of volts times amps of the exact solver",
        section="Half the heat, and a little less",
        rel_tol=0.02,
    ),
    Key(
        "03-power-share",
        "%",
        2,
        first=lambda c: 100 * (rms_volts(c) / c.volts_rms) ** 2,
        second=_solved_share,
        first_road="closed rms over the secondary's rms, squared",
        second_road="mean of volts times amps of the exact solver, over the watts of a sine",
        section="Half the heat, and a little less",
        rel_tol=0.02,
    ),
    Key(
        "03-coil",
        "mA",
        2,
        first=lambda c: 1000 * (peak_volts(c) / math.pi - c.drop_volts) / c.coil_ohm,
        second=_solved_coil,
        first_road="mean volts of half a sine less a drop throughout, over the resistance",
        second_road="mean current of a network with the coil's inductance and its flywheel diode",
        section="A relay coil and its flywheel diode",
    ),
    Key(
        "03-winding-dc",
        "A",
        2,
        first=lambda c: mean_volts(c) / c.load_ohm,
        second=lambda c: meters.dc(_heater(c).source_amps),
        first_road="closed mean over the resistance",
        second_road="mean current out of the secondary of the exact solver",
        section="The direct current in the transformer",
    ),
)

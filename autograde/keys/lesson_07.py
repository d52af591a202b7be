"""Keys of lesson 07, where the filter goes.

First road: closed forms where there are some (divider, impedance, resonance, level), the exact solver's wave where there
is none; for the tables, the rule that a filter calms the bus only where it holds back the actuator or hangs across the
bus itself, behind the source impedance.

Second road: the solver where the first is a closed form; a scope's capture of the wave, the pulses counted in it, where
the first is the solver's wave itself.
"""

import math
from functools import lru_cache

import numpy as np

from autograde.marking import TABLE, Key
from halfcycle import meters
from halfcycle.constants import PREFERRED, next_preferred
from halfcycle.network import Network
from halfcycle.oscilloscope import Oscilloscope
from halfcycle.pulses import pulses
from halfcycle.variants.lesson_07 import box_kinds
from halfcycle.workbook.claim_test import HALF, effect
from halfcycle.workbook.filter_places import Bus, charged, choke_va, lifted_volts, probed, snubber_cost

__all__ = [
    "ALLOWED",
    "BOXES",
    "CALMING_CARDS",
    "COST",
    "FEED",
    "HEAT",
    "HERTZ",
    "KEYS",
    "LEFT",
    "LIFT",
    "PLACES",
    "SNUBBER",
    "capacitor_siemens",
    "cards",
    "least_microfarads",
    "lift",
    "own_snubber",
    "resonance_hertz",
    "snubber_amps",
    "snubber_reactance",
]

LEFT = "How much is left: per cent and decibels"
ALLOWED = "Back from decibels to volts"
FEED = "In the actuator's own feed"
COST = "What the feed filter costs"
SNUBBER = "A snubber across the bus"
HEAT = "What the snubber costs, all day"
LIFT = "Choke and capacitor at the thermostat"
PLACES = "Which side of the source impedance"
BOXES = "Does this box filter? The claim test"

HERTZ = 60
CALMING_CARDS = {1, 2, 3}
_CARD_PLACES = {1: "feed", 2: "snubber", 3: "snubber", 4: "lc", 5: "line", 6: "line", 7: "straight", 8: "lc"}
_CALMING_BOXES = {"feed", "snubber"}
_ZOOM = Oscilloscope(
    sample_hertz=20e6, bits=14, full_scale_volts=640.0, noise_volts_rms=0.02, offset_volts=0.0, trigger_volts=None,
)  # fmt: skip
_BEFORE_S, _RECORD_S = 5e-6, 30e-6


def own_snubber(c):
    """What was probed before and after the learner's own snubber."""
    bus = Bus.of(c)
    return probed(bus), probed(bus, "snubber", float(c.snubber_ohm), c.snubber_microfarad * 1e-6)


def left(c):
    """Part of the spike's height that the learner's own snubber leaves on the bus."""
    before, after = own_snubber(c)
    return after.height_volts / before.height_volts


def _left_in_captures(c):
    return _captured_height(Bus.of(c), float(c.snubber_ohm), c.snubber_microfarad * 1e-6) / _captured_height(Bus.of(c))


@lru_cache(maxsize=1024)
def _captured_height(bus, ohm=0.0, farad=0.0):
    """Height of the highest spike as a close capture of bus and undisturbed wave shows it, V."""
    found = probed(bus, "snubber" if ohm else "none", ohm, farad)
    window = {"pre_trigger_s": _BEFORE_S - found.at_s, "record_s": _RECORD_S}
    scope = Oscilloscope(**{name: getattr(_ZOOM, name) for name in _ZOOM.__dataclass_fields__} | window)
    waves = [scope.capture(wave, f"{bus} {ohm} {farad}") for wave in (found.bus, found.quiet)]
    return float(pulses(*waves, threshold_volts=5.0).heights.max())


def sheet_height_volts(c):
    """Height of the spike on the maker's sheet before the box, V above the wave."""
    return c.sheet_top_volts - c.sheet_wave_volts


def _height_by_bisection(c):
    """The height whose level is as many decibels below that of the height before, halved down to it, V."""
    low, high, before = 0.0, sheet_height_volts(c), sheet_height_volts(c)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 20 * math.log10(middle / before) < -c.sheet_decibels else (low, middle)
    return high


def least_microfarads(c, pulses_per_cycle=1):
    """Least capacitance that keeps the ripple within the limit by the rule of thumb, µF."""
    return 1e3 * c.feed_milliamps / (HERTZ * pulses_per_cycle * c.ripple_limit_volts)


def _smallest_that_holds(c):
    sold = (value * decade for decade in (10, 100, 1000) for value in PREFERRED["E12"])
    return next(value for value in sold if _fall_volts(c.feed_milliamps, value) <= c.ripple_limit_volts)


@lru_cache(maxsize=4096)
def _fall_volts(milliamps, microfarads):
    """How far a capacitor that starts at 35 V falls in a whole cycle while a steady current leaves it, by the solver, V."""
    net = Network()
    net.capacitor("store", "plus", "common", microfarads * 1e-6, initial_volts=35.0)
    net.current_source("charger", "plus", "common", dc_amps=milliamps / 1e3)
    return 35.0 - float(net.run(1 / HERTZ).volts("store", 1 / HERTZ))


def feed_extra_va(c):
    """How much more the actuator draws with the filter in its feed, VA."""
    bus = Bus.of(c)
    return charged(bus, "feed").feed_volt_amperes - charged(bus).feed_volt_amperes


@lru_cache(maxsize=256)
def _by_quadrature(bus, place):
    """(VA of the feed, W given to the store) by Gauss–Legendre within short stretches of the exact solution."""
    run = charged(bus, place).run
    nodes, weights = np.polynomial.legendre.leggauss(8)
    edges = np.unique(np.concatenate([run.times(1500), [piece.begin for piece in run.pieces]]))
    half = np.diff(edges) / 2
    times = ((edges[:-1] + half)[:, None] + half[:, None] * nodes).ravel()
    share = (weights * half[:, None]).ravel() / (run.end - run.begin)

    def mean(values):
        return float(np.sum(values * share))

    rms = [math.sqrt(mean(values**2)) for values in (run.volts("bus load", times), run.amps("feed", times))]
    lost = ("feed", "diode", "switch", "choke", "freewheel", "store resistance", "filter capacitor")
    fed = mean((run.volts("bus load", times)) * run.amps("feed", times))
    parts = [name for name in lost if name in charged(bus, place).network.parts]
    kept = fed - sum(mean(run.volts(name, times) * run.amps(name, times)) for name in parts)
    return math.prod(rms), kept


def snubber_reactance(c):
    """Reactance of the snubber's capacitor at the supply's frequency, Ω."""
    return 1e6 / (2 * math.pi * HERTZ * c.snubber_microfarad)


def snubber_amps(c):
    """Rms current that the snubber draws from the quiet bus, A."""
    return c.bus_rms_volts / math.hypot(c.snubber_ohm, snubber_reactance(c))


@lru_cache(maxsize=256)
def _left_of_a_current(load_ohm, snubber_ohm):
    """One ampere at 1 MHz into the loads, with and without a snubber whose capacitor is a short to it, by the solver."""
    peaks = []
    for resistor in (False, True):
        net = Network()
        net.current_source("leakage", "common", "bus", amps_peak=1.0, hertz=1e6)
        net.resistor("loads", "bus", "common", load_ohm)
        if resistor:
            net.resistor("snubber", "bus", "common", snubber_ohm)
        run = net.steady()
        peaks.append(float(run.volts("loads", run.times(1001)).max()))
    return 100 * peaks[1] / peaks[0]


def resonance_hertz(c):
    """Resonance of the learner's choke and capacitor, Hz."""
    return 1 / (2 * math.pi * math.sqrt(c.choke_millihenry * 1e-3 * c.lc_microfarad * 1e-6))


@lru_cache(maxsize=64)
def _ringing_hertz(millihenry, microfarad):
    """A charged capacitor swings through the choke: how often, by the solver, Hz."""
    net = Network()
    net.capacitor("capacitor", "plus", "common", microfarad * 1e-6, initial_volts=10.0)
    net.inductor("choke", "plus", "common", millihenry * 1e-3)
    seconds = np.linspace(0, 0.05, 20_001)
    return meters.frequency(meters.Waveform(seconds, net.run(0.05).volts("capacitor", seconds), "V"))


def lift(c):
    """How many times the choke and the capacitor lift the voltage at the supply's frequency."""
    return 1 / (1 - (HERTZ / resonance_hertz(c)) ** 2)


def capacitor_siemens(c):
    """One over the reactance of the capacitor at the thermostat at the supply's frequency, 1/Ω."""
    return 2 * math.pi * HERTZ * c.lc_microfarad * 1e-6


def cards(c):
    """The numbers of the learner's four cards."""
    return (c.place_a, c.place_b, c.place_c, c.place_d)


@lru_cache(maxsize=8)
def _card_calms(card):
    bus = Bus(75, 150)
    return int(probed(bus, _CARD_PLACES[card]).height_volts <= HALF * probed(bus).height_volts)


SOLVED = "the exact solver"

KEYS = (
    Key(
        "07-left",
        "%",
        1,
        first=lambda c: 100 * left(c),
        second=lambda c: 100 * _left_in_captures(c),
        first_road="heights above the undisturbed wave in the exact solver's wave",
        second_road="pulses found in close captures of the bus before and after",
        section=LEFT,
        rel_tol=0.02,
    ),
    Key(
        "07-decibels",
        "dB",
        2,
        first=lambda c: 20 * math.log10(left(c)),
        second=lambda c: 20 * math.log10(_left_in_captures(c)),
        first_road="twenty times the logarithm of the ratio in the exact solver's wave",
        second_road="the same of the pulses found in close captures before and after",
        section=LEFT,
        rel_tol=0.02,
    ),
    Key(
        "07-allowed-height",
        "V",
        2,
        first=lambda c: sheet_height_volts(c) * 10 ** (-c.sheet_decibels / 20),
        second=_height_by_bisection,
        first_road="ten to the power of a twentieth of the decibels",
        second_road="bisection on the level in decibels",
        section=ALLOWED,
    ),
    Key(
        "07-capacitor",
        "µF",
        2,
        first=lambda c: next_preferred(least_microfarads(c)),
        second=_smallest_that_holds,
        first_road="the rule I/(f·C), then the next preferred value",
        second_road="up the list of preferred values until the solver's fall in a cycle is within the limit",
        section=FEED,
    ),
    Key(
        "07-feed-extra",
        "VA",
        1,
        first=feed_extra_va,
        second=lambda c: _by_quadrature(Bus.of(c), "feed")[0] - _by_quadrature(Bus.of(c), "none")[0],
        first_road="rms of the sampled waves of the exact solver, with the filter less without",
        second_road="rms by Gauss–Legendre within stretches of the exact solution",
        section=COST,
        rel_tol=0.03,
    ),
    Key(
        "07-charge-time",
        "s",
        2,
        first=lambda c: c.store_joules / charged(Bus.of(c), "feed").charging_watts,
        second=lambda c: c.store_joules / _by_quadrature(Bus.of(c), "feed")[1],
        first_road="energy over the mean power into the store",
        second_road="energy over what the feed takes less what every part of the charger loses, by quadrature",
        section=COST,
        rel_tol=0.02,
    ),
    Key(
        "07-rule",
        "%",
        1,
        first=lambda c: 100 * c.snubber_ohm / (c.snubber_ohm + c.bus_load_ohm),
        second=lambda c: _left_of_a_current(c.bus_load_ohm, c.snubber_ohm),
        first_road="the divider of snubber and loads",
        second_road="a current driven through loads with and without the snubber, by the solver",
        section=SNUBBER,
    ),
    Key(
        "07-snubber-heat",
        "mW",
        2,
        first=lambda c: 1e3 * snubber_amps(c) ** 2 * c.snubber_ohm,
        second=lambda c: 1e3 * snubber_cost(c.bus_rms_volts, c.snubber_ohm, c.snubber_microfarad * 1e-6)[0],
        first_road="current by the impedance, squared times the resistance",
        second_road="rms of the current in a network solved at the supply's frequency",
        section=HEAT,
        rel_tol=0.02,
    ),
    Key(
        "07-snubber-va",
        "VA",
        1,
        first=lambda c: c.bus_rms_volts * snubber_amps(c),
        second=lambda c: snubber_cost(c.bus_rms_volts, c.snubber_ohm, c.snubber_microfarad * 1e-6)[1],
        first_road="voltage times the current by the impedance",
        second_road="voltage times the rms of the current in a network solved at the supply's frequency",
        section=HEAT,
    ),
    Key(
        "07-resonance",
        "Hz",
        1,
        first=resonance_hertz,
        second=lambda c: _ringing_hertz(c.choke_millihenry, c.lc_microfarad),
        first_road="one over two pi times the root of L·C",
        second_road="swings counted while the solver lets the capacitor empty through the choke",
        section=LIFT,
    ),
    Key(
        "07-lifted",
        "V",
        2,
        first=lambda c: c.bus_rms_volts * lift(c),
        second=lambda c: lifted_volts(c.bus_rms_volts, c.choke_millihenry * 1e-3, c.lc_microfarad * 1e-6),
        first_road="closed form of choke and capacitor without loss or load",
        second_road="rms across the thermostat in a network with the choke's wire and the thermostat",
        section=LIFT,
    ),
    Key(
        "07-choke-va",
        "VA",
        1,
        first=lambda c: c.bus_rms_volts * c.bus_rms_volts * lift(c) * capacitor_siemens(c),
        second=lambda c: choke_va(c.bus_rms_volts, c.choke_millihenry * 1e-3, c.lc_microfarad * 1e-6),
        first_road="lifted volts over the capacitor's reactance, times the volts of the bus",
        second_road="rms through the choke in a network with its wire and the thermostat, times the volts of the bus",
        section=LIFT,
        rel_tol=0.02,
    ),
    Key(
        "07-places",
        TABLE,
        2,
        first=lambda c: tuple(int(card in CALMING_CARDS) for card in cards(c)),
        second=lambda c: tuple(_card_calms(card) for card in cards(c)),
        first_road="the rule: in the actuator's feed or across the bus behind the source impedance, nowhere else",
        second_road="each card's filter solved on one bus: does it leave at most half of the spike there?",
        section=PLACES,
    ),
    Key(
        "07-boxes",
        TABLE,
        3,
        first=lambda c: tuple(int(kind in _CALMING_BOXES) for kind in box_kinds(c.lot)),
        second=lambda c: tuple(int(effect(Bus.of(c), kind) <= HALF) for kind in box_kinds(c.lot)),
        first_road="what is in each box",
        second_road="each box solved on the learner's bus, all else the same: does it leave at most half?",
        section=BOXES,
    ),
)

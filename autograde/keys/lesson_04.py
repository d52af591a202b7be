"""Keys of lesson 04, four diodes and a shared common.

First road, the bridge: closed forms of a full wave behind two constant drops, the source taken as stiff at its running
voltage. With peak P, two drops d and the angle a = asin(d/P) at which a pair begins to conduct (integrals of (P sin x - d)
from a to π - a over half a cycle):

- mean = (2 P cos a - d (π - 2a)) / π. The lesson teaches 2P/π - d;
- mean square = (P² (π/2 - a + sin 2a / 2) - 4 P d cos a + d² (π - 2a)) / π. The lesson teaches P/√2 - 0.9 d for its root;
- the root of mean square less mean squared. The lesson teaches 0.308 P: the drops move the wave down and change its swing little.

First road, the short: one diode alone between R and C. Peak (P - D)/Ω with the no-load peak, and the rms of lesson 03's
half wave over Ω; which diode, by what is joined to what. It leaves out what the voltage along the new wire drives through
the board (at most 0.2 % of the short's current, which the second road holds).

Second road: the exact solver, its waveforms read by the meters.
"""

import math
from functools import lru_cache

from autograde.marking import TABLE, Key
from halfcycle import Supply, meters
from halfcycle.workbook.four_diodes import bridge
from halfcycle.workbook.shared_common import TwoDevices

__all__ = [
    "KEYS",
    "SAFE_CARDS",
    "ac_volts",
    "cards",
    "fault_amps",
    "fault_rms_amps",
    "loop_ohm",
    "mean_volts",
    "no_load_peak",
    "path_table",
    "peak_volts",
    "rms_volts",
]

BOTH_WAYS = "Both halves, the same way up"
MEAN = "The mean, the rms, and the ripple"
FREQUENCY = "Ripple frequency: two humps in each cycle"
BLOCKS = "What each diode holds back, and what it carries"
SHORT = "Two devices on one common: the short"
FAULT = "How much current, and what the fuse feels"
WIRINGS = "Which wirings are safe"


def peak_volts(c):
    """Peak of the secondary while the actuator runs, V."""
    return c.running_volts * math.sqrt(2)


def no_load_peak(c):
    """Peak of the secondary without load, V."""
    return c.volts_rms * math.sqrt(2)


def loop_ohm(c):
    """Resistance of the loop of the short, Ω: winding and conductors."""
    return c.resistance_ohm + c.wire_ohm


def _two_drops(c):
    return 2 * c.drop_volts, math.asin(2 * c.drop_volts / peak_volts(c))


def mean_volts(c):
    """Mean behind the bridge, V."""
    peak, (d, a) = peak_volts(c), _two_drops(c)
    return (2 * peak * math.cos(a) - d * (math.pi - 2 * a)) / math.pi


def rms_volts(c):
    """True rms (ac+dc) behind the bridge, V."""
    peak, (d, a) = peak_volts(c), _two_drops(c)
    swing = peak**2 * (math.pi / 2 - a + math.sin(2 * a) / 2)
    return math.sqrt((swing - 4 * peak * d * math.cos(a) + d**2 * (math.pi - 2 * a)) / math.pi)


def ac_volts(c):
    """True rms of what is left when the mean is taken away, V."""
    return math.sqrt(rms_volts(c) ** 2 - mean_volts(c) ** 2)


def fault_amps(c):
    """Highest current of the short, A."""
    return (no_load_peak(c) - c.drop_volts) / loop_ohm(c)


def fault_rms_amps(c):
    """True rms of the short's current over whole cycles, A: one hump in each, behind one drop."""
    peak, d = no_load_peak(c), c.drop_volts
    a = math.asin(d / peak)
    swing = peak**2 * (math.pi / 2 - a + math.sin(2 * a) / 2)
    return math.sqrt((swing - 4 * peak * d * math.cos(a) + d**2 * (math.pi - 2 * a)) / (2 * math.pi)) / loop_ohm(c)


def path_table(diodes, *, above):
    """The answer table that names diodes by number and one half cycle: D1 to D4, R above C, R below C."""
    return (*(int(number in diodes) for number in (1, 2, 3, 4)), int(above), int(not above))


def _path(c):
    """The diode between the joined dc terminal and R; plus diodes carry current from R, minus diodes to R."""
    plus = c.joined_terminal == 3
    return path_table({c.r_terminal if plus else c.r_terminal + 2}, above=plus)


SAFE_CARDS = {1, 4, 6, 8}


def cards(c):
    """The numbers of the learner's four cards."""
    return (c.wiring_a, c.wiring_b, c.wiring_c, c.wiring_d)


_WIRED = {
    1: {"joined": 0},
    2: {},
    3: {"own_transformer": True},
    4: {"own_transformer": True, "floating": True},
    5: {"joined": 0, "grounded_case": True},
    6: {"actuator": "half"},
    7: {"actuator": "half", "r_terminal": 2},
    8: {"thermostat": "bridge"},
}
_HARMLESS_AMPS = 2.0  # the two devices together take well under one; a short takes more than ten


@lru_cache(maxsize=8)
def _card_is_safe(card):
    supply = Supply.from_rating(40)
    return int(TwoDevices(supply, 0.8, 100.0, 0.3, **_WIRED[card]).most_amps < _HARMLESS_AMPS)


@lru_cache(maxsize=1024)
def _bridge(c):
    return bridge(c.running_volts, drop_volts=c.drop_volts, load_ohm=c.load_ohm)


@lru_cache(maxsize=1024)
def _shorted(c):
    supply = Supply(c.volts_rms, resistance_ohm=c.resistance_ohm)
    wired = {"joined": c.joined_terminal, "r_terminal": c.r_terminal}
    return TwoDevices(supply, c.drop_volts, c.load_ohm, c.wire_ohm, **wired)


def _solved_path(c):
    solved = _shorted(c)
    return path_table({int(solved.hottest_diode[1])}, above=solved.r_is_above)


def _solved_ripple_hertz(c):
    run = bridge(c.running_volts, drop_volts=c.drop_volts, load_ohm=c.load_ohm, hertz=c.generator_hertz)
    return meters.frequency(run.load_volts)


def _reads(meter):
    return lambda c: meter(_bridge(c).load_volts)


SOLVED = "the exact solver's waveform, read by the meter"

KEYS = (
    Key(
        "04-load-peak",
        "V",
        1,
        first=lambda c: peak_volts(c) - 2 * c.drop_volts,
        second=_reads(meters.peak),
        first_road="peak of the secondary less two drops",
        second_road=SOLVED,
        section=BOTH_WAYS,
    ),
    Key(
        "04-dc",
        "V",
        2,
        first=mean_volts,
        second=_reads(meters.dc),
        first_road="closed form of the mean behind two thresholds",
        second_road=SOLVED,
        section=MEAN,
    ),
    Key(
        "04-true-rms",
        "V",
        2,
        first=rms_volts,
        second=_reads(meters.true_rms),
        first_road="closed form of the mean square behind two thresholds",
        second_road=SOLVED,
        section=MEAN,
    ),
    Key(
        "04-ac-rms",
        "V",
        1,
        first=ac_volts,
        second=_reads(meters.ac_rms),
        first_road="root of rms squared less mean squared, closed forms",
        second_road=SOLVED,
        section=MEAN,
        rel_tol=0.02,
    ),
    Key(
        "04-ripple-hertz",
        "Hz",
        1,
        first=lambda c: 2 * c.generator_hertz,
        second=_solved_ripple_hertz,
        first_road="two humps a cycle",
        second_road="humps a second of the exact solver's wave at the generator's frequency, counted by the meter",
        section=FREQUENCY,
    ),
    Key(
        "04-inverse",
        "V",
        2,
        first=lambda c: peak_volts(c) - c.drop_volts,
        second=lambda c: -float(_bridge(c).diode_volts.values.min()),
        first_road="peak of the secondary less the drop of the neighbour that conducts",
        second_road="least diode voltage of the exact solver",
        section=BLOCKS,
    ),
    Key(
        "04-diode-mean",
        "mA",
        2,
        first=lambda c: 1000 * mean_volts(c) / c.load_ohm / 2,
        second=lambda c: 1000 * meters.dc(_bridge(c).diode_amps),
        first_road="half of the closed mean over the resistance",
        second_road="mean current through one diode of the exact solver",
        section=BLOCKS,
    ),
    Key(
        "04-short-path",
        TABLE,
        2,
        first=_path,
        second=_solved_path,
        first_road="the diode between the joined terminal and R, and the half cycle in which it points the right way",
        second_road="the diode with the highest current in the exact solver, and the sign of the secondary at that instant",
        section=SHORT,
    ),
    Key(
        "04-fault-peak",
        "A",
        3,
        first=fault_amps,
        second=lambda c: _shorted(c).most_amps,
        first_road="no-load peak less one drop, over the loop's resistance",
        second_road="highest current out of the secondary of a network with both devices and the new wire",
        section=FAULT,
    ),
    Key(
        "04-fault-rms",
        "A",
        2,
        first=fault_rms_amps,
        second=lambda c: meters.true_rms(_shorted(c).secondary_amps),
        first_road="closed rms of a half wave behind one threshold, over the loop's resistance",
        second_road="true rms of the secondary's current in a network with both devices and the new wire",
        section=FAULT,
    ),
    Key(
        "04-wirings",
        TABLE,
        2,
        first=lambda c: tuple(int(card in SAFE_CARDS) for card in cards(c)),
        second=lambda c: tuple(_card_is_safe(card) for card in cards(c)),
        first_road="the rule: more than one joint between the dc side of a bridge and its own secondary makes a short",
        second_road="each card wired up in the exact solver: does any secondary carry a short's current?",
        section=WIRINGS,
    ),
)

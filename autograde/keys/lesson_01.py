"""Keys of lesson 01, what 24 volts means.

First road: the closed forms that the lesson teaches, the wire by ASTM B258 and IEC 60028.

Second road: the exact solver with the loads as resistances, its waves read by the meters; roots found by halving; and the
wire as the trade's older books reckon it: circular mils, 10.371 Ω·cmil/ft at 20 °C, and a resistance that points to zero at
-234.5 °C (both from the copper tables of the International Annealed Copper Standard, from memory).
"""

import math

import numpy as np

from autograde.marking import Key
from halfcycle import Supply, Waveform, Wire, meters
from halfcycle.constants import CLASS_2_NAMEPLATE_VA
from halfcycle.network import Network

__all__ = ["KEYS", "coil_run_ft", "far_volts", "load_va", "loop_ohm", "no_load_volts"]

PEAK = "Peak, and peak to peak"
PERIOD = "How long one cycle takes"
RATING = "The rating in volt-amperes"
NO_LOAD = "No load, full load, regulation"
LOADS = "Add up the loads"
RUN = "A run is there and back"
FAR = "What is left at the far end"
LONGEST = "The longest run"
CLASS_2 = "What class 2 says"

_OHM_CMIL_PER_FT = 10.371
_ZERO_OHM_CELSIUS = -234.5


def no_load_volts(c):
    """Rms of the secondary with everything off, V."""
    return c.rated_volts * (1 + c.regulation_percent / 100)


def load_va(c):
    """The list of loads, all at once, VA."""
    return c.thermostat_va + c.actuators * c.actuator_va + c.relay_va


def loop_ohm(c, celsius=None):
    """Out and back, Ω, at the run's own temperature unless another is given."""
    return Wire(c.gauge_awg, c.length_ft, c.celsius if celsius is None else celsius).loop_ohm


def far_volts(c):
    """Left at the zone panel, V."""
    return c.near_volts - c.run_amps * loop_ohm(c)


def coil_run_ft(c, loop, celsius=None):
    """Length one way, ft, whose two conductors together have ``loop`` Ω."""
    return loop / Wire(c.gauge_awg, 1, c.celsius if celsius is None else celsius).loop_ohm


def _longest_run_ft(c):
    return coil_run_ft(c, c.coil_ohm * (c.near_volts / c.pull_in_volts - 1))


# The second roads.


def _sine(volts_rms):
    """A sampled sine scaled until the true-rms meter shows ``volts_rms``."""
    unit = Waveform.sine()
    return unit.with_values(unit.values * volts_rms / meters.true_rms(unit))


def _milliseconds_between_rises(c):
    """From rising zero to rising zero on a picture whose time grid knows nothing of the frequency."""
    seconds = np.linspace(-0.003, 0.047, 20_001)
    volts = np.sin(2 * math.pi * c.hertz * seconds)
    before = np.flatnonzero((volts[:-1] < 0) & (volts[1:] >= 0))
    share = -volts[before] / (volts[before + 1] - volts[before])
    rises = seconds[before] + share * np.diff(seconds)[before]
    return 1000 * float(rises[1] - rises[0])


def _solved_amps(volts_rms, *loads_va, rated_volts=24.0):
    """Rms amps of loads side by side, each the resistance that takes its VA at ``rated_volts``."""
    net = Network()
    net.voltage_source("secondary", "R", "common", volts_peak=Supply(volts_rms).volts_peak)
    for number, va in enumerate(loads_va):
        net.resistor(f"load {number}", "R", "common", rated_volts**2 / va)
    run = net.run(net.period_s)
    seconds = run.times(400)
    return meters.true_rms(Waveform(seconds, run.amps("secondary", seconds), "A"))


def _all_loads(c):
    return [c.thermostat_va, *[c.actuator_va] * c.actuators, c.relay_va]


def _circular_mil_loop_ohm(c, length_ft):
    """Out and back, Ω: area in circular mils, 39 equal steps from 5 mil at 36 AWG to 460 mil at 4/0."""
    mils = 5.0
    for _ in range(36 - c.gauge_awg):
        mils *= 92 ** (1 / 39)
    warm = (c.celsius - _ZERO_OHM_CELSIUS) / (20 - _ZERO_OHM_CELSIUS)
    return 2 * length_ft * _OHM_CMIL_PER_FT * warm / mils**2


def _solved_far_volts(c):
    each_way = _circular_mil_loop_ohm(c, c.length_ft) / 2
    net = Network(ground="C")
    net.voltage_source("secondary", "R", "C", volts_peak=Supply(c.near_volts).volts_peak)
    net.resistor("out", "R", "far R", each_way)
    net.resistor("back", "far C", "C", each_way)
    net.current_source("panel", "far R", "far C", amps_peak=c.run_amps * math.sqrt(2), hertz=60.0)
    run = net.run(net.period_s)
    seconds = run.times(400)
    return meters.true_rms(Waveform(seconds, run.volts("panel", seconds), "V"))


def _coil_volts(c, length_ft):
    """Node voltages of source, wire, coil, wire (conductance matrix), V across the coil."""
    wire = 2 / _circular_mil_loop_ohm(c, length_ft)
    coil = 1 / c.coil_ohm
    far_r, far_c = np.linalg.solve([[wire + coil, -coil], [-coil, wire + coil]], [wire * c.near_volts, 0.0])
    return float(far_r - far_c)


def _halved(short_of, low, high):
    """Where ``short_of`` turns from True to False between ``low`` and ``high``."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if short_of(middle) else (low, middle)
    return (low + high) / 2


def _halved_no_load(c):
    def short_of(volts):
        return 100 * (volts - c.rated_volts) / c.rated_volts < c.regulation_percent

    return _halved(short_of, c.rated_volts, 2 * c.rated_volts)


_CLOSED = "closed form of a sine"
_SAMPLED = "sampled sine, scaled until the true-rms meter agrees, read by the meter"
_SOLVED = "the exact solver with each load as a resistance, read by the meters"
_B258 = "ASTM B258 and IEC 60028"
_CMIL = "circular mils and the zero-resistance temperature"

KEYS = (
    Key(
        "01-peak",
        "V",
        1,
        first=lambda c: c.meter_volts * math.sqrt(2),
        second=lambda c: meters.peak(_sine(c.meter_volts)),
        first_road=_CLOSED,
        second_road=_SAMPLED,
        section=PEAK,
    ),
    Key(
        "01-peak-to-peak",
        "V",
        1,
        first=lambda c: 2 * c.meter_volts * math.sqrt(2),
        second=lambda c: meters.peak_to_peak(_sine(c.meter_volts)),
        first_road=_CLOSED,
        second_road=_SAMPLED,
        section=PEAK,
    ),
    Key(
        "01-rms",
        "V",
        2,
        first=lambda c: c.scope_volts / (2 * math.sqrt(2)),
        second=lambda c: meters.true_rms(Waveform.sine(volts_peak=c.scope_volts / 2)),
        first_road=_CLOSED,
        second_road="sampled sine of that height, read by the true-rms meter",
        section=PEAK,
    ),
    Key(
        "01-period",
        "ms",
        1,
        first=lambda c: 1000 / c.hertz,
        second=_milliseconds_between_rises,
        first_road="one over the frequency",
        second_road="rising zeros of a sampled sine",
        section=PERIOD,
    ),
    Key(
        "01-rated-amps",
        "A",
        2,
        first=lambda c: c.volt_amperes / c.rated_volts,
        second=lambda c: _solved_amps(c.rated_volts, c.volt_amperes),
        first_road="VA over volts",
        second_road=_SOLVED,
        section=RATING,
    ),
    Key(
        "01-no-load",
        "V",
        2,
        first=no_load_volts,
        second=_halved_no_load,
        first_road="rated voltage and its rise",
        second_road="the definition of regulation, solved by halving",
        section=NO_LOAD,
        rel_tol=0.005,
    ),
    Key(
        "01-load-va",
        "VA",
        2,
        first=load_va,
        second=lambda c: c.rated_volts * _solved_amps(c.rated_volts, *_all_loads(c)),
        first_road="the sum of the list",
        second_road=_SOLVED,
        section=LOADS,
    ),
    Key(
        "01-load-percent",
        "%",
        2,
        first=lambda c: 100 * load_va(c) / c.volt_amperes,
        second=lambda c: (
            100 * _solved_amps(c.rated_volts, *_all_loads(c)) / _solved_amps(c.rated_volts, c.volt_amperes)
        ),
        first_road="VA over VA",
        second_road="amps over amps of the exact solver",
        section=LOADS,
    ),
    Key(
        "01-loop",
        "Ω",
        2,
        first=loop_ohm,
        second=lambda c: _circular_mil_loop_ohm(c, c.length_ft),
        first_road=_B258,
        second_road=_CMIL,
        section=RUN,
    ),
    Key(
        "01-far-volts",
        "V",
        2,
        first=far_volts,
        second=_solved_far_volts,
        first_road=f"Ohm's law on the loop, {_B258}",
        second_road=f"the exact solver with the panel as a current, {_CMIL}",
        section=FAR,
    ),
    Key(
        "01-longest-run",
        "ft",
        3,
        first=_longest_run_ft,
        second=lambda c: _halved(lambda feet: _coil_volts(c, feet) > c.pull_in_volts, 1.0, 5000.0),
        first_road=f"voltage divider turned round, {_B258}",
        second_road=f"node voltages, the length found by halving, {_CMIL}",
        section=LONGEST,
    ),
    Key(
        "01-class-2",
        "A",
        2,
        first=lambda c: float(CLASS_2_NAMEPLATE_VA) / c.nameplate_volts,
        second=lambda c: _solved_amps(c.nameplate_volts, 100.0, rated_volts=c.nameplate_volts),
        first_road="NEC chapter 9 table 11(A): 100 over volts",
        second_road="current of the resistance that takes 100 VA, by the exact solver",
        section=CLASS_2,
    ),
)

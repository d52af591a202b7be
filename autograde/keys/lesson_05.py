"""Keys of lesson 05, a capacitor behind the diode: each worked out twice, by different roads.

Answers by calculator stand on a formula, and `halfcycle.network` tries the formula out on the real parts. Answers
read on the bench stand on the two equations of `reservoir`, and the exact solver finds the same steady state its own way.
"""

from fractions import Fraction
from functools import lru_cache
from math import log, sqrt

import numpy as np

from autograde.keys.emptying import seconds_to_fall
from autograde.keys.reservoir import SteadyState, steady_state
from autograde.marking import Key
from halfcycle import Diode, Supply, meters, rectify
from halfcycle.network import Network

__all__ = ["E12", "KEYS", "STEPS_VOLTS", "bench", "inrush_amps", "next_e12", "peak_inverse_volts", "rule_ripple_volts"]

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""IEC 60063, one decade."""
STEPS_VOLTS = (25, 35, 50, 63, 100)
"""Common working voltages of electrolytic capacitors (common practice, no source)."""
SAFE_VOLTS = 5.0

RULE = "Ripple by the rule of thumb"
TRUE = "Where the rule of thumb fails"
PULSES = "Short pulses of current"
FIRST = "The first instant: inrush"
TIMES = "How long it holds, and how long it takes to bleed"
RATINGS = "The voltage the parts must stand"
CHOICE = "Choosing the capacitor"


def bench(c, pulses=1) -> SteadyState:
    """Return what the bench shows for one diode, or for four (``pulses=2``: two drops and two resistances)."""
    loop_ohm = c.source_ohm + pulses * c.diode_ohm
    values = (c.volts_rms * sqrt(2), loop_ohm, pulses * c.drop_volts, c.load_ohm, c.capacitor_microfarad * 1e-6)
    return steady_state(*values, c.hertz, pulses)


def rule_ripple_volts(c, volts_peak=None, drop_volts=None, pulses=1):
    """Return I/(fC) with I = (peak − drop)/load, each replaceable, V peak to peak."""
    volts_peak = c.volts_rms * sqrt(2) if volts_peak is None else volts_peak
    drop_volts = c.drop_volts if drop_volts is None else drop_volts
    return (volts_peak - drop_volts) / c.load_ohm / (pulses * c.hertz * c.capacitor_microfarad * 1e-6)


def inrush_amps(c, volts_peak=None, drop_volts=None, loop_ohm=None):
    """Return the current that an empty capacitor draws at the crest, A."""
    volts_peak = c.volts_rms * sqrt(2) if volts_peak is None else volts_peak
    drop_volts = c.drop_volts if drop_volts is None else drop_volts
    return (volts_peak - drop_volts) / (c.source_ohm + c.diode_ohm if loop_ohm is None else loop_ohm)


def peak_inverse_volts(c, volts_rms=None, line=None):
    """Return twice the highest peak, V: the capacitor stands at one peak when the secondary is at the other."""
    line = 1 + c.high_line_percent / 100 if line is None else line
    return 2 * sqrt(2) * (c.volts_rms if volts_rms is None else volts_rms) * line


def next_e12(least):
    """Return the smallest E12 value that is not below `least` (any unit).

    >>> next_e12(791), next_e12(820), next_e12(8.3)
    (820.0, 820.0, 10.0)
    """
    decades = range(-3, 8)
    return min(value for k in decades for base in E12 if (value := round(base * 10.0**k, 6)) >= least * (1 - 1e-9))


def highest_volts(c):
    """Return the peak of the secondary at high line and no load, V."""
    return peak_inverse_volts(c) / 2


def _wanted_microfarad(c):
    return 1e3 * c.board_milliamps / (c.hertz * c.wanted_ripple_volts)


def _hold_up_ms(c):
    top = c.volts_rms * sqrt(2) - c.drop_volts
    return c.load_ohm * c.capacitor_microfarad * 1e-3 * log(top / c.dropout_volts)


def _working_volts(c):
    return min(step for step in STEPS_VOLTS if step >= highest_volts(c) * (1 + c.margin_percent / 100))


def _bleed_seconds(c):
    return c.bleeder_ohm * c.capacitor_microfarad * 1e-6 * log(c.volts_rms * sqrt(2) / SAFE_VOLTS)


# The second roads.


@lru_cache(maxsize=4096)
def _solved_bench(volts_rms, source_ohm, load_ohm, capacitor_farad, hertz, drop_volts, diode_ohm):
    """What the exact solver's steady state shows: ripple V, mean V, conduction degrees, peak diode A."""
    supply = Supply(volts_rms, hertz, source_ohm)
    diode = Diode(drop_volts, diode_ohm)
    run = rectify(supply, load_ohm=load_ohm, capacitor_farad=capacitor_farad, diode=diode, cycles=0.01).steady()
    return run.ripple_volts, meters.dc(run.load_volts), run.conduction_degrees, meters.peak(run.diode_amps)


def _solved(c):
    capacitor_farad = c.capacitor_microfarad * 1e-6
    return _solved_bench(c.volts_rms, c.source_ohm, c.load_ohm, capacitor_farad, c.hertz, c.drop_volts, c.diode_ohm)


def _emptied_by_a_steady_current(c):
    """Volts that the capacitor falls when it alone feeds the load's full current for one cycle, V."""
    top = c.volts_rms * sqrt(2) - c.drop_volts
    net = Network()
    net.capacitor("capacitor", "plus", "common", c.capacitor_microfarad * 1e-6, initial_volts=top)
    net.current_source("board", "plus", "common", dc_amps=top / c.load_ohm)
    run = net.run(1 / c.hertz)
    return top - float(run.volts("capacitor", np.array([run.end]))[0])


def _first_e12_that_holds_the_charge(c):
    """Walk up the list until the charge of one cycle swings the capacitor by no more than is wanted, in exact fractions."""
    wanted_volts = Fraction(str(c.wanted_ripple_volts))
    microcoulomb = Fraction(1000 * c.board_milliamps, c.hertz)
    values = (Fraction(str(base)) * 10**k for k in range(0, 6) for base in E12)
    return float(next(value for value in values if microcoulomb / value <= wanted_volts))


def _solved_inrush(c):
    supply = Supply(c.volts_rms, c.hertz, c.source_ohm)
    diode = Diode(c.drop_volts, c.diode_ohm)
    farad = c.capacitor_microfarad * 1e-6
    parts = {"load_ohm": c.load_ohm, "capacitor_farad": farad, "diode": diode}
    starts = (88.0, 90.0, 92.0)
    runs = [rectify(supply, **parts, cycles=0.05, start_degrees=start) for start in starts]
    return max(meters.peak(run.diode_amps) for run in runs)


def _solved_hold_up_ms(c):
    top = c.volts_rms * sqrt(2) - c.drop_volts
    return 1e3 * seconds_to_fall(top, c.dropout_volts, c.load_ohm, c.capacitor_microfarad * 1e-6)


def _solved_bleed_seconds(c):
    return seconds_to_fall(c.volts_rms * sqrt(2), SAFE_VOLTS, c.bleeder_ohm, c.capacitor_microfarad * 1e-6)


@lru_cache(maxsize=256)
def _unloaded(volts_rms, hertz):
    """(highest load voltage, peak inverse voltage) of one diode without drop behind a capacitor with next to no load, V."""
    supply = Supply(volts_rms, hertz, 1.0)
    run = rectify(supply, load_ohm=1e6, capacitor_farad=1e-4, diode=Diode(0.0, 0.05), cycles=0.01).steady()
    return meters.peak(run.load_volts), -float(run.diode_volts.values.min())


def _solved_working_volts(c):
    top, _ = _unloaded(c.volts_rms * (1 + c.high_line_percent / 100), c.hertz)
    return next(step for step in STEPS_VOLTS if step / (1 + c.margin_percent / 100) > top)


def _solved_peak_inverse(c):
    return _unloaded(c.volts_rms * (1 + c.high_line_percent / 100), c.hertz)[1]


_BENCH_ROADS = {
    "first_road": "roots of the charging and discharging equations, meters by quadrature",
    "second_road": "exact solver: periodic steady state by Newton's method on the state",
}

KEYS = (
    Key(
        item="05-rule-ripple",
        unit="V",
        points=1,
        first=rule_ripple_volts,
        second=_emptied_by_a_steady_current,
        first_road="textbook formula I/(fC)",
        second_road="exact solver: a capacitor emptied by a steady current for one cycle",
        section=RULE,
    ),
    Key(
        item="05-ripple",
        unit="V",
        points=2,
        first=lambda c: bench(c).ripple_volts,
        second=lambda c: _solved(c)[0],
        section=TRUE,
        **_BENCH_ROADS,
    ),
    Key(
        item="05-mean",
        unit="V",
        points=2,
        first=lambda c: bench(c).mean_volts,
        second=lambda c: _solved(c)[1],
        section=TRUE,
        **_BENCH_ROADS,
    ),
    Key(
        item="05-capacitor",
        unit="µF",
        points=2,
        first=lambda c: next_e12(_wanted_microfarad(c)),
        second=_first_e12_that_holds_the_charge,
        first_road="I/(f·ripple), then the next value of the list in floating point",
        second_road="charge of one cycle in exact fractions, walking up the list",
        section=CHOICE,
    ),
    Key(
        item="05-conduction",
        unit="°",
        points=2,
        first=lambda c: bench(c).conduction_degrees,
        second=lambda c: _solved(c)[2],
        section=PULSES,
        **_BENCH_ROADS,
    ),
    Key(
        item="05-diode-peak",
        unit="A",
        points=2,
        first=lambda c: bench(c).diode_peak_amps,
        second=lambda c: _solved(c)[3],
        section=PULSES,
        **_BENCH_ROADS,
    ),
    Key(
        item="05-inrush",
        unit="A",
        points=2,
        first=inrush_amps,
        second=_solved_inrush,
        first_road="(peak − drop)/(source + diode resistance)",
        second_road="exact solver: switched on just before, at and just after the crest, the worst of the three",
        section=FIRST,
    ),
    Key(
        item="05-hold-up",
        unit="ms",
        points=2,
        first=_hold_up_ms,
        second=_solved_hold_up_ms,
        first_road="R·C·ln(start/end)",
        second_road="exact solver: capacitor and resistor, the crossing read off the curve",
        section=TIMES,
    ),
    Key(
        item="05-working-volts",
        unit="V",
        points=2,
        first=_working_volts,
        second=_solved_working_volts,
        first_road="√2 · no-load rms · high line · margin, then the next step",
        second_road="exact solver with 1 MΩ for a load: the top it charges to, then steps with the margin taken off",
        section=RATINGS,
    ),
    Key(
        item="05-peak-inverse",
        unit="V",
        points=2,
        first=peak_inverse_volts,
        second=_solved_peak_inverse,
        first_road="2 · √2 · no-load rms · high line",
        second_road="exact solver with 1 MΩ for a load: the lowest voltage across the diode",
        section=RATINGS,
    ),
    Key(
        item="05-bleed",
        unit="s",
        points=1,
        first=_bleed_seconds,
        second=_solved_bleed_seconds,
        first_road="R·C·ln(start/end)",
        second_road="exact solver: capacitor and bleeder, the crossing read off the curve",
        section=TIMES,
        rel_tol=0.02,
    ),
)

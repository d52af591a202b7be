"""Keys of lesson 09, two calls on one conductor.

First road, numbers: closed forms of a half wave behind a threshold D (one diode for the shared conductor, two diodes and the
LED for an LED's loop). With peak P and a = asin(D/P): mean = (2 P cos a - D (π - 2a)) / 2π, taught as 0.318 P - 0.5 D; mean
square = (P² (π/2 - a + sin 2a / 2) - 4 P D cos a + D² (π - 2a)) / 2π. With both calls the halves take turns, so the mean
square of the conductor doubles; its root is taught as rms - 0.9 D. The ac reading of one half is taught as 0.386 (P - D).

First road, tables: which half each diode passes, and whose LED takes that half. Captures: what was recorded.

Second road: the exact solver on the whole circuit (contacts, diodes, conductor, branches, outputs with their coils); for
the captures, the record itself.
"""

import math

from autograde.marking import TABLE, Key
from halfcycle import meters
from halfcycle.variants.lesson_09 import DIODE_DROP_VOLTS
from halfcycle.workbook import field_test, one_conductor
from halfcycle.workbook.across_the_gap import degrees_above

__all__ = [
    "BOTH",
    "COUNT",
    "FAN",
    "FAULTS",
    "FIELD",
    "KEYS",
    "LIGHT",
    "METERS",
    "SORT",
    "cause_row",
    "conductors",
    "fault_row",
    "first_plans",
    "led_drops",
    "mean_volts",
    "meters_row",
    "of_call_a",
    "peak_volts",
    "rms_volts",
    "seen_half",
    "state_row",
    "wiring_row",
]

SORT = "Two halves, two calls"
METERS = "What the meters show on the shared conductor"
LIGHT = "How much current each LED gets"
BOTH = "Both at once"
COUNT = "How many conductors"
FAN = "When the fan's conductor becomes the common"
FAULTS = "What each fault does"
FIELD = "The field test"

_CALLED = one_conductor.STATES[1:]


def peak_volts(volts_rms):
    """Peak of a sine, V."""
    return volts_rms * math.sqrt(2)


def led_drops(c):
    """Drops in an LED's loop, V: two diodes and the LED."""
    return 2 * DIODE_DROP_VOLTS + c.led_drop_volts


def mean_volts(volts_rms, drop):
    """Mean of the upper half of a sine behind a drop, V."""
    peak = peak_volts(volts_rms)
    a = math.asin(drop / peak)
    return (2 * peak * math.cos(a) - drop * (math.pi - 2 * a)) / (2 * math.pi)


def rms_volts(volts_rms, drop):
    """True rms of the upper half of a sine behind a drop, V."""
    peak = peak_volts(volts_rms)
    a = math.asin(drop / peak)
    swing = peak**2 * (math.pi / 2 - a + math.sin(2 * a) / 2)
    return math.sqrt((swing - 4 * peak * drop * math.cos(a) + drop**2 * (math.pi - 2 * a)) / (2 * math.pi))


def conductors(c):
    """Conductors of the new run: R, C where needed, and one for each call or pair of calls."""
    return 1 + c.common_needed + c.calls - c.pairs


# Tables: rows of pairs (output A, output B) with call A alone, call B alone, both.


def _lit(half, upper):
    """The outputs that one half of the cycle turns on, if `upper` is the LED that takes the upper half."""
    return (1, 0) if (half == "upper") == (upper == "A") else (0, 1)


def _either(one, other):
    return tuple(max(pair) for pair in zip(one, other, strict=True))


def _row(a, b):
    """The row of six from what each call alone turns on: both calls turn on whatever either does."""
    return (*a, *b, *_either(a, b))


def wiring_row(number):
    """Outputs of a wiring of the lesson's list."""
    half_a, half_b, upper = one_conductor.WIRINGS[number]
    return _row(_lit(half_a, upper), _lit(half_b, upper))


_FAULTY = {
    1: ((0, 0), (0, 1)),
    2: ((1, 1), (0, 1)),
    3: ((0, 1), (0, 1)),
    4: ((1, 0), (0, 0)),
    5: ((1, 0), (1, 1)),
    6: ((1, 0), (1, 0)),
    7: ((0, 1), (1, 0)),
    8: ((0, 0), (0, 1)),
    9: ((1, 0), (0, 0)),
    10: ((0, 0), (0, 0)),
}


def fault_row(number):
    """Outputs with a fault of the lesson's list."""
    return _row(*_FAULTY[number])


_NOTHING, _UPPER, _LOWER, _ALL = (0, 0, 1, 1, 0, 0), (1, 0, 0, 0, 1, 0), (0, 1, 0, 0, 1, 0), (0, 0, 1, 0, 0, 1)
_READ = {frozenset(): _NOTHING, frozenset({"upper"}): _UPPER, frozenset({"lower"}): _LOWER}


def meters_row(seen):
    """What the dc and the ac meter show for the halves in `seen`: dc plus, minus, nought; ac nought, one call's, both calls'."""
    return _READ.get(seen, _ALL)


def of_call_a(fault):
    """Whether a fault of the lesson's list, by number, belongs to call A."""
    return one_conductor.fault_named(fault).endswith(("A open", "A shorted", "A reversed"))


def _fault_meters(c):
    a = of_call_a(c.fault)
    return meters_row(seen_half(a, not a, one_conductor.fault_named(c.fault)))


def _solved_fault_meters(c):
    a = of_call_a(c.fault)
    wave = one_conductor.conductor(c.volts_rms, a, not a, fault=one_conductor.fault_named(c.fault))
    dc, ac = meters.dc(wave) / c.volts_rms, meters.ac_rms(wave) / c.volts_rms
    return tuple(int(shown) for shown in (dc > 0.2, dc < -0.2, abs(dc) < 0.05, ac < 0.05, 0.4 < ac < 0.6, ac > 0.9))


def _solved_row(outputs):
    return tuple(on for state in _CALLED for on in outputs(*state))


_PLANS = {1: (1, 1, 0, 0), 2: (1, 1, 0, 1), 3: (1, 1, 1, 1)}


def first_plans(c):
    """What the learner's two plans keep: heating, cooling, fan alone, fan along with cooling, for each."""
    return (*_PLANS[c.plan_1], *_PLANS[c.plan_2])


def state_row(states):
    """Which outputs are on in captures whose states are known: A and B for each."""
    return tuple(int(called) for state in states for called in state)


def seen_half(call_a, call_b, fault):
    """The halves on the conductor, as a set, by which way each closed call's diode points or fails."""
    halves = {"A": {"upper"}, "B": {"lower"}}
    turned = {"upper": {"lower"}, "lower": {"upper"}}
    for call, half in (("A", "upper"), ("B", "lower")):
        if fault in (f"diode {call} reversed", "diodes swapped"):
            halves[call] = turned[half]
        elif fault == f"diode {call} open":
            halves[call] = set()
        elif fault == f"diode {call} shorted":
            halves[call] = {"upper", "lower"}
    return frozenset().union(*(halves[call] for call, closed in (("A", call_a), ("B", call_b)) if closed))


def cause_row(call_a, call_b, seen):
    """Which of the causes put the halves in `seen` on the conductor with these calls closed."""
    return tuple(int(seen_half(call_a, call_b, fault) == seen) for fault in field_test.CAUSES)


def _first_cause(c):
    call_a, call_b, fault = field_test.cause_case(c)
    return cause_row(call_a, call_b, seen_half(call_a, call_b, fault))


# The second roads.


def _conductor(c, *state):
    return one_conductor.conductor(c.volts_rms, *state)


def _led(c, led, *state):
    parts = {name: getattr(c, name) for name in ("led_drop_volts", "led_resistor_ohm", "wire_ohm")}
    return one_conductor.led_amps(c.volts_rms, *state, led=led, **parts)


def _solved_dark(c):
    """The hump's edges, each drawn straight through the places where it passes two small currents."""
    low, high = (degrees_above(_led(c, "A", True, True), amps) for amps in (0.3e-3, 0.6e-3))
    up, down = (2 * one - other for one, other in zip(low, high, strict=True))
    return (180 - (down - up)) / 360 * 1000 / 60


def _read_states(c):
    """Which halves stand out of the noise in captures 1 to 4: the upper one is call A's, the lower one call B's."""
    found = field_test.captures(c)[:4]
    return tuple(int(reached) for wave in found for reached in (wave.values.max() > 10, wave.values.min() < -10))


def _states_read_as(c, wanted):
    """The capture that shows `wanted`, found by looking at the records."""
    row = _read_states(c)
    return next(wave for k, wave in enumerate(field_test.captures(c)[:4]) if row[2 * k : 2 * k + 2] == wanted)


def _read_peak(c):
    """From the mean and the heat of the record, which noise and steps hardly touch: rms = 0.7071 P - 0.9 D, as a closed form."""
    rms = meters.true_rms(_states_read_as(c, (1, 1)))
    low, high = rms, 2 * rms
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if math.sqrt(2) * rms_volts(middle / math.sqrt(2), DIODE_DROP_VOLTS) < rms else (low, middle)
        )
    return low - DIODE_DROP_VOLTS


def _solved_causes(c):
    """Each cause put into the exact solver on the recorded board, and its mean and rms held against capture 5."""
    call_a, call_b, _ = field_test.cause_case(c)
    seen, volts = field_test.captures(c)[4], field_test.board_volts(c)
    waves = [one_conductor.conductor(volts, call_a, call_b, fault=fault) for fault in field_test.CAUSES]
    return tuple(
        int(all(abs(read(wave) - read(seen)) < 1.0 for read in (meters.dc, meters.true_rms))) for wave in waves
    )


SOLVED = "the exact solver's waveform, read by the meter"

KEYS = (
    Key(
        "09-wiring",
        TABLE,
        2,
        first=lambda c: wiring_row(c.wiring),
        second=lambda c: _solved_row(lambda a, b: one_conductor.wired_outputs(c.wiring, a, b)),
        first_road="the half that each diode passes, and whose LED takes it",
        second_road="relays that pull in, in the exact solver of the whole circuit",
        section=SORT,
    ),
    Key(
        "09-dc",
        "V",
        2,
        first=lambda c: -mean_volts(c.volts_rms, DIODE_DROP_VOLTS),
        second=lambda c: meters.dc(_conductor(c, False, True)),
        first_road="closed form of the mean behind one threshold, below zero",
        second_road=SOLVED,
        section=METERS,
        rel_tol=0.02,
    ),
    Key(
        "09-ac",
        "V",
        1,
        first=lambda c: math.sqrt(
            rms_volts(c.volts_rms, DIODE_DROP_VOLTS) ** 2 - mean_volts(c.volts_rms, DIODE_DROP_VOLTS) ** 2
        ),
        second=lambda c: meters.ac_rms(_conductor(c, False, True)),
        first_road="root of rms squared less mean squared, closed forms",
        second_road=SOLVED,
        section=METERS,
        rel_tol=0.02,
    ),
    Key(
        "09-ac-both",
        "V",
        2,
        first=lambda c: math.sqrt(2) * rms_volts(c.volts_rms, DIODE_DROP_VOLTS),
        second=lambda c: meters.ac_rms(_conductor(c, True, True)),
        first_road="closed rms of both halves behind one threshold each",
        second_road=SOLVED,
        section=METERS,
    ),
    Key(
        "09-led-peak",
        "mA",
        1,
        first=lambda c: 1000 * (peak_volts(c.volts_rms) - led_drops(c)) / (c.led_resistor_ohm + c.wire_ohm),
        second=lambda c: 1000 * meters.peak(_led(c, "B", False, True)),
        first_road="peak less two diodes and the LED, over resistor and conductor",
        second_road="highest current through LED B in the exact solver, call B alone",
        section=LIGHT,
    ),
    Key(
        "09-led-mean",
        "mA",
        2,
        first=lambda c: 1000 * mean_volts(c.volts_rms, led_drops(c)) / (c.led_resistor_ohm + c.wire_ohm),
        second=lambda c: 1000 * meters.dc(_led(c, "A", True, True)),
        first_road="closed form of the mean behind three drops, the other call left out",
        second_road="mean current through LED A in the exact solver, both calls closed",
        section=LIGHT,
        rel_tol=0.02,
    ),
    Key(
        "09-dark",
        "ms",
        1,
        first=lambda c: 2 * math.degrees(math.asin(led_drops(c) / peak_volts(c.volts_rms))) / 360 * 1000 / 60,
        second=_solved_dark,
        first_road="arc sine of the drops over the peak, before and after the zero",
        second_road="the time without current in LED A's half, exact solver with both calls closed",
        section=BOTH,
        rel_tol=0.03,
    ),
    Key(
        "09-conductors",
        "conductors",
        1,
        first=conductors,
        second=lambda c: len(
            {
                "R",
                *["C"] * c.common_needed,
                *(f"call {k}" if k >= 2 * c.pairs else f"pair {k // 2}" for k in range(c.calls)),
            }
        ),
        first_road="R, C, and calls less pairs",
        second_road="every call given the name of its conductor, the names counted",
        section=COUNT,
    ),
    Key(
        "09-fan",
        TABLE,
        2,
        first=first_plans,
        second=lambda c: (*one_conductor.plan_kept(c.plan_1), *one_conductor.plan_kept(c.plan_2)),
        first_road="the table of the three plans",
        second_road="each plan's wires followed from the thermostat's calls to the unit's terminals",
        section=FAN,
    ),
    Key(
        "09-fault",
        TABLE,
        2,
        first=lambda c: fault_row(c.fault),
        second=lambda c: _solved_row(
            lambda a, b: one_conductor.outputs(a, b, fault=one_conductor.fault_named(c.fault), coil_ohm=c.coil_ohm)
        ),
        first_road="what each call alone turns on with the fault, and either for both",
        second_road="relays that pull in, in the exact solver with the fault in the circuit",
        section=FAULTS,
    ),
    Key(
        "09-fault-meters",
        TABLE,
        1,
        first=_fault_meters,
        second=_solved_fault_meters,
        first_road="the halves that reach the conductor, and how meters read them",
        second_road="both meters on the exact solver's conductor with the fault in the circuit",
        section=FAULTS,
    ),
    Key(
        "09-captures",
        TABLE,
        2,
        first=lambda c: state_row(field_test.state_order(c)),
        second=_read_states,
        first_road="the states that were recorded, in their order",
        second_road="the captures themselves: which halves stand out of the noise",
        section=FIELD,
    ),
    Key(
        "09-read-peak",
        "V",
        1,
        first=lambda c: peak_volts(field_test.board_volts(c)) - DIODE_DROP_VOLTS,
        second=_read_peak,
        first_road="peak of the recorded board less one drop",
        second_road="from the rms of the capture with both halves, the closed form turned round",
        section=FIELD,
        rel_tol=0.04,
    ),
    Key(
        "09-read-dc",
        "V",
        1,
        first=lambda c: -mean_volts(field_test.board_volts(c), DIODE_DROP_VOLTS),
        second=lambda c: meters.dc(_states_read_as(c, (0, 1))),
        first_road="closed form of the mean of the recorded board's lower half",
        second_road="mean of the capture with the lower half alone",
        section=FIELD,
        rel_tol=0.05,
    ),
    Key(
        "09-cause",
        TABLE,
        2,
        first=_first_cause,
        second=_solved_causes,
        first_road="which way each closed call's diode lets current pass, for every cause",
        second_road="every cause in the exact solver, its mean and rms held against the capture",
        section=FIELD,
    ),
)

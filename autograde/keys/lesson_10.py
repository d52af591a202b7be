"""Keys of lesson 10, the service call.

Numbers, first road: closed forms.

- a board without its capacitor: the mean of a half wave behind one constant drop (lesson 03), the source in front of the
  board taken as one source by Thévenin: winding and run in series, the heater across them;
- what leaks: the divider of a resistance and, in series with it, a resistance and a capacitor (complex numbers);
- the mean current of LED A: the same half wave, less the drops of two diodes and the LED, over all resistance in its way.

Second road: the exact solver on the circuit itself.

Suspects and cures, first road: what stands behind the number of the case file. Second road: every reading of the faulty
circuit by the solver, put into words, and the one suspect of the printed list that shows all of them.

Minutes, first road: over all sets of readings, by the printed list. Second road: the words of every suspect worked out by
the solver on the learner's circuit, and sets of readings tried from the cheapest upwards.
"""

import cmath
import heapq
import math

from autograde.marking import Key
from halfcycle import meters
from halfcycle.workbook.service_calls import judged, least_minutes, met, sheet, suspects_left
from halfcycle.workbook.service_circuits import (
    HEATER_OHM,
    LEAD_OHM,
    RUN_OHM,
    SNUBBER_OHM,
    WINDING_OHM,
    board_input,
    valve_supply,
)
from halfcycle.workbook.service_lists import CALLS, SUSPECTS

__all__ = [
    "CURES_SECTION",
    "KEYS",
    "LEAKS",
    "LIST",
    "MINUTES",
    "NO_CAPACITOR",
    "ONE_LED",
    "half_wave_mean",
    "reactance",
    "sheet_peak",
]

NO_CAPACITOR = "A number for call 1: the board without its capacitor"
LEAKS = "A number for call 2: what leaks"
ONE_LED = "A number for call 3: the current of one LED"
LIST = "From readings to one suspect"
CURES_SECTION = "From the suspect to the cure"
MINUTES = "The fewest minutes"
_EXACT = {"rel_tol": 0.001}
_LED_PATH_OHM = 4.0 + 3 * 0.05 + 0.1 + LEAD_OHM + WINDING_OHM  # LED, diodes, contact, conductor, winding


def half_wave_mean(peak, drop):
    """Mean of a half wave of this peak behind a constant drop, V."""
    angle = math.asin(drop / peak)
    return (peak * math.cos(angle) - drop * (math.pi / 2 - angle)) / math.pi


def sheet_peak(c):
    """Peak of R to C at the valve by the sheet, V."""
    return sheet(1, c)["valve"] * math.sqrt(2)


def reactance(c):
    """Reactance of the snubber's capacitor, Ω."""
    return 1 / (2 * math.pi * c.hertz * c.snubber_farad)


def _no_capacitor(c):
    share = HEATER_OHM / (HEATER_OHM + WINDING_OHM + RUN_OHM)
    source_ohm = share * (WINDING_OHM + RUN_OHM)
    mean = half_wave_mean(c.volts_rms * math.sqrt(2) * share, c.drop_volts)
    return mean * c.load_ohm / (c.load_ohm + source_ohm)


def _leaking(c):
    other = complex(SNUBBER_OHM + WINDING_OHM, -reactance(c))
    return c.volts_rms * abs(cmath.polar(c.input_ohm / (c.input_ohm + other))[0])


def _led_milliamperes(c):
    mean = half_wave_mean(c.volts_rms * math.sqrt(2), c.led_path_volts)
    return 1000 * mean / (c.led_resistor_ohm + _LED_PATH_OHM)


def _diagnosed(call):
    """The one suspect whose words are those of every reading on the circuit as found."""

    def value(c):
        words = judged(call, c, SUSPECTS[met(call, c)].solver_name)
        (suspect,) = suspects_left(call, dict(enumerate(words, start=1)))
        return suspect

    return value


def _least(c):
    return sum(least_minutes(call, c, met(call, c)) for call in CALLS)


def _cheapest_first(c):
    return sum(_first_that_settles(call, c) for call in CALLS)


def _first_that_settles(call, c):
    words = {number: judged(call, c, SUSPECTS[number].solver_name) for number in CALLS[call].suspects}
    costs = [reading.cost(c) for reading in CALLS[call].readings]
    fault, queue = met(call, c), [(0, ())]
    while queue:
        minutes, taken = heapq.heappop(queue)
        seen = [[shown[place] for place in taken] for shown in words.values()]
        if seen.count([words[fault][place] for place in taken]) == 1:
            return minutes
        for place in range(taken[-1] + 1 if taken else 0, len(costs)):
            heapq.heappush(queue, (minutes + costs[place], (*taken, place)))
    raise AssertionError("no set of readings settles this call")


def _number(name, first, second, unit, roads, section, rel_tol):
    return Key(f"10-{name}", unit, 3, first, second, *roads, section, rel_tol=rel_tol)


def _suspect(name, call):
    roads = ("the case file", "all readings by the solver, against the printed list")
    return Key(f"10-{name}-suspect", "on the list", 2, lambda c: met(call, c), _diagnosed(call), *roads, LIST, **_EXACT)


def _cure(name, call):
    diagnosed = _diagnosed(call)
    roads = ("the case file's suspect and its cure", "the cure of the suspect that all readings by the solver leave")
    return Key(
        f"10-{name}-cure", "on the list", 1, lambda c: SUSPECTS[met(call, c)].cure, lambda c: SUSPECTS[diagnosed(c)].cure,
        *roads, CURES_SECTION, **_EXACT,
    )  # fmt: skip


KEYS = (
    _number(
        "valve-volts", _no_capacitor,
        lambda c: valve_supply(c.volts_rms, c.load_ohm, c.capacitor_farad, "capacitor open")["board dc"],
        "V", ("half wave behind one drop, source by Thévenin", "solver without the capacitor, dc meter"), NO_CAPACITOR, 0.02,
    ),
    _suspect("valve", 1),
    _cure("valve", 1),
    _number(
        "boiler-volts", _leaking,
        lambda c: meters.true_rms(board_input(c.volts_rms, c.input_ohm, c.snubber_farad, "bleeder open")["scope"]),
        "V", ("divider in complex numbers", "solver with the output off, true-rms meter"), LEAKS, 0.01,
    ),
    _suspect("boiler", 2),
    _cure("boiler", 2),
    _number(
        "heat-milliamperes", _led_milliamperes, lambda c: 1000 * sheet(3, c)["LED A"],
        "mA", ("half wave behind three drops", "solver, mean of the LED's current"), ONE_LED, 0.015,
    ),
    _suspect("heat", 3),
    _cure("heat", 3),
    Key(
        "10-minutes", "min", 3, _least, _cheapest_first,
        "every set of readings, by the printed list", "words by the solver, sets from the cheapest upwards", MINUTES, **_EXACT,
    ),
)  # fmt: skip

"""Lesson 09, two calls on one conductor: one learner's transformer, relay board, cable, wiring, fault and lists.

Resistors are preferred values (series E24 of IEC 60063). An LED of a small optoisolator drops 1.1 to 1.4 V (from memory);
silicon diodes are taken at 0.7 V. Old thermostat runs are of 18 to 22 AWG (common practice, no source).
"""

from halfcycle.variants import Draw
from halfcycle.wire import Wire

__all__ = ["DIODE_DROP_VOLTS", "DRAWS", "accept", "derived"]

DIODE_DROP_VOLTS = 0.7

DRAWS = {
    "volts_rms": Draw(
        tuple(round(24.0 + 0.1 * k, 1) for k in range(35)), "V", "R to C while the board works, true rms"
    ),
    "led_drop_volts": Draw((1.15, 1.2, 1.25, 1.3), "V", "the drop of each LED"),
    "led_resistor_ohm": Draw(
        (1200, 1300, 1500, 1600, 1800, 2000, 2200, 2400, 2700), "Ω", "the resistor of each LED's branch"
    ),
    "gauge_awg": Draw((18, 20, 22), "AWG", "gauge of the run's conductors"),
    "length_ft": Draw(tuple(range(60, 250, 10)), "ft", "length of the run, one way"),
    "coil_ohm": Draw((82, 90, 100, 110), "Ω", "each relay coil behind the board's outputs"),
    "wiring": Draw((2, 4, 5, 6, 7, 8), "", "the wiring you find: its number in the list of wirings"),
    "fault": Draw((1, 2, 3, 4, 5, 6, 8, 9), "", "your fault: its number in the list of faults"),
    "calls": Draw((5, 6, 7, 8, 9), "calls", "calls that the new thermostat has to send"),
    "pairs": Draw((2, 3), "pairs", "pairs of these calls that may share a conductor"),
    "common_needed": Draw((0, 1), "", "1: the new thermostat is fed over the run and needs C; 0: it has a battery"),
    "plan_1": Draw((1, 2, 3), "", "your first plan, by its number in the list of plans"),
    "plan_2": Draw((1, 2, 3), "", "your second plan"),
}


def accept(values):
    """Turn away lists in which every call shares, or in which two ways to miscount meet, and one plan drawn twice."""
    left_over = values["calls"] - 2 * values["pairs"]
    clear = values["pairs"] != 1 + values["common_needed"]
    return left_over >= 1 and clear and values["plan_1"] != values["plan_2"]


def derived(values):
    """Return the printed values that follow: the shared conductor's resistance, and the diodes' drop."""
    ohm = round(Wire(values["gauge_awg"], values["length_ft"]).one_way_ohm, 2)
    return {
        "wire_ohm": (ohm, "Ω", "the shared conductor, from end to end"),
        "diode_drop_volts": (DIODE_DROP_VOLTS, "V", "the drop of each plain diode"),
    }

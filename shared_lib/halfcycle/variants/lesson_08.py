"""Lesson 08, light across the gap: one channel of a relay board, its optoisolator, its snubber and what hangs on it.

Resistors and the snubber's capacitor are preferred values (IEC 60063). Small optoisolators with triac output are sold
with guaranteed trigger currents of 5 to 15 mA and more sensitive ones, LED drops of 1.1 to 1.4 V, and a window of 20 V
at most (from memory); electronic inputs of 10 to 100 kΩ and snubbers of 0.01 to 0.1 µF are common practice, no source.
"""

import math

from halfcycle.constants import PREFERRED
from halfcycle.variants import Draw

__all__ = ["DRAWS", "JOINTS", "accept", "derived"]

DIODE_DROP_VOLTS = 0.7
OUTPUT_DROP_VOLTS = 1.0
HERTZ = 60
METER_MEGOHM = 1
COIL_OHM = 90
JOINTS = {1: 0, 2: 1, 3: 2, 4: 2, 5: 1, 6: 1, 7: 2, 8: 2}
"""Joints of metal between the two sides of the board in each case of the lesson's list."""

DRAWS = {
    "volts_rms": Draw(tuple(round(24.0 + 0.1 * k, 1) for k in range(35)), "V", "each transformer's secondary, rms"),
    "led_drop_volts": Draw((1.15, 1.2, 1.25, 1.3), "V", "drop of the LED"),
    "led_resistor_ohm": Draw(
        (3900, 4300, 4700, 5100, 5600, 6200, 6800, 7500, 8200, 9100), "Ω", "LED resistor as you find it on the board"
    ),
    "wanted_amps": Draw(
        tuple(round(0.014 + 0.001 * k, 3) for k in range(19)), "A", "peak current you want in the LED, at most"
    ),
    "guaranteed_amps": Draw((0.004, 0.005, 0.006, 0.007), "A", "guaranteed trigger current, from the data sheet"),
    "trigger_amps": Draw((0.0025, 0.003, 0.0035, 0.004, 0.0045), "A", "trigger current of this one part, measured"),
    "inhibit_volts": Draw((13, 14, 15, 16, 17, 18), "V", "inhibit voltage: the output does not turn on above it"),
    "latching_amps": Draw((0.02, 0.025, 0.03, 0.035, 0.04, 0.05), "A", "latching current of the output"),
    "holding_amps": Draw((0.008, 0.01, 0.012, 0.015), "A", "holding current of the output"),
    "snubber_farad": Draw((22e-9, 33e-9, 47e-9), "F", "capacitor of the snubber across the output"),
    "input_ohm": Draw(
        (33000, 36000, 47000, 51000),
        "Ω",
        "resistance of the boiler control's input",
    ),
    "off_volts": Draw((4, 4.2, 4.4, 4.5, 4.6, 4.8, 5), "V", "the input is surely off up to here, rms"),
    "case_a": Draw((1, 4), "", "first case for 08-across, by its number in the list"),
    "case_b": Draw((2, 7), "", "second case for 08-across"),
    "case_c": Draw((3, 5), "", "third case for 08-across"),
    "case_d": Draw((6, 8), "", "fourth case for 08-across"),
}


def accept(values):
    """Turn away boards that would not tell the story (see the conditions), and choices that stand on a knife's edge."""
    peak = values["volts_rms"] * math.sqrt(2)
    dark = _dark_volts(values)
    least_ohm = (peak - dark) / values["wanted_amps"]
    new_ohm = _pick(least_ohm)
    watts = ((0.5 * peak - 0.64 * dark) / new_ohm) ** 2 * new_ohm
    joints = {JOINTS[values[f"case_{letter}"]] for letter in "abcd"}
    return (
        _story(values, peak, dark, new_ohm)
        and _clear(least_ohm)
        and all(abs(2 * watts / step - 1) > 0.03 for step in (0.125, 0.25, 0.5, 1.0))
        and values["latching_amps"] >= 1.5 * values["holding_amps"]
        and _snubber_is_clear(values)
        and {1, 2} <= joints
    )


def derived(values):
    """Return the printed values that all boards share."""
    return {
        "diode_drop_volts": (DIODE_DROP_VOLTS, "V", "drop of each of the two diodes in series with the LED"),
        "output_drop_volts": (OUTPUT_DROP_VOLTS, "V", "drop of the output while it is on"),
        "hertz": (HERTZ, "Hz", "frequency of the supply"),
        "coil_ohm": (COIL_OHM, "Ω", "resistance of the pump relay's coil"),
        "meter_megohm": (METER_MEGOHM, "MΩ", "input resistance of your meter"),
    }


def _story(values, peak, dark, new_ohm):
    """As found: above this part's trigger current, but clearly after the window, also with one diode less (as on the bench).

    With the new resistor: in time, guaranteed.
    """
    late_volts = values["trigger_amps"] * values["led_resistor_ohm"] + dark
    timely_volts = values["guaranteed_amps"] * new_ohm + dark
    return (
        values["trigger_amps"] <= 0.85 * values["guaranteed_amps"]
        and values["inhibit_volts"] + 3.0 <= late_volts <= min(0.95 * values["volts_rms"], 0.85 * peak)
        and timely_volts <= values["inhibit_volts"] - 2.1
    )


def _snubber_is_clear(values):
    """The input stands half on; every way to work out the bleeder leads to a preferred value of its own."""
    volts, limit = values["volts_rms"], values["off_volts"]
    reactance = 1 / (2 * math.pi * HERTZ * values["snubber_farad"])
    most_ohm = reactance * limit / math.sqrt(volts**2 - limit**2)
    plain_ohm = reactance * limit / (volts - limit)
    next_up = _pick(most_ohm)
    return (
        0.38 <= values["input_ohm"] / reactance <= 0.66
        and _clear(most_ohm)
        and abs(_pick(plain_ohm, down=True) / next_up - 1) > 0.03
    )


def _dark_volts(values):
    return 2 * DIODE_DROP_VOLTS + values["led_drop_volts"]


def _pick(ohm, *, down=False):
    """The preferred value (E24) next above, or with `down` next below."""
    decade = 10.0 ** math.floor(math.log10(ohm))
    steps = [base * decade for base in (*PREFERRED["E24"], 10.0)]
    return max(s for s in steps if s <= ohm) if down else min(s for s in steps if s >= ohm)


def _clear(ohm):
    """Whether a resistance is 3 % away from the preferred values on both sides."""
    return ohm * 1.03 <= _pick(ohm) and _pick(ohm, down=True) * 1.03 <= ohm

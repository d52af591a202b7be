"""Lesson 10, the service call: one learner's three calls at the library, their parts, and what each reading costs in minutes.

Which fault stands behind each call follows from the number of the case file and is printed nowhere. Parts are preferred
values (IEC 60063). The minutes are invented; drops and sizes are usual ones (common practice, no source).
"""

from halfcycle.variants import Draw

__all__ = ["DRAWS", "derived"]

DRAWS = {
    "case_file": Draw(tuple(range(1000, 1250)), "", "number of your case file"),
    "volts_rms": Draw((25.5, 26.0, 26.5, 27.0, 27.5), "V", "R to C of each transformer with no load, rms"),
    "load_ohm": Draw((390, 470, 560), "Ω", "call 1: the valve's board, behind its diode"),
    "capacitor_farad": Draw((150e-6, 180e-6, 220e-6), "F", "call 1: the board's filter capacitor"),
    "input_ohm": Draw((33000, 39000, 47000), "Ω", "call 2: resistance of the boiler control's input"),
    "snubber_farad": Draw((22e-9, 33e-9, 47e-9), "F", "call 2: capacitor of the snubber across the output"),
    "led_resistor_ohm": Draw((1500, 1800, 2200), "Ω", "call 3: resistor of each LED, by the board's drawing"),
    "stairs_minutes": Draw((4, 5, 6, 7, 8, 9), "min", "to climb to another floor and back"),
    "lift_minutes": Draw((3, 4, 5, 6, 7, 8), "min", "to switch off, lock, and lift one wire"),
    "scope_minutes": Draw((12, 14, 16, 18), "min", "to set up the scope and take a capture"),
}


def derived(values):
    """Return the printed values that all learners share."""
    return {
        "drop_volts": (0.8, "V", "call 1: drop of the board's diode"),
        "led_path_volts": (2.6, "V", "call 3: all drops in series with LED A: two diodes and the LED itself"),
        "hertz": (60, "Hz", "frequency of the supply"),
    }

"""Lesson 04, four diodes: a valve actuator with a bridge, and a half-wave thermostat on the same grounded secondary.

The resistance of the winding follows from the rating: all of its regulation is taken as resistance (regulation =
(no-load − full-load)/full-load). Loads are preferred values (series E24 of IEC 60063). A silicon diode drops 0.8 to 1.0 V
at such currents, and such a bridge feeds 2 to 7 W (common practice, no source).
"""

from halfcycle.variants import Draw

__all__ = ["DRAWS", "accept", "derived"]

RATED_VOLTS = 24
DIODES = 4
_CARDS = tuple(range(1, 9))

DRAWS = {
    "volt_amperes": Draw((40, 50, 60, 75), "VA", "rated load of the transformer"),
    "regulation_percent": Draw((6, 7, 8, 9, 10, 11, 12, 13, 14, 15), "%", "regulation of the transformer"),
    "drop_volts": Draw((0.80, 0.85, 0.90, 0.95, 1.00), "V", "the drop of each diode while it conducts"),
    "load_ohm": Draw(
        (91, 100, 110, 120, 130, 150, 160, 180, 200, 220), "Ω", "the actuator's motor board, behind its bridge"
    ),
    "generator_hertz": Draw(
        (57, 57.5, 58, 58.5, 61.5, 62, 62.5, 63), "Hz", "the standby generator, while the street is out"
    ),
    "wire_ohm": Draw(
        (0.20, 0.25, 0.30, 0.35, 0.40), "Ω", "all conductors of the loop that the new wire closes, together"
    ),
    "r_terminal": Draw((1, 2), "", "terminal of the bridge on which R lands (C lands on the other ac terminal)"),
    "joined_terminal": Draw((3, 4), "", "terminal of the bridge that the new wire joins to C"),
    "wiring_a": Draw(_CARDS, "", "your wiring A: the card with this number"),
    "wiring_b": Draw(_CARDS, "", "your wiring B: the card with this number"),
    "wiring_c": Draw(_CARDS, "", "your wiring C: the card with this number"),
    "wiring_d": Draw(_CARDS, "", "your wiring D: the card with this number"),
}


def accept(values):
    """Turn away a transformer too stiff or too soft, four cards that are not of different kinds, and the lesson's own short."""
    cards = {values[f"wiring_{letter}"] for letter in "abcd"}
    kinds = 3 in cards and cards & {2, 5, 7} and cards & {4, 6, 8}
    worked = (values["r_terminal"], values["joined_terminal"]) == (1, 4)
    return not worked and 0.65 <= _winding_ohm(values) <= 1.6 and len(cards) == 4 and bool(kinds)


def derived(values):
    """Return the printed values that follow: the transformer without load, its resistance, what a meter reads at R and C."""
    return {
        "volts_rms": (_no_load_volts(values), "V", "R to C with no load, true rms"),
        "resistance_ohm": (_winding_ohm(values), "Ω", "resistance of the transformer, seen from its secondary"),
        "running_volts": (_running_volts(values), "V", "R to C while the actuator runs, true rms"),
        "diodes": (DIODES, "", "number of diodes in the actuator's supply"),
    }


def _no_load_volts(values):
    return RATED_VOLTS * (100 + values["regulation_percent"]) / 100


def _winding_ohm(values):
    return round(RATED_VOLTS**2 * values["regulation_percent"] / 100 / values["volt_amperes"], 2)


def _running_volts(values):
    share = values["load_ohm"] / (values["load_ohm"] + _winding_ohm(values))
    return round(_no_load_volts(values) * share, 1)

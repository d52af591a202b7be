"""The learner's own circuit in lesson 05: one diode and a capacitor that feed a relay board.

The resistance of the source follows from the transformer's rating: all of its regulation is taken as resistance
(regulation = (no-load − full-load)/full-load). Capacitors and resistors are preferred values of IEC 60063.
"""

from halfcycle.variants import Draw

__all__ = ["DRAWS", "accept", "derived"]

RATED_VOLTS = 24
HERTZ = 60
DROP_VOLTS = 0.7
DIODE_OHM = 0.05
HIGH_LINE_PERCENT = 10

DRAWS = {
    "volt_amperes": Draw((40, 50, 60, 75, 80, 100), "VA", "rated load of the transformer"),
    "regulation_percent": Draw((5, 6, 7, 13, 14, 15, 16, 18), "%", "regulation of the transformer"),
    "load_ohm": Draw(
        (150, 160, 180, 200, 220, 240, 270, 300, 330, 360, 390, 430, 470, 510, 560, 620, 680),
        "Ω",
        "resistance of the relay board",
    ),
    "capacitor_microfarad": Draw((220, 270, 330, 390, 470, 560, 680), "µF", "capacitor across the relay board"),
    "dropout_volts": Draw((11, 12, 16, 17, 18), "V", "voltage at which the board's relay lets go"),
    "board_milliamps": Draw(
        (35, 50, 60, 70, 75, 85, 90, 105, 110, 125, 130, 135, 150, 155, 160, 165), "mA", "current of the second board"
    ),
    "wanted_ripple_volts": Draw((1.6, 2.0, 2.4), "V", "ripple wanted at the second board, peak to peak"),
    "margin_percent": Draw((5, 6, 8, 10, 30, 35, 40), "%", "margin the shop wants on the capacitor's working voltage"),
    "bleeder_ohm": Draw(
        (1800, 2200, 2700, 3300, 3900, 4700, 5600, 6800, 8200), "Ω", "bleeder resistor across the capacitor"
    ),
}


def accept(values):
    """Turn away circuits no one would build: too much load or ripple, or a source too stiff or too soft to be one transformer."""
    peak = _no_load_volts(values) * 2**0.5 - DROP_VOLTS
    swing = 1e6 / (HERTZ * values["load_ohm"] * values["capacitor_microfarad"])
    enough_transformer = 3 * peak**2 / values["load_ohm"] <= values["volt_amperes"]
    return enough_transformer and 0.06 <= swing <= 0.30 and 0.7 <= _source_ohm(values) <= 1.6


def derived(values):
    """Return the printed values that follow: the transformer without load, its resistance, and what all circuits share."""
    return {
        "volts_rms": (_no_load_volts(values), "V", "secondary voltage with no load, rms"),
        "source_ohm": (_source_ohm(values), "Ω", "resistance of the transformer, seen from its secondary"),
        "hertz": (HERTZ, "Hz", "frequency of the supply"),
        "drop_volts": (DROP_VOLTS, "V", "drop of the diode"),
        "diode_ohm": (DIODE_OHM, "Ω", "on-resistance of the diode"),
        "high_line_percent": (HIGH_LINE_PERCENT, "%", "most the line can stand above normal"),
    }


def _no_load_volts(values):
    return RATED_VOLTS * (100 + values["regulation_percent"]) / 100


def _source_ohm(values):
    return round(RATED_VOLTS**2 * values["regulation_percent"] / 100 / values["volt_amperes"], 2)

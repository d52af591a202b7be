"""Lesson 00, before you open the panel: the boiler's transformer, its fuses, a charged capacitor, a scope lead, three sheets.

The regulation of a small transformer is 10 to 20 %, all of it taken as resistance. Fuses are common sizes: the line's at 1.25 to 4
times its rated current, the 24 V side's at 1 to 2 times and within NEC chapter 9 table 11(A). Bleeders are E12 values of
IEC 60063. A sheet is a number that says which cards a learner gets and in which order. Sizes: common practice, no source.
"""

from itertools import pairwise

from halfcycle.constants import CLASS_2
from halfcycle.variants import Draw

__all__ = ["DRAWS", "accept", "derived"]

RATED_VOLTS = 24

DRAWS = {
    "line_volts": Draw((120, 208, 240, 277), "V", "line voltage in the panel, rms"),
    "volt_amperes": Draw((40, 50, 60, 75, 80), "VA", "rated load of the boiler's transformer"),
    "regulation_percent": Draw(tuple(range(10, 21)), "%", "its regulation (the bench uses it; lesson 01 explains it)"),
    "parts_sheet": Draw(tuple(range(1, 61)), "", "number of your sheet of parts"),
    "order_sheet": Draw(tuple(range(1, 61)), "", "number of your sheet of steps"),
    "capacitor_microfarad": Draw((1000, 1500, 2200, 3300, 4700), "µF", "the capacitor on the old relay board"),
    "bleed_ohm": Draw(
        (330, 390, 470, 560, 680, 820, 1000, 1200, 1500, 1800, 2200), "Ω", "the bleed resistor in the van"
    ),
    "wanted_seconds": Draw((1.5, 2, 2.5, 3, 4, 5, 6, 8), "s", "time in which the new bleeder must do it"),
    "clip_sheet": Draw(tuple(range(1, 61)), "", "number of your sheet of connections"),
    "lead_ohm": Draw((0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4), "Ω", "the scope's ground lead and its way back"),
    "wire_ohm": Draw((0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.1, 1.2), "Ω", "each of the two conductors of the run"),
    "line_fuse_amps": Draw((0.5, 0.75, 1, 1.25, 1.5, 2), "A", "fuse F1, in the line, before the transformer"),
    "panel_fuse_amps": Draw((2, 2.5, 3, 4), "A", "fuse F2, at the transformer's 24 V side"),
    "zone_fuse_amps": Draw((1, 1.25, 1.5, 2), "A", "fuse F3, at the end of the run"),
    "short_place": Draw((1, 2), "", "place of the short: 1 before F3, 2 behind F3"),
}


def accept(values):
    """Turn away fuses and bleeders no one would fit, and resistances for which one way of reckoning looks like another."""
    rated_amps = values["volt_amperes"] / RATED_VOLTS
    line_amps = values["volt_amperes"] / values["line_volts"]
    wire, source, no_load = values["wire_ohm"], _source_ohm(values), _volts_rms(values)
    short_amps = no_load / (source + 2 * wire)
    line_short_amps = short_amps * no_load / values["line_volts"]
    return (
        1.25 * line_amps <= values["line_fuse_amps"] <= 4 * line_amps
        and rated_amps <= values["panel_fuse_amps"] <= min(2 * rated_amps, _class_2_fuse_amps())
        and values["zone_fuse_amps"] <= 0.7 * values["panel_fuse_amps"]
        and short_amps / values["panel_fuse_amps"] >= 1.5 * max(1, line_short_amps / values["line_fuse_amps"])
        and 0.6 <= values["bleed_ohm"] * values["capacitor_microfarad"] * 1e-6 <= 5
        and _apart(_ways(no_load, rated_amps, source, values["lead_ohm"], source + values["lead_ohm"]))
        and _apart(_ways(no_load, rated_amps, source, 2 * wire, source + 2 * wire, source + wire))
    )


def _ways(volts, rated_amps, source, lead, loop, *others):
    """Currents to which different ways of reckoning lead, A."""
    amps = volts / loop
    return (rated_amps, RATED_VOLTS / loop, amps * 2**0.5, *(volts / ohm for ohm in (source, lead, loop, *others)))


def _apart(amps):
    return all(after / before > 1.025 for before, after in pairwise(sorted(amps)))


def derived(values):
    """Return the printed values that follow: rated voltage, no-load voltage, resistance of the winding."""
    return {
        "rated_volts": (RATED_VOLTS, "V", "rated voltage of the transformer, rms"),
        "volts_rms": (_volts_rms(values), "V", "its voltage with no load, rms"),
        "source_ohm": (_source_ohm(values), "Ω", "resistance of the transformer, seen from R and C"),
    }


def _volts_rms(values):
    return round(RATED_VOLTS * (100 + values["regulation_percent"]) / 100, 2)


def _source_ohm(values):
    return round(values["regulation_percent"] / 100 * RATED_VOLTS**2 / values["volt_amperes"], 3)


def _class_2_fuse_amps():
    return float(CLASS_2["overcurrent protection × volts"]) / RATED_VOLTS

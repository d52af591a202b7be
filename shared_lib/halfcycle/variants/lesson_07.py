"""Lesson 07, where the filter goes: a bus with a pulse-charging actuator, a snubber, a choke and capacitor, a claim to test.

Resistors, capacitors and chokes are preferred values (series E24 and E12 of IEC 60063). All of a regulation of 10 % is
taken as resistance of the winding; the leakage falls as the rating grows, 0.3 mH at 40 VA (typical, from memory). Two
supercapacitors of 4 to 8 F and 2.5 V in series hold 25 to 50 J (½·C·V² of the pair; values common practice).
"""

from itertools import permutations

from halfcycle.variants import Draw

__all__ = ["BESIDES", "DRAWS", "accept", "box_kinds", "derived"]

RATED_VOLTS = 24
REGULATION = 0.1
PULSES_PER_CYCLE = 6
STORE_VOLTS = 2.5
HERTZ = 60
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10.0)
_CARDS = tuple(range(1, 9))
_CALMING, _ONE_DEVICE, _LINE_SIDE = {1, 2, 3}, {4, 8}, {5, 6}
BESIDES = ("feed", "straight", "weak", "line")  # what the fourth box may be, besides the three that each lot has
_ORDERS = tuple(
    order for fourth in BESIDES for order in permutations(("snubber", "lc", "other loads", fourth))
)  # 96, each with a lot number of its own
_FIRST_LOT = 2304

DRAWS = {
    "volt_amperes": Draw((40, 60), "VA", "rated load of the transformer"),
    "bus_load_ohm": Draw((82, 91, 100, 110, 120), "Ω", "all other loads on the bus together"),
    "snubber_ohm": Draw((22, 33, 47), "Ω", "resistor of your snubber"),
    "snubber_microfarad": Draw((3.3, 4.7, 6.8, 10), "µF", "capacitor of your snubber"),
    "sheet_decibels": Draw((4, 5, 8, 9, 11, 13, 14, 15, 17), "dB", "what the maker's sheet says that the spike is lowered by"),
    "sheet_top_volts": Draw((117, 128, 141, 155, 168, 181, 196, 214), "V", "on the sheet, before: highest voltage of the spike"),
    "sheet_wave_volts": Draw((31, 32, 33, 34), "V", "on the sheet, before: the wave itself at that instant"),
    "feed_milliamps": Draw(
        (65, 72, 80, 88, 95, 104, 115, 124, 138, 150), "mA", "mean current that the actuator takes out of its feed's capacitor"
    ),
    "ripple_limit_volts": Draw((1.5, 2.0, 2.5, 3.0, 3.5), "V", "most ripple allowed on the feed's capacitor, peak to peak"),
    "store_joules": Draw((25, 31.25, 37.5, 43.75, 50), "J", "energy that fills the actuator's store"),
    "choke_millihenry": Draw((12, 15, 18, 22, 27, 33), "mH", "choke ahead of your thermostat"),
    "lc_microfarad": Draw((22, 33, 39, 47, 56, 68), "µF", "capacitor at your thermostat"),
    "place_a": Draw(_CARDS, "", "your place A: the card with this number"),
    "place_b": Draw(_CARDS, "", "your place B: the card with this number"),
    "place_c": Draw(_CARDS, "", "your place C: the card with this number"),
    "place_d": Draw(_CARDS, "", "your place D: the card with this number"),
    "lot": Draw(tuple(range(_FIRST_LOT, _FIRST_LOT + len(_ORDERS))), "", "lot number of your four boxes"),
}  # fmt: skip


def accept(values):
    """Turn away a capacitor on the edge between two preferred values, a choke that lifts next to nothing or far too much,
    and four places that are not of different kinds."""
    least = 1e3 * values["feed_milliamps"] / (HERTZ * values["ripple_limit_volts"])
    digits = least / 10 ** (len(str(int(least))) - 1)
    on_the_edge = any(abs(digits / value - 1) < 0.025 for value in _E12)
    lift = (2 * 3.14159 * HERTZ) ** 2 * values["choke_millihenry"] * values["lc_microfarad"] * 1e-9
    cards = {values[f"place_{letter}"] for letter in "abcd"}
    kinds = cards & _CALMING and cards & _ONE_DEVICE and cards & _LINE_SIDE
    return not on_the_edge and 0.05 <= lift <= 0.24 and len(cards) == 4 and bool(kinds)


def derived(values):
    """Return the printed values that follow: the transformer without load, its resistance and leakage, the bus under load."""
    return {
        "volts_rms": (_no_load_volts(), "V", "R to C with no load, true rms"),
        "resistance_ohm": (_winding_ohm(values), "Ω", "resistance of the transformer, seen from its secondary"),
        "leakage_henry": (round(0.012 / values["volt_amperes"], 6), "H", "leakage inductance of the transformer"),
        "bus_rms_volts": (_bus_volts(values), "V", "R to C on the bus under load, true rms"),
        "pulses_per_cycle": (PULSES_PER_CYCLE, "", "pulses of the actuator's charger in a cycle of the supply"),
        "store_volts": (STORE_VOLTS, "V", "voltage of the actuator's store, at half charge"),
    }


def box_kinds(lot):
    """What the four boxes of a lot are, in the order A to D: "snubber", "lc", "other loads", and one of `BESIDES`.

    >>> sorted(box_kinds(2304))
    ['feed', 'lc', 'other loads', 'snubber']
    """
    return _ORDERS[(lot - _FIRST_LOT) * 29 % len(_ORDERS)]


def _no_load_volts():
    return round(RATED_VOLTS * (1 + REGULATION), 1)


def _winding_ohm(values):
    return round(RATED_VOLTS**2 * REGULATION / values["volt_amperes"], 2)


def _bus_volts(values):
    return round(_no_load_volts() * values["bus_load_ohm"] / (values["bus_load_ohm"] + _winding_ohm(values)), 1)

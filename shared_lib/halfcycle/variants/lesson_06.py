"""Lesson 06, a pulse-charging actuator: its two supercapacitors, its charging, and the bus it charges from.

The supercapacitors are preferred values (series E12 of IEC 60063) of 2.5 or 2.7 V. All transformers have 10 % regulation
(on full load), taken as resistance; leakage 0.3 mH at 40 VA, less where the rating is higher (typical, from memory). What
the solver finds for each of the 45 buses stands in a table, so that a draw costs nothing and is the same everywhere.
"""

import math

from halfcycle.variants import Draw

__all__ = ["DRAWS", "MEASURED", "accept", "derived"]

DRAWS = {
    "supercap_farad": Draw((2.2, 2.7, 3.3, 3.9, 4.7, 5.6), "F", "each of the two supercapacitors"),
    "supercap_volts": Draw((2.5, 2.7), "V", "each of the two supercapacitors, when it is full"),
    "hold_milliamps": Draw(
        (3, 4, 5, 6, 8), "mA", "what the actuator's board takes from the store while it does not charge"
    ),
    "lowest_volts": Draw((3.0, 3.2, 3.5), "V", "lowest voltage of the whole store with which the valve still closes"),
    "calls_per_hour": Draw((2, 3, 4, 5, 6), "", "calls in an hour; each one uses up the store"),
    "volt_amperes": Draw((40, 50, 75), "VA", "rated load of the transformer"),
    "bus_load_ohm": Draw((22, 27, 33, 39, 47), "Ω", "all other loads on the bus together"),
    "pulses_per_cycle": Draw((8, 10, 12), "", "how often the actuator's switch closes in one cycle of 60 Hz"),
    "threshold_volts": Draw(
        (20, 30, 40, 50, 60), "V", "thermostat's input: threshold, counted from the undisturbed sine"
    ),
    "qualify_microseconds": Draw((2, 3, 4, 5, 6, 8), "µs", "thermostat's input: qualifying time"),
}

WINDINGS = {40: (1.44, 0.30e-3), 50: (1.15, 0.24e-3), 75: (0.77, 0.16e-3)}  # Ω, H
PULSE_S, INDUCTANCE_HENRY, STORE_VOLTS = 150e-6, 1.2e-3, 4.0
MEASURED = {  # (VA, pulses a cycle, Ω): mean W into a store of 2 × 2.5 V and of 2 × 2.7 V while it charges from empty; rms V
    # of the bus while it charges and at rest; rms mA of the feed; µs of a spike at half height; V of each spike of a cycle
    (40, 8, 22): (0.531, 0.541, 24.77, 24.76, 256.4, 9.22, (42.5, 59.2, 40.5)),
    (40, 8, 27): (0.536, 0.547, 25.07, 25.05, 257.5, 7.69, (53.4, 74.3, 50.8)),
    (40, 8, 33): (0.541, 0.551, 25.32, 25.28, 258.3, 6.46, (66.2, 92.1, 62.9)),
    (40, 8, 39): (0.544, 0.555, 25.51, 25.44, 258.9, 5.60, (78.7, 109.4, 74.8)),
    (40, 8, 47): (0.546, 0.558, 25.68, 25.60, 259.4, 4.79, (95.0, 131.9, 90.1)),
    (40, 10, 22): (0.666, 0.679, 24.78, 24.76, 286.5, 9.22, (35.4, 56.6, 55.8, 33.2)),
    (40, 10, 27): (0.673, 0.686, 25.08, 25.05, 287.8, 7.69, (44.5, 71.1, 70.0, 41.6)),
    (40, 10, 33): (0.678, 0.692, 25.34, 25.28, 288.7, 6.46, (55.2, 88.2, 86.8, 51.5)),
    (40, 10, 39): (0.682, 0.696, 25.52, 25.44, 289.3, 5.60, (65.7, 104.8, 103.1, 61.2)),
    (40, 10, 47): (0.685, 0.699, 25.71, 25.60, 289.9, 4.79, (79.3, 126.4, 124.3, 73.6)),
    (40, 12, 22): (0.819, 0.827, 24.79, 24.76, 313.0, 9.22, (30.2, 51.8, 59.2, 50.4, 27.8)),
    (40, 12, 27): (0.828, 0.837, 25.10, 25.05, 314.3, 7.69, (37.9, 65.0, 74.3, 63.2, 34.8)),
    (40, 12, 33): (0.835, 0.844, 25.36, 25.28, 315.4, 6.46, (47.1, 80.6, 92.1, 78.3, 43.1)),
    (40, 12, 39): (0.840, 0.849, 25.56, 25.44, 316.1, 5.60, (56.1, 95.9, 109.4, 93.1, 51.2)),
    (40, 12, 47): (0.845, 0.854, 25.75, 25.60, 316.7, 4.79, (67.7, 115.6, 131.9, 112.2, 61.6)),
    (50, 8, 22): (0.588, 0.600, 25.09, 25.07, 268.8, 7.51, (45.9, 63.9, 43.7)),
    (50, 8, 27): (0.593, 0.605, 25.33, 25.31, 270.0, 6.26, (57.3, 79.7, 54.5)),
    (50, 8, 33): (0.598, 0.610, 25.54, 25.50, 270.9, 5.26, (70.7, 98.2, 67.1)),
    (50, 8, 39): (0.601, 0.613, 25.68, 25.63, 271.5, 4.56, (83.7, 116.3, 79.4)),
    (50, 8, 47): (0.604, 0.616, 25.83, 25.75, 272.1, 3.91, (100.5, 139.5, 95.2)),
    (50, 10, 22): (0.737, 0.753, 25.09, 25.07, 300.4, 7.51, (38.3, 61.2, 60.2, 35.8)),
    (50, 10, 27): (0.745, 0.760, 25.34, 25.31, 301.7, 6.26, (47.8, 76.3, 75.1, 44.6)),
    (50, 10, 33): (0.750, 0.766, 25.55, 25.50, 302.7, 5.26, (59.0, 94.1, 92.6, 54.9)),
    (50, 10, 39): (0.754, 0.770, 25.70, 25.63, 303.4, 4.56, (69.9, 111.4, 109.5, 64.9)),
    (50, 10, 47): (0.758, 0.774, 25.85, 25.75, 304.0, 3.91, (83.9, 133.7, 131.4, 77.8)),
    (50, 12, 22): (0.916, 0.927, 25.10, 25.07, 328.2, 7.51, (32.6, 55.9, 63.9, 54.4, 30.0)),
    (50, 12, 27): (0.926, 0.937, 25.36, 25.31, 329.6, 6.26, (40.8, 69.8, 79.7, 67.8, 37.3)),
    (50, 12, 33): (0.933, 0.945, 25.57, 25.50, 330.7, 5.26, (50.3, 86.1, 98.2, 83.6, 46.0)),
    (50, 12, 39): (0.939, 0.950, 25.73, 25.63, 331.4, 4.56, (59.7, 101.9, 116.3, 98.9, 54.3)),
    (50, 12, 47): (0.943, 0.955, 25.90, 25.75, 332.1, 3.91, (71.6, 122.3, 139.5, 118.6, 65.1)),
    (75, 8, 22): (0.681, 0.696, 25.51, 25.50, 288.2, 5.15, (51.1, 71.1, 48.5)),
    (75, 8, 27): (0.687, 0.701, 25.68, 25.66, 289.3, 4.30, (63.2, 87.8, 59.9)),
    (75, 8, 33): (0.691, 0.706, 25.82, 25.79, 290.2, 3.62, (77.2, 107.2, 73.1)),
    (75, 8, 39): (0.694, 0.709, 25.92, 25.88, 290.8, 3.15, (90.8, 126.0, 85.9)),
    (75, 8, 47): (0.697, 0.712, 26.02, 25.96, 291.4, 2.72, (108.1, 149.9, 102.2)),
    (75, 10, 22): (0.865, 0.874, 25.51, 25.50, 322.1, 5.15, (42.7, 68.1, 67.0, 39.7)),
    (75, 10, 27): (0.873, 0.882, 25.68, 25.66, 323.3, 4.30, (52.8, 84.1, 82.7, 49.0)),
    (75, 10, 33): (0.879, 0.888, 25.82, 25.79, 324.3, 3.62, (64.5, 102.7, 101.0, 59.8)),
    (75, 10, 39): (0.883, 0.893, 25.93, 25.88, 325.0, 3.15, (75.8, 120.7, 118.6, 70.2)),
    (75, 10, 47): (0.887, 0.897, 26.03, 25.96, 325.6, 2.72, (90.3, 143.7, 141.1, 83.5)),
    (75, 12, 22): (1.079, 1.094, 25.52, 25.50, 351.8, 5.15, (36.4, 62.3, 71.1, 60.4, 33.2)),
    (75, 12, 27): (1.088, 1.103, 25.70, 25.66, 353.2, 4.30, (45.0, 76.9, 87.8, 74.6, 41.0)),
    (75, 12, 33): (1.096, 1.111, 25.85, 25.79, 354.2, 3.62, (55.0, 94.0, 107.2, 91.1, 50.0)),
    (75, 12, 39): (1.101, 1.116, 25.96, 25.88, 355.0, 3.15, (64.7, 110.5, 126.0, 107.0, 58.8)),
    (75, 12, 47): (1.106, 1.121, 26.07, 25.96, 355.7, 2.72, (77.1, 131.5, 149.9, 127.3, 69.9)),
}
_EDGE_MICROSECONDS, _EDGE_SHARE, _HEIGHT_SHARE = 0.4, 0.1, 0.06


def accept(values):
    """Turn away a thermostat for which no spike counts, all count that pass its threshold, or one is on the edge."""
    *_, width, heights = _measured(values)
    threshold, wanted = values["threshold_volts"], values["qualify_microseconds"]
    passing = [height for height in heights if height > threshold]
    times = [width / math.log(2) * math.log(height / threshold) for height in passing]
    edge = any(abs(time - wanted) < max(_EDGE_MICROSECONDS, _EDGE_SHARE * wanted) for time in times)
    edge |= any(abs(height / threshold - 1) < _HEIGHT_SHARE for height in heights)
    return not edge and 0 < sum(time > wanted for time in times) < len(passing)


def derived(values):
    """Return the printed values that follow: the transformer, the actuator's charger, and what meters read on the bus."""
    resistance, leakage = WINDINGS[values["volt_amperes"]]
    small, large, charging, rest, milliamps, *_ = _measured(values)
    return {
        "volts_rms": (26.4, "V", "the transformer with no load, true rms"),
        "resistance_ohm": (resistance, "Ω", "resistance of its winding"),
        "leakage_henry": (leakage, "H", "leakage inductance of its winding"),
        "pulse_s": (PULSE_S, "s", "how long the actuator's switch stays closed each time"),
        "inductance_henry": (INDUCTANCE_HENRY, "H", "the actuator's choke"),
        "store_volts": (STORE_VOLTS, "V", "the store at the moment of the capture"),
        "charging_watts": (
            small if values["supercap_volts"] < 2.6 else large,
            "W",
            "mean power into the store over a whole charge",
        ),
        "rest_volts": (rest, "V", "the bus with the actuator at rest, true rms"),
        "charging_volts": (charging, "V", "the bus while the actuator charges, true rms"),
        "charging_milliamps": (milliamps, "mA", "into the actuator while it charges, true rms"),
    }


def _measured(values):
    return MEASURED[values["volt_amperes"], values["pulses_per_cycle"], values["bus_load_ohm"]]

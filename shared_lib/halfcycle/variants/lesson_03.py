"""Lesson 03, one diode: a heater and a 12 V relay coil, both fed from one secondary through diodes of one make.

Resistances are preferred values (series E24 of IEC 60063); a heater takes 5 to 20 VA on straight ac, which a class 2
transformer gives without a noticeable fall. The drop is what a silicon rectifier diode shows at such currents
(0.8 to 1.0 V; common practice, no source).
"""

from halfcycle.variants import Draw

__all__ = ["DRAWS"]

DRAWS = {
    "volts_rms": Draw(
        tuple(round(23.0 + 0.1 * step, 1) for step in range(41)),
        "V",
        "the transformer's secondary, true rms, with everything running",
    ),
    "drop_volts": Draw((0.80, 0.85, 0.90, 0.95, 1.00), "V", "the drop of each diode while it conducts"),
    "load_ohm": Draw(
        (39, 43, 47, 51, 56, 62, 68, 75, 82, 91, 100, 110, 120), "Ω", "the resistance of the anti-frost heater"
    ),
    "coil_ohm": Draw(
        (82, 91, 100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270), "Ω", "the resistance of the relay coil"
    ),
}

"""Lesson 02, what the meter says, what the scope says: a fan's speed signal on a screen, a damper's pulses, a scope to set.

The speed signal itself follows from the number of its capture, so that it has to be read off the screen. The pulses are of
a 24 V control output that keeps a few volts on the line between pulses; the settings are those of a common scope (series
1-2-5, records of 1,000 to 10,000 samples, 8 to 12 bits). All of it is common practice, no source.
"""

from itertools import combinations

from halfcycle.variants import Draw

__all__ = ["DRAWS", "accept"]

DRAWS = {
    "capture_number": Draw(tuple(range(100, 199)), "", "speed signal: number of your capture in the scope's memory"),
    "volts_per_division": Draw((1, 2, 5), "V", "speed signal: scope setting, volts a division"),
    "ms_per_division": Draw((2, 5), "ms", "speed signal: scope setting, milliseconds a division"),
    "high_volts": Draw(
        tuple(round(22.0 + 0.2 * step, 1) for step in range(21)), "V", "damper pulses: voltage while the pulse is on"
    ),
    "low_volts": Draw(
        tuple(round(4.0 + 0.2 * step, 1) for step in range(16)), "V", "damper pulses: voltage between pulses"
    ),
    "high_ms": Draw(
        (1, 1.2, 1.5, 1.8, 2, 2.4, 2.5, 3, 3.2, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8), "ms", "damper pulses: how long one is on"
    ),
    "period_ms": Draw((6, 7, 8, 9, 12, 12.5, 14, 15, 16, 18, 22), "ms", "damper pulses: from one start to the next"),
    "sine_volts": Draw(
        (6, 6.2, 6.4, 6.6, 6.8, 7, 7.2, 7.4, 15, 15.5, 16, 16.5, 17, 17.5, 18, 18.5, 19),
        "V",
        "a sine that you want to see on the screen, rms",
    ),
    "record_samples": Draw((1000, 2000, 2500, 4000, 5000, 10000), "", "long record: samples in all"),
    "record_ms_per_division": Draw((5, 10, 20, 50), "ms", "long record: scope setting, milliseconds a division"),
    "spike_us": Draw((1.5, 2, 2.5, 3), "µs", "long record: width of a spike that you look for"),
    "bits": Draw((8, 10, 12), "", "bits of the scope's converter"),
    "coarse_volts_per_division": Draw((2, 5, 10, 20, 50), "V", "bits: scope setting, volts a division"),
}


def accept(values):
    """Keep what shows what it should.

    Volts and milliseconds a division that cannot be confused unseen; pulses whose readings lie well apart for every kind of
    meter; a record whose samples stand at least five spikes apart, and not eleven (there ten times what is caught is what is
    missed, and two slips could not be told apart).
    """
    apart_us = 1e4 * values["record_ms_per_division"] / values["record_samples"]
    return (
        (values["volts_per_division"], values["ms_per_division"]) in ((1, 5), (2, 5), (5, 2))
        and _tell_apart(values["high_volts"], values["low_volts"], values["high_ms"] / values["period_ms"])
        and 5 * values["spike_us"] <= apart_us <= 200
        and abs(100 * values["spike_us"] / apart_us - 100 / 11) > 0.5
    )


def _tell_apart(high, low, share):
    """Whether mean, rms, middle and the like of these pulses differ by 2 % at least, and an averaging meter from a true one."""
    if not (0.12 <= share <= 0.19 or 0.24 <= share <= 0.26 or 0.35 <= share <= 0.41):
        return False
    mean, square = share * high + (1 - share) * low, share * high**2 + (1 - share) * low**2
    alike = (mean, square**0.5, (square - mean**2) ** 0.5, (high + low) / 2, share**0.5 * high)
    return all(abs(one / other - 1) > 0.02 for one, other in combinations(alike, 2))

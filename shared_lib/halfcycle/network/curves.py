"""One margin as a curve of time: its value and slope, where it rises through zero, how high it may reach."""

from cmath import exp
from math import expm1, inf

import numpy as np

from .equations import Pattern

_NEWTON_NEAR = 1e-8
"""A step of Newton's method as part of a step of the grid, after which the next one would change nothing."""


class Curve:
    """One margin less the tolerance, as plain numbers: for a single instant that is quicker than arrays."""

    def __init__(self, pattern: Pattern, row: np.ndarray, tolerance: float):
        weights, rates = row.tolist(), pattern.exponents
        self.waves = [each for each in zip(weights, rates, strict=False) if each[0]]
        self.constant = weights[len(rates)].real - tolerance
        growths = [weight.real for weight in weights[len(rates) + 1 :]]
        self.growths = list(zip(growths, pattern.slow_rates.tolist(), strict=True)) if growths else ()

    def __call__(self, t: float) -> tuple[float, float]:
        """Value and slope at `t`."""
        value, slope = self.constant, 0.0
        for weight, rate in self.waves:
            wave = weight * exp(rate * t)
            value += wave.real
            slope += (rate * wave).real
        for weight, rate in self.growths:
            growth = expm1(rate * t)
            value += weight * growth / rate
            slope += weight * (growth + 1)
        return value, slope


def root(curve: Curve, low: float, high: float, at_low: float) -> float:
    """Where `curve` rises from `at_low` through zero between `low` and `high`: Newton's method, kept inside by halving."""
    at_high = curve(high)[0]
    near = max(1e-13 * high, _NEWTON_NEAR * (high - low))
    t = low + (high - low) * (at_low / (at_low - at_high) if at_high > 0 else 0.5)
    for _ in range(100):
        value, slope = curve(t)
        low, high = (low, t) if value > 0 else (t, high)
        new = t - value / slope if slope > 0 else inf
        if abs(new - t) <= near:
            return new
        if not low < new < high:
            new = 0.5 * (low + high)
        if high - low <= 1e-13 * high:
            return high
        t = new
    return high


def near(curve: Curve, t: float) -> float:
    """Where `curve` rises through zero close to `t`; infinity where Newton's method does not find it at once."""
    for _ in range(5):
        value, slope = curve(t)
        if slope <= 0:
            break
        before, t = t, t - value / slope
        if abs(t - before) <= 1e-13 * t:
            return t
    return inf


def hump(times: list[float], margins: list[float]) -> tuple[float, float]:
    """Of a parabola through three points: half its second derivative, whatever its sign, and no less than it reaches.

    What it may have over its highest point is what its steepest slope would rise in the whole time.
    """
    before, after = times[1] - times[0], times[2] - times[1]
    rise, fall = (margins[1] - margins[0]) / before, (margins[1] - margins[2]) / after
    bend = abs(rise + fall) / (before + after)
    return bend, max(margins) + max(abs(rise), abs(fall)) * (before + after)


def ceiling(curve: Curve, bend: float, at: float, low: float, high: float) -> float:
    """No more than this is `curve` between `low` and `high`: its tangent at an instant, and twice the bend."""
    value, slope = curve(at)
    return value + max(slope * (high - at), slope * (low - at)) + 2 * bend * (high - low) ** 2

"""One margin as a curve of time: its value and slope, where it rises through zero, how high a hump of it may reach."""

from math import cos, exp, expm1, inf, sin

import numpy as np

from .equations import Pattern

_NEWTON_NEAR = 1e-8
"""A step of Newton's method as part of a step of the grid, after which the next one would change nothing."""


class Curve:
    """One margin less the tolerance, as plain numbers: for a single instant that is quicker than arrays."""

    def __init__(self, pattern: Pattern, row: np.ndarray, tolerance: float):
        pairs, exponents = row.reshape(-1, 2).tolist(), pattern.exponents
        self.terms = [(c, s, *rate) for (c, s), rate in zip(pairs, exponents, strict=False) if c or s]
        self.constant = pairs[len(exponents)][0] - tolerance
        growths = [c for c, _ in pairs[len(exponents) + 1 :]]
        self.growths = list(zip(growths, pattern.slow_rates.tolist(), strict=True)) if growths else ()

    def __call__(self, t: float) -> tuple[float, float]:
        """Value and slope at `t`."""
        value, slope = self.constant, 0.0
        for c, s, decay, turn in self.terms:
            size = exp(decay * t) if decay else 1.0
            if turn:
                size_cos, size_sin = size * cos(turn * t), size * sin(turn * t)
                real, imag = c * size_cos - s * size_sin, c * size_sin + s * size_cos
                value += real
                slope += decay * real - turn * imag
            else:
                value += c * size
                slope += decay * c * size
        for c, rate in self.growths:
            value += c * expm1(rate * t) / rate
            slope += c * exp(rate * t)
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


def near(curve: Curve, t: float) -> float | None:
    """Where `curve` rises through zero close to `t`, or None where Newton's method does not find that at once."""
    for _ in range(5):
        value, slope = curve(t)
        if slope <= 0:
            return None
        before, t = t, t - value / slope
        if abs(t - before) <= 1e-13 * t:
            return t
    return None


def hump(times: list[float], margins: list[float]) -> tuple[float, float]:
    """Of a parabola through three points: half its second derivative, downwards, and what its top may have over them.

    The top is taken twice as high as it is, and more, for the margin is no parabola.
    """
    before, after = times[1] - times[0], times[2] - times[1]
    rise, fall = (margins[1] - margins[0]) / before, (margins[1] - margins[2]) / after
    bend = (rise + fall) / (before + after)
    slope = (rise * after - fall * before) / (before + after)
    return bend, bend and slope**2 / (2 * bend) + 0.25 * bend * min(before, after) ** 2

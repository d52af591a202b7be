"""The steady state of a reservoir capacitor, from its own two equations and not from the solver.

In each period of the pulses there are two stretches, with every angle in radians of the supply's cycle:

- The diode conducts from θ₁ to θ₂. The load voltage obeys dv/dθ = −a·v + b·(V sin θ − D), a line with a sine in
  it, so v is a sine, a constant and one decaying exponential.
- The diode blocks from θ₂ to θ₁ of the next pulse, and v falls as exp(−(θ − θ₂)/(ωRC)).

θ₂ is where the diode's current returns to zero; θ₁ is where the decayed voltage meets the rising source again.
Both are found here as roots by false position (Illinois rule). The diode is a constant drop and a resistance.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import asin, cos, degrees, exp, pi, sin

import numpy as np

__all__ = ["Reservoir", "SteadyState", "steady_state"]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


@dataclass(frozen=True)
class SteadyState:
    """What the meters and the scope show in the steady state; units in the names."""

    ripple_volts: float
    ripple_rms_volts: float
    mean_volts: float
    top_volts: float
    conduction_degrees: float
    diode_peak_amps: float
    source_rms_amps: float


@dataclass(frozen=True)
class Reservoir:
    """One diode (or four) feeding a capacitor and a load.

    Parameters
    ----------
    volts_peak : open-circuit peak of the secondary, V
    loop_ohm : source and conducting diodes together, Ω
    drop_volts : drop of the conducting diodes together, V
    load_ohm, capacitor_farad, hertz : Ω, F, Hz
    pulses : 1 charging pulse in a cycle (one diode) or 2 (four diodes)

    >>> round(Reservoir(34.0, 1.25, 0.7, 330.0, 470e-6).steady().mean_volts, 2)
    31.1
    """

    volts_peak: float
    loop_ohm: float
    drop_volts: float
    load_ohm: float
    capacitor_farad: float
    hertz: float = 60.0
    pulses: int = 1

    def steady(self) -> SteadyState:
        """Find both angles and read everything off the two stretches."""
        start = _root(self._misfit, asin(self.drop_volts / self.volts_peak) + 1e-9, pi / 2 - 1e-6)
        stop = self._stop(start)
        mean, ripple_rms, source_rms = self._meters(start, stop)
        low = _root(lambda angle: self._charging(angle, start), start, pi / 2)
        high = _root(lambda angle: self._charging(angle, start), pi / 2, stop)
        steepest = _root(lambda angle: self._amps_slope(angle, start), start, stop)
        top = self._volts(high, start)
        return SteadyState(
            ripple_volts=top - self._volts(low, start),
            ripple_rms_volts=ripple_rms,
            mean_volts=mean,
            top_volts=top,
            conduction_degrees=degrees(stop - start),
            diode_peak_amps=self._amps(steepest, start),
            source_rms_amps=source_rms,
        )

    def _meters(self, start: float, stop: float) -> tuple[float, float, float]:
        """Mean load volts (what the diode brings, the load takes), rms of its ripple, rms amps of the source.

        Gauss quadrature over the conducting stretch; the integral of a decaying square over the other.
        """
        period = 2 * pi / self.pulses
        angles = start + (stop - start) * (_NODES + 1) / 2
        amps = np.array([self._amps(angle, start) for angle in angles])
        volts = np.array([self._volts(angle, start) for angle in angles])
        share = _WEIGHTS * (stop - start) / 2 / period
        gone = 1 - exp(-2 * self._decay * (period + start - stop))
        square = float(share @ volts**2) + self._volts(stop, start) ** 2 * gone / (2 * self._decay * period)
        mean = self.load_ohm * float(share @ amps)
        return mean, (square - mean**2) ** 0.5, float(share @ amps**2) ** 0.5

    @property
    def _decay(self) -> float:
        return 1 / (2 * pi * self.hertz * self.capacitor_farad * self.load_ohm)

    @property
    def _pull(self) -> float:
        return 1 / (2 * pi * self.hertz * self.capacitor_farad * self.loop_ohm)

    def _source(self, angle: float) -> float:
        return self.volts_peak * sin(angle) - self.drop_volts

    def _forced(self, angle: float) -> float:
        a, b = self._decay + self._pull, self._pull
        swing = b * self.volts_peak / (1 + a * a)
        return swing * (a * sin(angle) - cos(angle)) - self.drop_volts * b / a

    def _volts(self, angle: float, start: float) -> float:
        """Load voltage while the diode conducts, V."""
        free = self._source(start) - self._forced(start)
        return self._forced(angle) + free * exp(-(self._decay + self._pull) * (angle - start))

    def _amps(self, angle: float, start: float) -> float:
        """Current of the conducting diode, A."""
        return (self._source(angle) - self._volts(angle, start)) / self.loop_ohm

    def _charging(self, angle: float, start: float) -> float:
        """What the diode brings above what the load takes, A: the slope of the load voltage."""
        return self._amps(angle, start) - self._volts(angle, start) / self.load_ohm

    def _amps_slope(self, angle: float, start: float) -> float:
        """Slope of the diode's current over the angle, times loop_ohm, V a radian."""
        rise = self._charging(angle, start) * self._pull * self.loop_ohm
        return self.volts_peak * cos(angle) - rise

    def _stop(self, start: float) -> float:
        """The current is still positive at the crest (the source rises until there), so it ends after it."""
        return _root(lambda angle: self._amps(angle, start), pi / 2, pi)

    def _misfit(self, start: float) -> float:
        stop = self._stop(start)
        idle = 2 * pi / self.pulses + start - stop
        return self._volts(stop, start) * exp(-self._decay * idle) - self._source(start)


@lru_cache(maxsize=8192)
def steady_state(*values) -> SteadyState:
    """`Reservoir(*values).steady()`, worked out once for each circuit."""
    return Reservoir(*values).steady()


def _root(f, low: float, high: float) -> float:
    """Root of f between low and high, where its sign changes: false position with the Illinois rule."""
    f_low, f_high = f(low), f(high)
    if f_low * f_high > 0:
        raise ValueError(
            f"no change of sign between {low:.6f} and {high:.6f} radians: this circuit has no such instant"
        )
    for _ in range(200):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_middle = f(middle)
        if f_middle * f_high < 0:
            low, f_low = high, f_high
        else:
            f_low /= 2
        high, f_high = middle, f_middle
        if f_high == 0 or abs(high - low) < 1e-13:
            break
    return high

"""Rectifiers to compare on, and the figures that are compared; shared by the reference tests and the benchmark."""

from dataclasses import dataclass

import numpy as np

from halfcycle import Supply
from halfcycle.network import Diode, ExponentialDiode, Network, Run
from halfcycle.rectifier import rectifier_network

__all__ = ["CASES", "WANTED", "Case", "figures", "spread"]

HERTZ = 60.0
WANTED = [("volts", "load"), ("amps", "D1"), ("amps", "secondary")]
_BY_OHM = 1e6
"""Across each diode where the supply has leakage inductance: with 1 GΩ alone ngspice's steps shrink to nothing."""


@dataclass(frozen=True)
class Case:
    """One rectifier; `settled_cycles` is how long a run from rest takes to be periodic to 10⁻⁵."""

    kind: str
    load_ohm: float
    farad: float = 0.0
    winding_ohm: float = 1.2
    leakage_henry: float = 0.0
    settled_cycles: int = 3

    def network(self, diode: Diode | ExponentialDiode | None = None) -> Network:
        supply = Supply(24.0, hertz=HERTZ, resistance_ohm=self.winding_ohm, leakage_henry=self.leakage_henry)
        net = rectifier_network(
            supply, kind=self.kind, load_ohm=self.load_ohm, capacitor_farad=self.farad, diode=diode or Diode()
        )
        if self.leakage_henry:
            for name in [n for n in net.parts if n.startswith("D")]:
                net.resistor(f"by {name}", *net.parts[name][1:], _BY_OHM)
        return net

    def __str__(self) -> str:
        words = [self.kind, f"{self.load_ohm:g} ohm"]
        words += [f"{1e6 * self.farad:g} uF"] * bool(self.farad)
        words += [f"{1e3 * self.leakage_henry:g} mH"] * bool(self.leakage_henry)
        return " ".join(words)


CASES = (
    Case("half", 200.0),
    Case("half", 200.0, winding_ohm=0.0),
    Case("bridge", 200.0),
    Case("half", 330.0, 100e-6, settled_cycles=12),
    Case("half", 330.0, 470e-6, settled_cycles=40),
    Case("bridge", 330.0, 470e-6, settled_cycles=30),
    Case("bridge", 33.0, 2200e-6, settled_cycles=20),
    Case("half", 200.0, leakage_henry=3e-3),
    Case("half", 330.0, 470e-6, leakage_henry=1e-3, settled_cycles=40),
    Case("bridge", 330.0, 470e-6, leakage_henry=1e-3, settled_cycles=30),
    Case("bridge", 100.0, 1000e-6, leakage_henry=3e-3, settled_cycles=20),
)


def spread(run: Run, begin_s: float, period_s: float, steps: int = 40_000) -> tuple[np.ndarray, dict]:
    """Instants over one period, corners included, with the quantities that are compared."""
    times = begin_s + np.linspace(0, period_s, steps + 1)
    corners = [piece.begin for piece in run.pieces if begin_s < piece.begin < begin_s + period_s]
    times = np.union1d(times, corners)
    return times, dict(zip(WANTED, run.quantities(WANTED, times), strict=True))


def figures(seconds: np.ndarray, values: dict) -> dict[str, float]:
    """Mean, rms and ripple of the load, V; peak and rms of a diode, rms of the source, A; conduction of a diode, s."""
    volts, diode, source = (values[key] for key in WANTED)
    span = seconds[-1] - seconds[0]

    def mean(wave: np.ndarray) -> float:
        return float(np.trapezoid(wave, seconds) / span)

    return {
        "load mean": mean(volts),
        "load rms": mean(volts**2) ** 0.5,
        "load ripple": float(np.ptp(volts)),
        "diode peak": float(diode.max()),
        "diode rms": mean(diode**2) ** 0.5,
        "source rms": mean(source**2) ** 0.5,
        "conduction": _time_above(seconds, diode, 1e-3),
    }


def _time_above(seconds: np.ndarray, wave: np.ndarray, level: float) -> float:
    """Seconds for which straight lines between the samples lie above `level`."""
    left, right = wave[:-1] - level, wave[1:] - level
    share = np.clip(np.maximum(left, right) / np.maximum(np.abs(left - right), 1e-300), 0, 1)
    return float(share @ np.diff(seconds))

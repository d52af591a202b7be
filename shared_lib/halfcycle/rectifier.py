"""One diode or four behind a transformer, with or without a capacitor: described here, solved by `network`."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .network import AnyDiode, Diode, Network, Run
from .solved import Solved, Steady, probe
from .supply import Supply
from .values import positive


def add_supply(net: Network, supply: Supply, plus: str, minus: str) -> None:
    """Put a transformer's secondary into `net` between two nodes: its open-circuit sine, then what is in series.

    The parts are called "secondary", and where they are not zero "winding" (Ω) and "leakage" (H).
    """
    outside = "secondary 1" if supply.resistance_ohm and supply.leakage_henry else plus
    inside = "secondary inside" if supply.resistance_ohm or supply.leakage_henry else plus
    net.voltage_source("secondary", inside, minus, volts_peak=supply.volts_peak, hertz=supply.hertz)
    if supply.resistance_ohm:
        net.resistor("winding", inside, outside, supply.resistance_ohm)
    if supply.leakage_henry:
        net.inductor("leakage", outside if supply.resistance_ohm else inside, plus, supply.leakage_henry)


def add_bridge(net: Network, line: str, other_line: str, plus: str, minus: str, diode: AnyDiode) -> None:
    """Put four diodes, D1 to D4, into `net` between the two ends of a supply and the two of its load."""
    ends = [(line, plus), (other_line, plus), (minus, line), (minus, other_line)]
    for number, (anode, cathode) in enumerate(ends, start=1):
        net.diode(f"D{number}", anode, cathode, diode)


def rectifier_network(
    supply: Supply, *, kind: str = "half", load_ohm: float, capacitor_farad: float = 0.0, diode: AnyDiode | None = None
) -> Network:
    """The circuit that `rectify` solves. Parts: secondary, winding, leakage, D1 (to D4), load, capacitor.

    Errors: ValueError where `kind` is neither "half" nor "bridge" or a part's value is not positive.
    """
    if kind not in ("half", "bridge"):
        raise ValueError(f'kind of rectifier must be "half" or "bridge", not {kind!r}')
    net = Network(ground="minus")
    add_supply(net, supply, "line", "minus" if kind == "half" else "other line")
    if kind == "half":
        net.diode("D1", "line", "plus", diode or Diode())
    else:
        add_bridge(net, "line", "other line", "plus", "minus", diode or Diode())
    net.resistor("load", "plus", "minus", load_ohm)
    if capacitor_farad:
        net.capacitor("capacitor", "plus", "minus", capacitor_farad)
    return net


class _Probed(Solved):
    """The waveforms that one probes on a rectifier."""

    load_volts = probe("load", "Voltage across the load (and the capacitor), V.")
    source_amps = probe("secondary", "Current out of the secondary, A; its mean is the dc in the winding.", sign=-1.0)
    diode_amps = probe("D1", "Current through diode D1, A.")
    diode_volts = probe("D1", "Voltage across D1, anode to cathode, V; the reverse peak is minus its least value.")


@dataclass(frozen=True)
class Rectified(_Probed):
    """What `rectify` returns: its exact `run` from rest, solved when first asked for, and the way to its steady state.

    Parameters
    ----------
    network : Network
    seconds, start_s : float, length and beginning of the run, s
    hertz : float, frequency of the supply, Hz
    samples_per_cycle : int, samples in a period
    """

    network: Network
    seconds: float
    start_s: float
    hertz: float
    samples_per_cycle: int

    @cached_property
    def run(self) -> Run:
        """The exact solution from an empty capacitor on."""
        return self.network.run(self.seconds, start_s=self.start_s)

    def steady(self) -> "SteadyRectified":
        """One period of the periodic steady state of the same circuit, beginning at the same phase.

        >>> from halfcycle import Supply
        >>> rectify(Supply(24.0), load_ohm=330.0, capacitor_farad=470e-6, cycles=1).steady().ripple_volts < 4
        True
        """
        run = self.network.steady(start_s=self.start_s)
        return SteadyRectified(self.network, run, self.hertz, self.samples_per_cycle)


class SteadyRectified(_Probed, Steady):
    """One period of the steady state, with the two figures that only a steady state has; parameters as `Rectified`."""

    @property
    def ripple_volts(self) -> float:
        """Ripple of the load voltage, peak to peak, V; the corners where a diode switches are met exactly."""
        corners = self.run.volts("load", np.array([piece.begin for piece in self.run.pieces]))
        return float(np.ptp(np.concatenate([self.load_volts.values, corners])))

    @property
    def conduction_degrees(self) -> float:
        """Degrees of one period in which diode D1 carries more than leakage, a microampere."""
        spans = np.array([(piece.begin, piece.end) for piece in self.run.pieces])
        carries = self.run.amps("D1", spans.mean(axis=1)) > 1e-6
        return float(360.0 * self.hertz * (spans[:, 1] - spans[:, 0])[carries].sum())


def rectify(
    supply: Supply,
    *,
    kind: str = "half",
    load_ohm: float,
    capacitor_farad: float = 0.0,
    diode: AnyDiode | None = None,
    cycles: float = 5,
    start_degrees: float = 0.0,
    samples_per_cycle: int = 2000,
) -> Rectified:
    """Switch a rectifier on, its capacitor empty, and solve it exactly.

    Parameters
    ----------
    supply : Supply
        The transformer's secondary with its series resistance and leakage inductance.
    kind : "half" or "bridge"
        One diode, or four.
    load_ohm : float
        Load, Ω.
    capacitor_farad : float
        Filter capacitor across the load, F; 0 for none.
    diode : Diode or ExponentialDiode
        Law of every diode; `Diode()` unless given.
    cycles : float
        Length of the run in periods of the supply.
    start_degrees : float
        Phase of the supply's sine at which it is switched on.
    samples_per_cycle : int
        Samples in a period of each waveform; both ends are included.

    Returns
    -------
    Rectified
        With `load_volts`, `source_amps`, `diode_amps`, `diode_volts` and `steady()`.

    Raises
    ------
    ValueError
        Unknown `kind`, a value that is not positive, or more samples than memory holds.

    Notes
    -----
    Constant-drop diode; the equations are solved between located switching instants (see `network`).
    With no source impedance and no capacitor the mean is that of a clipped half sine.

    >>> from halfcycle import Supply
    >>> round(float(rectify(Supply(24.0), load_ohm=200.0).steady().load_volts.values.max()), 2)
    33.23
    """
    if positive("number of cycles", cycles) > 200_000:
        raise ValueError(f"a run of {cycles:g} cycles would fill the memory; 200,000 are the most")
    if int(samples_per_cycle) != samples_per_cycle or samples_per_cycle < 8:
        raise ValueError(f"samples_per_cycle must be a whole number of at least 8, not {samples_per_cycle!r}")
    net = rectifier_network(supply, kind=kind, load_ohm=load_ohm, capacitor_farad=capacitor_farad, diode=diode)
    return Rectified(net, cycles / supply.hertz, start_degrees / 360 / supply.hertz, supply.hertz, samples_per_cycle)

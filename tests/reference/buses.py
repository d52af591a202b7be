"""Spike-laden buses to compare on; shared by the reference tests and the benchmark."""

from dataclasses import dataclass

from halfcycle import Supply
from halfcycle.network import Diode, ExponentialDiode, Network
from halfcycle.spikes import Actuator, Filter, spike_network

__all__ = ["BUSES", "BUS_WANTED", "Bus"]

BUS_WANTED = [("volts", "bus load"), ("amps", "feed"), ("amps", "secondary")]
_BY_OHM = 1e5
"""Across the diodes and the charger's switch: ngspice's steps shrink to nothing on 1 GΩ behind an inductance."""


@dataclass(frozen=True)
class Bus:
    """A bus with a pulse-charging actuator and a filter in one place, its store held at 2 V."""

    place: str
    settled_cycles: int = 3
    options: str = "method=trap reltol=1e-6 abstol=1e-9 vntol=1e-6"
    farad = 0.0
    wanted = BUS_WANTED

    def network(self, diode: Diode | ExponentialDiode | None = None) -> Network:
        supply = Supply(26.0, hertz=60.0, resistance_ohm=1.0, leakage_henry=2e-3)
        actuator = Actuator(diode=diode or Diode())
        net = spike_network(supply, actuator, Filter(self.place), bus_load_ohm=200.0)
        for name in ("diode", "freewheel", "switch"):
            net.resistor(f"by {name}", *net.parts[name][1:], _BY_OHM)
        return net

    def __str__(self) -> str:
        return f"spike bus, filter: {self.place}"


BUSES = (Bus("none"), Bus("snubber"), Bus("lc"), Bus("feed", settled_cycles=40, options="method=gear reltol=1e-3"))

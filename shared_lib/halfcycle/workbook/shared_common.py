"""Two devices on 24 V: a half-wave thermostat and a bridge-fed actuator, and what a wire between their dc sides closes.

Terminals of the actuator's supply: 1 and 2 take ac, 3 is dc plus, 4 is dc minus. D1 leads from 1 to 3, D2 from 2 to 3,
D3 from 4 to 1, D4 from 4 to 2. The thermostat's transformer has its common, C, grounded.
"""

from dataclasses import dataclass, field
from functools import cached_property

from ..network import Diode, Network, Run
from ..supply import Supply
from ..waveforms import Waveform

__all__ = ["TwoDevices"]

_SAMPLES = 1000
_ON_OHM = 1e-4
_THERMOSTAT_OHM = 2200.0  # a thermostat's own supply takes some 10 mA (common practice, no source)
_BRIDGE = (("D1", "1", "3"), ("D2", "2", "3"), ("D3", "4", "1"), ("D4", "4", "2"))


@dataclass(frozen=True)
class TwoDevices:
    """The two devices on one transformer or two, as wired; solved in the steady state at 60 Hz.

    Parameters
    ----------
    supply : Supply, each transformer's secondary with its winding resistance
    drop_volts : drop of each diode, V; `on_ohm` its slope, Ω
    load_ohm : what the actuator's supply feeds, Ω
    wire_ohm : resistance of the conductors in the loop that the joining wire closes, Ω
    joined : terminal of the actuator on the thermostat's dc minus: 3, 4, or 0 for no wire
    r_terminal : ac terminal of the actuator on which R lands: 1 or 2
    actuator, thermostat : "bridge" or "half" (one diode; its dc minus is its ac terminal 2, the thermostat's is C)
    own_transformer : the actuator has a second transformer, whose common is grounded too unless `floating`
    grounded_case : the actuator's dc minus lies on its grounded case

    Errors: ValueError for a resistance that is not positive.

    >>> shorted = TwoDevices(Supply(24.0, resistance_ohm=1.0), drop_volts=0.8, load_ohm=100.0, wire_ohm=0.5)
    >>> round(shorted.most_amps, 1), shorted.hottest_diode, shorted.r_is_above
    (22.1, 'D3', False)
    """

    supply: Supply
    drop_volts: float
    load_ohm: float
    wire_ohm: float
    joined: int = 4
    r_terminal: int = 1
    actuator: str = "bridge"
    thermostat: str = "half"
    own_transformer: bool = False
    floating: bool = False
    grounded_case: bool = False
    on_ohm: float = field(default=_ON_OHM, kw_only=True)

    @cached_property
    def network(self) -> Network:
        """The circuit; its ground is the grounded common C."""
        net, diode = Network(ground="C"), Diode(self.drop_volts, self.on_ohm)
        _secondary(net, self.supply, "secondary", "R", "C")
        nodes = {"1": "R", "2": "C"}
        if self.own_transformer:
            nodes = {"1": "own R", "2": "own C" if self.floating else "C"}
            _secondary(net, self.supply, "own secondary", *nodes.values())
        if self.r_terminal == 2:
            nodes = {"1": nodes["2"], "2": nodes["1"]}
        minus = self._add_thermostat(net, diode)
        nodes |= {"3": "3", "4": "4" if self.actuator == "bridge" else nodes["2"]}
        for name, anode, cathode in _BRIDGE if self.actuator == "bridge" else _BRIDGE[:1]:
            net.diode(name, nodes[anode], nodes[cathode], diode)
        net.resistor("actuator", nodes["3"], nodes["4"], self.load_ohm)
        if self.joined and nodes[str(self.joined)] != minus:
            net.resistor("new wire", nodes[str(self.joined)], minus, self.wire_ohm)
        if self.grounded_case:
            net.resistor("case", nodes["4"], "C", self.wire_ohm)
        return net

    def _add_thermostat(self, net: Network, diode: Diode) -> str:
        """Add the thermostat and return the node of its dc minus."""
        minus = "C" if self.thermostat == "half" else "T minus"
        net.diode("T1", "R", "T plus", diode)
        if self.thermostat == "bridge":
            net.diode("T2", "C", "T plus", diode)
            net.diode("T3", minus, "R", diode)
            net.diode("T4", minus, "C", diode)
        net.resistor("thermostat", "T plus", minus, _THERMOSTAT_OHM)
        return minus

    @cached_property
    def run(self) -> Run:
        """One cycle of the steady state."""
        return self.network.steady()

    def wave(self, quantity: str, part: str) -> Waveform:
        """The "volts" across or the "amps" through a part over one cycle."""
        seconds = self.run.times(_SAMPLES)
        return Waveform(seconds, self.run.quantities([(quantity, part)], seconds)[0], quantity[0].upper())

    @cached_property
    def secondary_amps(self) -> Waveform:
        """Current through the fuse in R, out of the secondary, A."""
        inward = self.wave("amps", "secondary")
        return inward.with_values(-inward.values)

    @cached_property
    def terminal_volts(self) -> Waveform:
        """R to C at the transformer's terminals, V."""
        inside = self.wave("volts", "secondary")
        return inside.with_values(inside.values - self.supply.resistance_ohm * self.secondary_amps.values)

    @cached_property
    def most_amps(self) -> float:
        """Highest current that any secondary carries, either way, A."""
        sources = [name for name in ("secondary", "own secondary") if name in self.network.parts]
        return max(float(abs(self.wave("amps", name).values).max()) for name in sources)

    @cached_property
    def hottest_diode(self) -> str:
        """The actuator's diode with the highest current."""
        names = [name for name, *_ in _BRIDGE if name in self.network.parts]
        return max(names, key=lambda name: float(self.wave("amps", name).values.max()))

    @cached_property
    def r_is_above(self) -> bool:
        """Whether R is above C while the hottest diode carries its most."""
        at = int(self.wave("amps", self.hottest_diode).values.argmax())
        return bool(self.wave("volts", "secondary").values[at] > 0)


def _secondary(net: Network, supply: Supply, name: str, plus: str, minus: str) -> None:
    inside = f"{name} inside"
    net.voltage_source(name, inside, minus, volts_peak=supply.volts_peak, hertz=supply.hertz)
    net.resistor(f"{name} winding", inside, plus, supply.resistance_ohm)

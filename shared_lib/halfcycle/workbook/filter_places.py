"""What lesson 07 solves: a bus with a pulse-charging actuator, and a filter in each place that people put one.

Places are those of `halfcycle.spikes.Filter`, and "line": a filter on the line side of the transformer, which its
winding and its leakage part from the bus. Instants stand closest where a spike is, right after the actuator's switch
opens, so that none of two microseconds is lost.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..instruments import true_rms
from ..network import Network, Run
from ..rectifier import add_supply
from ..spikes import Actuator, Filter, SpikeBus, spike_bus, spike_network
from ..supply import Supply
from ..waveforms import Waveform

__all__ = ["LINE_SIDE", "Bus", "Probed", "charged", "choke_va", "lifted_volts", "probed", "snubber_cost", "supply_of"]

_HERTZ = 60.0
_THERMOSTAT_OHM = 2000.0
_JUST = 1e-9
_AFTER_OPENING = np.concatenate(
    [[-_JUST, _JUST], np.arange(0.05, 2, 0.05) * 1e-6, np.arange(2, 20, 0.25) * 1e-6, np.geomspace(20e-6, 200e-6, 60)]
)
LINE_SIDE = (0.02, 25e-6)  # what the line itself has, Ω, and a filter's capacitor there, F; as seen from the secondary


@dataclass(frozen=True)
class Bus:
    """A bus: rating of its transformer (VA; 24 V, 10 % regulation), all other loads on it (Ω), pulses in a cycle, store (V)."""

    volt_amperes: float
    load_ohm: float
    pulses_per_cycle: int = 6
    store_volts: float = 2.5

    @classmethod
    def of(cls, circuit) -> "Bus":
        """The bus of the learner's own circuit."""
        return cls(circuit.volt_amperes, circuit.bus_load_ohm, circuit.pulses_per_cycle, circuit.store_volts)


@dataclass(frozen=True)
class Probed:
    """One cycle (V) at the bus and at the thermostat, and the same bus with the actuator at rest."""

    bus: Waveform
    thermostat: Waveform
    quiet: Waveform
    highest_at: int

    @property
    def at_s(self) -> float:
        """Instant of the highest spike on the bus, s."""
        return float(self.bus.seconds[self.highest_at])

    @property
    def top_volts(self) -> float:
        """Voltage of the bus at the top of its highest spike, counted from zero, V."""
        return float(self.bus.values[self.highest_at])

    @property
    def wave_volts(self) -> float:
        """The undisturbed wave at that instant, V."""
        return float(self.quiet.values[self.highest_at])

    @property
    def height_volts(self) -> float:
        """Height of the highest spike above the undisturbed wave, V."""
        return self.top_volts - self.wave_volts

    @property
    def thermostat_height_volts(self) -> float:
        """Highest rise of the thermostat's voltage above the undisturbed wave of the bus, V."""
        return float((self.thermostat.values - self.quiet.values).max())


def supply_of(bus: Bus) -> Supply:
    """The transformer of a bus. Leakage 0.3 mH at 40 VA, falling as the rating grows (typical, from memory).

    >>> supply_of(Bus(40, 100)).volts_rms
    26.4
    """
    rated = Supply.from_rating(bus.volt_amperes, regulation=0.1)
    leakage = round(0.012 / bus.volt_amperes, 6)
    return Supply(round(rated.volts_rms, 1), _HERTZ, round(rated.resistance_ohm, 2), leakage)


@lru_cache(maxsize=1024)
def probed(bus: Bus, place: str = "none", ohm: float = 0.0, farad: float = 0.0, henry: float = 0.0) -> Probed:
    """The bus with a filter in `place`, of usual parts where none are given (`halfcycle.spikes.Filter`).

    >>> before, after = probed(Bus(75, 150)), probed(Bus(75, 150), "snubber", 47.0, 10e-6)
    >>> 0.2 < after.height_volts / before.height_volts < 0.4
    True
    """
    line = place == "line"
    filter_ = Filter("none") if line else Filter(place, farad, ohm, henry)
    net = spike_network(supply_of(bus), _actuator(bus), filter_, bus_load_ohm=bus.load_ohm, store_volts=bus.store_volts)
    run = (_with_line_filter(net) if line else net).steady()
    seconds = _instants(run)
    waves = [Waveform(seconds, run.volts(part, seconds), "V") for part in ("bus load", "thermostat")]
    quiet = Waveform(seconds, _at_rest(bus).volts("bus load", seconds), "V")
    return Probed(*waves, quiet, int(np.argmax(waves[0].values - quiet.values)))


@lru_cache(maxsize=256)
def charged(bus: Bus, place: str = "none") -> SpikeBus:
    """The same bus as `halfcycle.spikes` solves it, for what its feed draws (VA) and what reaches the store (W).

    >>> [round(charged(Bus(75, 150), place).feed_volt_amperes, 1) for place in ("none", "feed")]
    [4.9, 8.6]
    """
    parts = {"bus_load_ohm": bus.load_ohm, "store_volts": bus.store_volts}
    return spike_bus(supply_of(bus), _actuator(bus), Filter(place), **parts)


@lru_cache(maxsize=1024)
def snubber_cost(volts_rms: float, ohm: float, farad: float) -> tuple[float, float]:
    """Heat in a snubber's resistor, W, and what it draws, VA, across a quiet bus of `volts_rms` at 60 Hz.

    >>> [round(cost, 3) for cost in snubber_cost(28.0, 68.0, 15e-6)]
    [1.485, 4.138]
    """
    net = Network()
    net.voltage_source("bus", "bus", "common", volts_peak=volts_rms * 2**0.5, hertz=_HERTZ)
    net.resistor("resistor", "bus", "middle", ohm)
    net.capacitor("capacitor", "middle", "common", farad)
    run = net.steady()
    seconds = run.times(4001)
    amps = true_rms(Waveform(seconds, run.amps("resistor", seconds), "A"))
    return ohm * amps**2, volts_rms * amps


def lifted_volts(volts_rms: float, henry: float, farad: float, choke_ohm: float = 0.2) -> float:
    """Rms voltage at a thermostat of 2 kΩ behind a choke and a capacitor on a quiet bus of `volts_rms` at 60 Hz, V.

    >>> round(lifted_volts(28.0, 10e-3, 100e-6), 1)
    32.6
    """
    return _behind_choke(volts_rms, henry, farad, choke_ohm)[0]


def choke_va(volts_rms: float, henry: float, farad: float, choke_ohm: float = 0.2) -> float:
    """What the same choke, capacitor and thermostat draw from the quiet bus, VA.

    >>> round(choke_va(28.0, 10e-3, 100e-6), 1)
    34.4
    """
    return volts_rms * _behind_choke(volts_rms, henry, farad, choke_ohm)[1]


@lru_cache(maxsize=1024)
def _behind_choke(volts_rms: float, henry: float, farad: float, choke_ohm: float) -> tuple[float, float]:
    """Rms volts at the thermostat, rms amperes through the choke."""
    net = Network()
    net.voltage_source("bus", "bus", "common", volts_peak=volts_rms * 2**0.5, hertz=_HERTZ)
    net.inductor("choke", "bus", "choked", henry)
    net.resistor("choke's wire", "choked", "thermostat", choke_ohm)
    net.capacitor("capacitor", "thermostat", "common", farad)
    net.resistor("thermostat", "thermostat", "common", _THERMOSTAT_OHM)
    run = net.steady()
    seconds = run.times(4001)
    volts, amps = run.volts("thermostat", seconds), run.amps("choke", seconds)
    return true_rms(Waveform(seconds, volts, "V")), true_rms(Waveform(seconds, amps, "A"))


def _actuator(bus: Bus) -> Actuator:
    return Actuator(pulses_per_cycle=bus.pulses_per_cycle)


@lru_cache(maxsize=64)
def _at_rest(bus: Bus) -> Run:
    net = Network()
    add_supply(net, supply_of(bus), "bus", "common")
    net.resistor("bus load", "bus", "common", bus.load_ohm)
    net.resistor("thermostat", "bus", "common", _THERMOSTAT_OHM)
    return net.steady()


def _with_line_filter(net: Network) -> Network:
    """The same circuit with a capacitor between the line and the transformer, the line's own resistance ahead of it."""
    ohm, farad = LINE_SIDE
    whole = Network(ground=net.ground)
    for name, (part, plus, minus) in net.parts.items():
        whole.add(name, "line side" if name == "secondary" else plus, minus, part)
    whole.resistor("line resistance", "line side", "secondary inside", ohm)
    whole.capacitor("line capacitor", "secondary inside", "common", farad)
    return whole


def _instants(run: Run) -> np.ndarray:
    openings = [end for _, end, mode in run.modes("switch") if mode == "on"]
    near = [opening + _AFTER_OPENING for opening in openings]
    return np.unique(np.clip(np.concatenate([run.times(801), *near]), run.begin, run.end))

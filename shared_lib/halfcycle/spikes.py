"""A pulse-charging zone actuator on a 24 VAC bus, and what a filter in each place does: solved by `network`.

The actuator is a circuit, not a drawn spike: a rectifier feeds a switch and an inductor, which hands its energy
to two supercapacitors in series each time the switch opens. The current that the switch interrupts goes on
through the transformer's leakage inductance into whatever else hangs on the bus: that is the spike.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np

from . import instruments as meters
from .network import AnyDiode, CurrentPulses, Diode, Network, Switch
from .rectifier import add_supply
from .solved import Steady, probe
from .supply import Supply
from .values import need, positive
from .waveforms import Waveform

AFTER_OPENING_S = np.concatenate(
    [np.arange(0.05, 2, 0.05) * 1e-6, np.arange(2, 20, 0.25) * 1e-6, np.geomspace(20e-6, 200e-6, 120)]
)  # after an opening of the switch: so close that no top of a spike is missed
_PLACES = ("none", "feed", "snubber", "lc", "straight")


@dataclass(frozen=True)
class Actuator:
    """A zone actuator that keeps its travel energy in two supercapacitors in series (values: common practice).

    Parameters
    ----------
    supercap_farad, supercap_volts, supercap_ohm : float
        Each of the two: capacitance, F, full voltage, V, and series resistance, Ω.
    inductance_henry : float
        Inductor of the charger, H.
    pulse_s : float
        How long its switch stays closed, s.
    pulses_per_cycle : int
        How often it closes in a period of the supply; only pulses in the rectifier's half cycle draw current.
    diode : Diode or ExponentialDiode
        Its rectifier, and its freewheel diode.

    Errors: ValueError which names what is out of range. Source: two of 6 F and 2.5 V in series, charged in about half a
    minute (common practice, no source); ½·C·V² is a closed form.

    >>> Actuator().series_farad, Actuator().energy_joules
    (3.0, 37.5)
    """

    supercap_farad: float = 6.0
    supercap_volts: float = 2.5
    supercap_ohm: float = 0.05
    inductance_henry: float = 3.3e-3
    pulse_s: float = 225e-6
    pulses_per_cycle: int = 12
    diode: AnyDiode = field(default_factory=Diode)

    def __post_init__(self) -> None:
        parts = ("supercap_farad", "supercap_volts", "supercap_ohm", "inductance_henry", "pulse_s")
        need(self, "of an actuator", above_zero=parts)
        if self.pulses_per_cycle < 1 or int(self.pulses_per_cycle) != self.pulses_per_cycle:
            raise ValueError(f"pulses_per_cycle must be a whole number of at least 1, not {self.pulses_per_cycle!r}")

    @property
    def series_farad(self) -> float:
        """Capacitance of the two in series, F: half of one."""
        return self.supercap_farad / 2

    @property
    def energy_joules(self) -> float:
        """Energy in the full pair, J: ½·C·V² of the series pair at twice the voltage of one."""
        return 0.5 * self.series_farad * (2 * self.supercap_volts) ** 2


@dataclass(frozen=True)
class Filter:
    """What is put in, and where.

    Parameters
    ----------
    place : {"none", "feed", "snubber", "lc", "straight"}
        "feed": a diode and a capacitor in the actuator's own feed; "snubber": a resistor and a capacitor in series
        across the bus; "lc": a choke and a capacitor ahead of the thermostat; "straight": a box that carries the
        supply straight through; "none": nothing.
    farad, ohm, henry : float
        Its parts, F, Ω and H; each place uses what it needs; zero takes a usual value (common practice, no source).

    Errors: ValueError for an unknown place, or a value below zero.

    >>> Filter("snubber").filled().ohm
    47.0
    """

    place: str = "none"
    farad: float = 0.0
    ohm: float = 0.0
    henry: float = 0.0

    def __post_init__(self) -> None:
        if self.place not in _PLACES:
            raise ValueError(f"place of a filter must be one of {', '.join(_PLACES)}, not {self.place!r}")
        need(self, "of a filter", from_zero=("farad", "ohm", "henry"))

    def filled(self) -> "Filter":
        """The same filter with a usual value wherever none was given."""
        usual = {"feed": (470e-6, 0.5, 0.0), "snubber": (1e-6, 47.0, 0.0), "lc": (10e-6, 1.0, 10e-3)}
        farad, ohm, henry = usual.get(self.place, (0.0, 0.0, 0.0))
        return replace(self, farad=self.farad or farad, ohm=self.ohm or ohm, henry=self.henry or henry)


def spike_network(
    supply: Supply,
    actuator: Actuator | None = None,
    filter: Filter | None = None,
    *,
    bus_load_ohm: float = 200.0,
    line_farad: float = 2.2e-9,
    thermostat_ohm: float = 2000.0,
    store_volts: float | None = 2.0,
) -> Network:
    """The circuit that `spike_bus` solves. Parts: secondary, bus load, line, thermostat, feed, diode, switch, choke …

    With `store_volts` None the two supercapacitors are there themselves, empty; else a fixed stored voltage stands
    for them, so that there is a periodic state. Either is charged below common, as such a charger does.
    Errors: ValueError where a part's value is not positive.
    """
    actuator, filter = actuator or Actuator(), (filter or Filter()).filled()
    net = Network()
    add_supply(net, supply, "bus", "common")
    net.resistor("bus load", "bus", "common", bus_load_ohm)
    net.capacitor("line", "bus", "common", line_farad)
    net.resistor("feed", "bus", "actuator", 0.5 if filter.place != "feed" else max(filter.ohm, 0.01))
    net.diode("diode", "actuator", "fed", actuator.diode)
    if filter.place == "feed":
        net.capacitor("filter capacitor", "fed", "common", filter.farad)
    elif filter.place == "snubber":
        net.resistor("filter resistor", "bus", "filtered", filter.ohm)
        net.capacitor("filter capacitor", "filtered", "common", filter.farad)
    if filter.place == "lc":
        net.inductor("filter choke", "bus", "choked", filter.henry)
        net.resistor("filter resistor", "choked", "thermostat", filter.ohm)
        net.capacitor("filter capacitor", "thermostat", "common", filter.farad)
    else:
        net.resistor("thermostat lead", "bus", "thermostat", 0.5)
    net.resistor("thermostat", "thermostat", "common", thermostat_ohm)
    clock = CurrentPulses(period_s=1 / (supply.hertz * actuator.pulses_per_cycle), width_s=actuator.pulse_s)
    net.device("switch", "fed", "switched", replace(Switch(on_ohm=0.2).device(), timetable=clock.timetable))
    net.inductor("choke", "switched", "common", actuator.inductance_henry)
    net.diode("freewheel", "store", "switched", actuator.diode)
    net.resistor("store resistance", "store", "store inside", 2 * actuator.supercap_ohm)
    if store_volts is None:
        net.capacitor("supercap 1", "common", "store middle", actuator.supercap_farad)
        net.capacitor("supercap 2", "store middle", "store inside", actuator.supercap_farad)
    else:
        net.voltage_source("stored", "common", "store inside", dc_volts=store_volts)
    return net


@dataclass(frozen=True)
class SpikeBus(Steady):
    """A solved bus: one period of its steady state, the store at a fixed voltage; and what `spike_bus` was given."""

    supply: Supply
    actuator: Actuator
    store_volts: float
    others: dict

    bus_volts = probe("bus load", "Voltage of the bus, V.")
    thermostat_volts = probe("thermostat", "Voltage across the thermostat, V.")
    actuator_amps = probe("feed", "Current into the actuator's feed, A.")
    store_amps = probe("stored", "Current into the store, A.")

    @cached_property
    def undisturbed_volts(self) -> Waveform:
        """The sine that the same bus shows with the actuator at rest, V."""
        return self.bus_volts.with_values(self.network.idle().volts("bus load", self._seconds))

    @property
    def spike_volts(self) -> float:
        """Highest rise of the bus above the sine that the same bus shows with the actuator at rest, V.

        Taken from samples that stand close after each opening of the switch, however many `samples_per_cycle`.
        """
        changes = [piece.begin + 1e-9 for piece in self.run.pieces[1:]]
        openings = [end for _, end, mode in self.run.modes("switch") if mode == "on"]
        times = np.concatenate([self._seconds, changes, np.add.outer(openings, AFTER_OPENING_S).ravel()])
        times = np.unique(times[times <= self.run.end])
        return float((self.run.volts("bus load", times) - self.network.idle().volts("bus load", times)).max())

    @property
    def charging_watts(self) -> float:
        """Average power that reaches the store at this stored voltage, W."""
        return self.store_volts * meters.dc(self.store_amps)

    @property
    def feed_volt_amperes(self) -> float:
        """Rms voltage of the bus times rms current of the feed, VA."""
        return meters.true_rms(self.bus_volts) * meters.true_rms(self.actuator_amps)

    def charge_seconds(self, steps: int = 4) -> float:
        """Seconds to fill both supercapacitors from empty: the integral of C·v dv over the charging power.

        Gauss–Legendre over `steps` stored voltages, each solved as a steady state of its own.
        """
        nodes, weights = np.polynomial.legendre.leggauss(steps)
        volts = self.actuator.supercap_volts * (nodes + 1)
        again = partial(spike_bus, self.supply, self.actuator, samples_per_cycle=self.samples_per_cycle, **self.others)
        watts = [again(store_volts=each).charging_watts for each in volts.tolist()]
        return float(self.actuator.series_farad * np.sum(weights * volts / watts) * self.actuator.supercap_volts)


def spike_bus(
    supply: Supply,
    actuator: Actuator | None = None,
    filter: Filter | None = None,
    *,
    store_volts: float = 2.0,
    samples_per_cycle: int = 20_000,
    **loads: float,
) -> SpikeBus:
    """A 24 VAC bus with a pulse-charging actuator and perhaps a filter, in its periodic steady state.

    Parameters
    ----------
    supply : Supply
        Transformer; its leakage inductance is what makes the spikes.
    actuator : Actuator
    filter : Filter
    store_volts : float
        Voltage of the supercapacitor pair at this moment of the charge, V.
    samples_per_cycle : int
        Samples in the period of each waveform; both ends are included.
    **loads
        As of `spike_network`: `bus_load_ohm`, everything else that hangs on the bus, Ω (200 unless given; the fewer,
        the higher the spikes); `line_farad`, capacitance of the wiring, F; `thermostat_ohm`, what the thermostat draws, Ω.

    Returns
    -------
    SpikeBus
        With `bus_volts`, `thermostat_volts`, `actuator_amps`, `spike_volts`, `charging_watts`, `charge_seconds()`.

    Raises
    ------
    ValueError
        A part's value that is not positive, or an unknown place of a filter.

    Notes
    -----
    The circuit follows no make; its values are common practice (no source). Holding the store at a fixed voltage for one
    period is as good as following its whole charge: a test walks through one.

    >>> from halfcycle import Supply
    >>> bus = spike_bus(Supply(26.0, resistance_ohm=1.0, leakage_henry=0.3e-3))
    >>> bus.spike_volts > 50
    True
    """
    positive("stored voltage in volts", store_volts)
    actuator, others = actuator or Actuator(), {"filter": filter, **loads}
    net = spike_network(supply, actuator, store_volts=store_volts, **others)
    return SpikeBus(net, net.steady(), supply.hertz, samples_per_cycle, supply, actuator, store_volts, others)

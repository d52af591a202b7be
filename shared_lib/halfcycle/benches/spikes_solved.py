"""What the bench of spikes and filters shows, solved: the circuit is `halfcycle.spikes`'s, in its periodic steady state.

Samples stand closest where a spike is, right after each opening of the actuator's switch, so that none of two
microseconds is lost.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from halfcycle import instruments as meters
from halfcycle.network import Network, Run
from halfcycle.pulses import pulses
from halfcycle.spikes import AFTER_OPENING_S, Actuator, Filter, spike_network
from halfcycle.supply import Supply
from halfcycle.waveforms import Waveform, waves

__all__ = ["COUNTS_VOLTS", "FITTED", "FLOWS_AMPS", "Numbers", "Settings", "Winding", "network", "numbers", "unfiltered"]

COUNTS_VOLTS = 2.0  # lower than this above the undisturbed wave, nobody calls it a spike
FITTED = {
    "feed": ("filter_farad", "filter_ohm"),
    "snubber": ("filter_farad", "filter_ohm"),
    "lc": ("filter_farad", "filter_ohm", "filter_henry"),
}
_HERTZ = 60.0
_STEPS = 800
FLOWS_AMPS = 2e-3  # more than the leakage of a diode that blocks
_JUST = 1e-9
_AFTER_OPENING = np.concatenate([[-_JUST, _JUST], AFTER_OPENING_S])


@dataclass(frozen=True, order=True)
class Winding:
    """A transformer: rating (VA; 0 where none is stated), voltage without load, resistance and leakage in series."""

    volt_amperes: float
    volts_rms: float
    resistance_ohm: float
    leakage_henry: float

    @classmethod
    def rated(cls, volt_amperes: float, regulation: float = 0.1, leakage_henry: float | None = None) -> "Winding":
        """Leakage falls as the rating grows: 0.3 mH at 40 VA (typical, from memory)."""
        supply = Supply.from_rating(volt_amperes, volts_rms=24.0, regulation=regulation)
        leakage = 0.3e-3 * 40 / volt_amperes if leakage_henry is None else leakage_henry
        return cls(volt_amperes, supply.volts_rms, supply.resistance_ohm, leakage)

    def __str__(self) -> str:
        return f"{self.volt_amperes:g} VA" if self.volt_amperes else f"{self.volts_rms:g} V"


_USUAL = Winding.rated(40)


@dataclass(frozen=True)
class Settings:
    """Where the bench's controls stand; a filter's part of 0 is the usual one for its place; `fault` "" or "capacitor open"."""

    place: str = "none"
    filter_farad: float = 0.0
    filter_ohm: float = 0.0
    filter_henry: float = 0.0
    bus_load_ohm: float = 100.0
    source: Winding = _USUAL
    store_volts: float = 2.0
    moment: str = "spike"
    fault: str = ""
    thermostat_ohm: float = 2000.0
    pulses_per_cycle: int = 6
    pulse_s: float = 225e-6
    inductance_henry: float = 3.3e-3

    @property
    def parts(self) -> Filter:
        """The filter with its parts."""
        return Filter(self.place, self.filter_farad, self.filter_ohm, self.filter_henry).filled()


@dataclass(frozen=True)
class Numbers:
    """What the library finds at one setting: V, A, VA, W; waveforms over one cycle; instants in seconds from its start."""

    rms_volts: float
    spike_volts: float
    spikes_hertz: float
    width_s: float
    dip_volts: float
    thermostat_peak_volts: float
    thermostat_spike_volts: float
    thermostat_rms_volts: float
    feed_va: float
    drawn_va: float
    store_watts: float
    resistor_watts: float
    spike_s: float
    closed_s: tuple[float, float]
    bus: Waveform
    quiet: Waveform
    thermostat: Waveform
    run: Run


def network(settings: Settings) -> Network:
    """The circuit at these settings, with its fault if it has one."""
    source = settings.source
    whole = spike_network(
        Supply(source.volts_rms, _HERTZ, source.resistance_ohm, source.leakage_henry),
        Actuator(
            pulses_per_cycle=settings.pulses_per_cycle,
            pulse_s=settings.pulse_s,
            inductance_henry=settings.inductance_henry,
        ),
        settings.parts,
        bus_load_ohm=settings.bus_load_ohm,
        thermostat_ohm=settings.thermostat_ohm,
        store_volts=settings.store_volts,
    )
    return _without(whole, "filter capacitor") if settings.fault == "capacitor open" else whole


def _without(whole: Network, gone: str) -> Network:
    rest = Network(ground=whole.ground)
    for name, (part, plus, minus) in whole.parts.items():
        if name != gone:
            rest.add(name, plus, minus, part)
    return rest


def numbers(settings: Settings) -> Numbers:
    """Solve the circuit at these settings; the moment shown, and parts that are not fitted, make no difference."""
    return _numbers(_only_what_counts(settings))


def _only_what_counts(settings: Settings) -> Settings:
    unused = {name: 0.0 for name in FITTED["lc"] if name not in FITTED.get(settings.place, ())}
    return replace(settings, moment="spike", **unused)


@lru_cache(maxsize=128)
def _numbers(settings: Settings) -> Numbers:
    net = network(settings)
    asked = [("amps", name) for name in ("feed", "stored", "secondary", _heated(net, settings))]
    run, closed, (bus, thermostat, still, calm, feed, stored, drawn, heater) = _solved(net, asked)
    top = _highest(bus, still)
    return Numbers(
        rms_volts=meters.true_rms(bus),
        spike_volts=top.volts,
        spikes_hertz=_HERTZ * len(set(_pulse_of(closed, top.instants))),
        width_s=top.width_s,
        dip_volts=float(np.max(still.values - bus.values, where=feed.values > FLOWS_AMPS, initial=0.0)),
        thermostat_peak_volts=meters.peak(thermostat),
        thermostat_spike_volts=_above(thermostat, calm),
        thermostat_rms_volts=meters.true_rms(thermostat),
        feed_va=meters.true_rms(bus) * meters.true_rms(feed),
        drawn_va=meters.true_rms(bus) * meters.true_rms(drawn),
        store_watts=settings.store_volts * meters.dc(stored),
        resistor_watts=settings.parts.ohm * meters.true_rms(heater) ** 2,
        spike_s=top.second,
        closed_s=closed[_pulse_of(closed, [top.second])[0]],
        bus=bus,
        quiet=still,
        thermostat=thermostat,
        run=run,
    )


_VOLTS = (("volts", "bus load"), ("volts", "thermostat"))


def _solved(net: Network, more: list[tuple[str, str]]) -> tuple[Run, list[tuple[float, float]], list[Waveform]]:
    """The run; when the switch was closed; bus and thermostat, both undisturbed as well, and what `more` asks for."""
    run = net.steady()
    closed = [(begin, end) for begin, end, mode in run.modes("switch") if mode == "on"]
    seconds = _instants(run, [end for _, end in closed])
    found, still = run.quantities([*_VOLTS, *more], seconds), net.idle().quantities(_VOLTS, seconds)
    rows = [*found[: len(_VOLTS)], *still, *found[len(_VOLTS) :]]
    return run, closed, waves(seconds, rows, "VVVV" + len(more) * "A")


@dataclass(frozen=True)
class _Highest:
    """The highest spike: V above the undisturbed wave, s; `instants` of all spikes that count."""

    volts: float
    second: float
    width_s: float
    instants: tuple[float, ...]


def _highest(bus: Waveform, still: Waveform) -> _Highest:
    found = pulses(bus, still, threshold_volts=COUNTS_VOLTS).spikes
    if found.count:
        at = int(found.heights.argmax())
        top = (found.heights[at], found.seconds[at], found.widths[at])
        return _Highest(*map(float, top), tuple(found.seconds.tolist()))
    over = bus.values - still.values
    return _Highest(float(over.max()), float(bus.seconds[over.argmax()]), 0.0, ())


def _pulse_of(closed, instants) -> list[int]:
    """For each instant, which closing of the switch came last before it; before the first one, the last of the cycle."""
    return (np.searchsorted([begin for begin, _ in closed], instants, side="right") - 1).tolist()


def _instants(run: Run, openings: list[float]) -> np.ndarray:
    """Even steps, and close ones after each opening of the switch and about each change of any other part."""
    changes = [piece.begin for piece in run.pieces[1:]]
    near = [np.add.outer(openings, _AFTER_OPENING).ravel(), np.add.outer(changes, [-_JUST, _JUST]).ravel()]
    every = np.sort(np.concatenate([run.times(_STEPS), *near]), kind="stable")
    inside = (every >= run.begin) & (every <= run.end) & (np.diff(every, prepend=-np.inf) > 0)
    return every[inside]


def _heated(net: Network, settings: Settings) -> str:
    """The part that is the filter's resistor; in the actuator's feed it is the feed itself."""
    return "filter resistor" if settings.place != "feed" and "filter resistor" in net.parts else "feed"


@dataclass(frozen=True)
class Unfiltered:
    """How high the highest spike stands above the undisturbed wave where no filter is fitted, V."""

    spike_volts: float
    thermostat_spike_volts: float


def unfiltered(settings: Settings) -> Unfiltered | Numbers:
    """The same bus without a filter; where none is fitted, the numbers themselves."""
    plain, own = (_only_what_counts(each) for each in (replace(settings, place="none", fault=""), settings))
    return _numbers(own) if own == plain else _unfiltered(plain)


@lru_cache(maxsize=128)
def _unfiltered(settings: Settings) -> Unfiltered:
    _, _, (bus, thermostat, still, calm) = _solved(network(settings), [])
    return Unfiltered(_highest(bus, still).volts, _above(thermostat, calm))


def _above(wave: Waveform, undisturbed: Waveform) -> float:
    return float((wave.values - undisturbed.values).max())

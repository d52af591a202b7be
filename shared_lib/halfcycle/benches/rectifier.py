"""The bench of rectifier and capacitor: one diode or four, a capacitor or none, a load, a transformer.

All numbers come from `halfcycle.rectifier`'s circuits, solved in their periodic steady state, and from the meters.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from halfcycle import instruments as meters
from halfcycle import wiring
from halfcycle.amounts import amount
from halfcycle.network import Diode, Network
from halfcycle.rectifier import SteadyRectified, rectifier_network
from halfcycle.scope import Level, Point, Span, Trace, scope_svg
from halfcycle.supply import Supply
from halfcycle.waveforms import Waveform

from .model import Control, Reading, Situation, State, own
from .rectifier_words import caution, sentence

__all__ = [
    "CONTROLS",
    "NAME",
    "PRINTED",
    "SITUATIONS",
    "Moment",
    "Numbers",
    "Settings",
    "Source",
    "markers",
    "moment",
    "network",
    "numbers",
    "start",
    "state",
    "traces",
    "wiring_picture",
]

NAME = "rectifier"
_SAMPLES = 1000
_HERTZ = 60.0
_CYCLES = 2
_DIODES = ("D1", "D2", "D3", "D4")
_CONDUCTS_AMPS = 1e-4  # more than the leakage of a diode that blocks
_FEEDS_VOLTS = 0.05  # less than this at the load is called nothing


@dataclass(frozen=True, order=True)
class Source:
    """A transformer: its rating (VA; 0 where none is stated), its voltage without load and its resistance."""

    volt_amperes: float
    volts_rms: float
    resistance_ohm: float

    @classmethod
    def rated(cls, volt_amperes: float, regulation: float = 0.1) -> "Source":
        supply = Supply.from_rating(volt_amperes, volts_rms=24.0, regulation=regulation)
        return cls(volt_amperes, supply.volts_rms, supply.resistance_ohm)

    def __str__(self) -> str:
        return f"{self.volt_amperes:g} VA" if self.volt_amperes else f"{self.volts_rms:g} V"


_USUAL = Source.rated(40)


@dataclass(frozen=True)
class Settings:
    """Where the bench's controls stand, in plain units; `fault` is "", "capacitor open" or "diode reversed"."""

    kind: str = "half"
    capacitor_farad: float = 220e-6
    load_ohm: float = 150.0
    source: Source = _USUAL
    line_percent: float = 100.0
    moment_degrees: float = 75.0
    fault: str = ""
    drop_volts: float = 0.7
    on_ohm: float = 0.05


def _farads(value: float) -> str:
    return amount(value, "F") if value else "none"


CONTROLS = (
    Control("kind", "Rectifier", "", ("half", "bridge"), {"half": "one diode", "bridge": "four diodes"}.__getitem__),
    Control(
        "capacitor_farad",
        "Capacitor",
        "µF",
        (0.0, 10e-6, 22e-6, 47e-6, 100e-6, 220e-6, 330e-6, 470e-6, 680e-6, 1000e-6, 2200e-6, 4700e-6),
        _farads,
    ),
    Control(
        "load_ohm", "Load", "Ω", (47.0, 68.0, 100.0, 150.0, 220.0, 330.0, 470.0, 680.0, 1000.0), lambda v: f"{v:g} Ω"
    ),
    Control("source", "Transformer", "", tuple(Source.rated(va) for va in (20, 40, 50, 75, 100))),
    Control("line_percent", "Line", "% of normal", (90.0, 95.0, 100.0, 105.0, 110.0), lambda v: f"{v:g} %"),
    Control("moment_degrees", "Moment", "degrees", tuple(15.0 * k for k in range(25)), lambda v: f"{v:g}°"),
)
SITUATIONS = (
    Situation("All well", {"fault": ""}),
    Situation("No filter", {"fault": "", "capacitor_farad": 0.0}),
    Situation("Capacitor open", {"fault": "capacitor open"}),
    Situation("Diode reversed", {"fault": "diode reversed"}),
)
PRINTED = (
    ("Without a capacitor", Settings(capacitor_farad=0.0)),
    ("With a capacitor", Settings()),
)


def start(circuit=None) -> Settings:
    """The settings at which the bench begins: the learner's own values where `circuit` has them."""
    if circuit is None:
        return Settings()
    plain = Settings()
    micro = own(circuit, "capacitor_microfarad", default=0)
    return Settings(
        kind="bridge" if own(circuit, "diodes") == 4 else own(circuit, "kind", default=plain.kind),
        capacitor_farad=float(own(circuit, "capacitor_farad", default=micro * 1e-6)),
        load_ohm=float(own(circuit, "load_ohm", default=plain.load_ohm)),
        source=_source(circuit),
        drop_volts=float(own(circuit, "drop_volts", default=plain.drop_volts)),
        on_ohm=float(own(circuit, "diode_ohm", "on_ohm", default=plain.on_ohm)),
    )


def _source(circuit) -> Source:
    rating = float(own(circuit, "volt_amperes", default=0.0))
    volts, ohm = own(circuit, "volts_rms"), own(circuit, "source_ohm", "resistance_ohm")
    if volts is not None:
        return Source(rating, float(volts), float(ohm or 0.0))
    return Source.rated(rating or 40, own(circuit, "regulation_percent", default=10) / 100)


@dataclass(frozen=True)
class Numbers:
    """What the library finds at one setting; voltages V, currents A, waveforms over two cycles."""

    mean_volts: float
    true_rms_volts: float
    ac_rms_volts: float
    average_volts: float
    ripple_volts: float
    peak_volts: float
    mean_amps: float
    diode_peak_amps: float
    conduction_degrees: float
    inrush_amps: float
    reverse_volts: float
    drawn_va: float
    load_watts: float
    secondary: Waveform
    load: Waveform
    source_amps: Waveform
    diode_amps: tuple[Waveform, ...]
    diode_volts: Waveform


def network(settings: Settings) -> Network:
    """The circuit at these settings, with its fault if it has one."""
    supply = Supply(
        settings.source.volts_rms * settings.line_percent / 100, resistance_ohm=settings.source.resistance_ohm
    )
    diode = Diode(settings.drop_volts, settings.on_ohm)
    farad = 0.0 if settings.fault == "capacitor open" else settings.capacitor_farad
    whole = rectifier_network(
        supply, kind=settings.kind, load_ohm=settings.load_ohm, capacitor_farad=farad, diode=diode
    )
    return whole if settings.fault != "diode reversed" else _with_turned_diode(whole)


def _with_turned_diode(whole: Network) -> Network:
    turned = Network(ground=whole.ground)
    for name, (part, plus, minus) in whole.parts.items():
        ends = (minus, plus) if name == "D1" else (plus, minus)
        turned.add(name, *ends, part)
    return turned


def numbers(settings: Settings) -> Numbers:
    """Solve the circuit at these settings; which moment is shown makes no difference and costs nothing."""
    return _numbers(replace(settings, moment_degrees=0.0))


@lru_cache(maxsize=128)
def _numbers(settings: Settings) -> Numbers:
    net = network(settings)
    solved = SteadyRectified(net, net.steady(), _HERTZ, _SAMPLES)
    diodes = tuple(solved.waveform("amps", name) for name in _DIODES if name in net.parts)
    load, amps = solved.load_volts, solved.source_amps
    secondary = _terminals(solved, settings)
    return Numbers(
        mean_volts=meters.dc(load),
        true_rms_volts=meters.true_rms(load),
        ac_rms_volts=meters.ac_rms(load),
        average_volts=meters.average_responding(load),
        ripple_volts=solved.ripple_volts,
        peak_volts=meters.peak(load),
        mean_amps=meters.dc(solved.waveform("amps", "load")),
        diode_peak_amps=max(float(one.values.max()) for one in diodes),
        conduction_degrees=solved.conduction_degrees,
        inrush_amps=_inrush_amps(net),
        reverse_volts=-float(solved.diode_volts.values.min()),
        drawn_va=meters.true_rms(secondary) * meters.true_rms(amps),
        load_watts=meters.true_rms(load) ** 2 / settings.load_ohm,
        secondary=_twice(secondary),
        load=_twice(load),
        source_amps=_twice(amps),
        diode_amps=diodes,
        diode_volts=solved.diode_volts,
    )


def _inrush_amps(net: Network) -> float:
    """The highest current out of the secondary when it is switched on at a peak of its sine, the capacitor empty."""
    peaks_s = (0.25 / _HERTZ, 0.75 / _HERTZ)
    firsts = [net.run(0.25 / _HERTZ, start_s=at) for at in peaks_s]
    return max(float(np.abs(run.amps("secondary", run.times(_SAMPLES // 4))).max()) for run in firsts)


def _terminals(solved: SteadyRectified, settings: Settings) -> Waveform:
    """Voltage at the secondary's terminals: the winding's resistance is inside."""
    inside = solved.waveform("volts", "secondary")
    return inside.with_values(inside.values - settings.source.resistance_ohm * solved.source_amps.values)


def _twice(wave: Waveform) -> Waveform:
    """One period shown as two, so that the eye sees it repeat."""
    seconds = np.concatenate([wave.seconds + k * wave.duration_s for k in range(_CYCLES)])
    return Waveform(seconds, np.tile(wave.values, _CYCLES), wave.unit)


@dataclass(frozen=True)
class Moment:
    """What happens at the moment shown: conducting diodes by name, their current (A), voltages (V)."""

    conducting: tuple[str, ...]
    amps: float
    secondary_volts: float
    load_volts: float
    diode_volts: float
    capacitor_feeds: bool


def moment(settings: Settings) -> Moment:
    """Read the solved waveforms at the moment that the bench shows."""
    found = numbers(settings)
    at = round(settings.moment_degrees / 360 * _SAMPLES)
    amps = [float(wave.values[at]) for wave in found.diode_amps]
    load = float(found.load.values[at])
    capacitor = bool(settings.capacitor_farad) and settings.fault != "capacitor open"
    return Moment(
        conducting=tuple(name for name, value in zip(_DIODES, amps, strict=False) if value > _CONDUCTS_AMPS),
        amps=max(amps),
        secondary_volts=float(found.secondary.values[at]),
        load_volts=load,
        diode_volts=float(found.diode_volts.values[at]),
        capacitor_feeds=capacitor and abs(load) > _FEEDS_VOLTS,
    )


def state(settings: Settings, before: Settings | None = None) -> State:
    """All that the bench shows at `settings`, with a sentence on what changed since `before`.

    >>> state(start()).readings[0].words
    'Dc meter (mean)'
    """
    found, now = numbers(settings), moment(settings)
    words, danger = caution(settings, found)
    return State(
        settings=settings,
        readings=_readings(found),
        sentence=sentence(settings, before, found, numbers(before) if before else None, now),
        caution=words,
        wiring_svg=wiring_picture(settings).svg(),
        scope_svg=_scope(settings),
        danger=danger,
    )


def _readings(found: Numbers) -> tuple[Reading, ...]:
    return (
        Reading("Dc meter (mean)", found.mean_volts, "V"),
        Reading("True-rms meter, ac+dc", found.true_rms_volts, "V"),
        Reading(
            "True-rms meter, ac only",
            found.ac_rms_volts,
            "V",
            Reading("average-responding", found.average_volts, "V"),
        ),
        Reading("Ripple, peak to peak", found.ripple_volts, "V"),
        Reading("Load current (mean)", found.mean_amps, "A"),
        Reading(
            "Diode current, highest", found.diode_peak_amps, "A", Reading("D1 conducts", found.conduction_degrees, "°")
        ),
        Reading("Diode D1 must block", found.reverse_volts, "V"),
        Reading("Drawn from transformer", found.drawn_va, "VA", Reading("inrush, worst", found.inrush_amps, "A")),
    )


def wiring_picture(settings: Settings) -> wiring.Picture:
    """The circuit in the state of the moment shown."""
    now = moment(settings)
    live = {name: wiring.CONDUCTING if name in now.conducting else wiring.BLOCKING for name in _DIODES}
    load = wiring.CONDUCTING if abs(now.load_volts) > _FEEDS_VOLTS else wiring.BLOCKING
    capacitor = ""
    if settings.capacitor_farad:
        capacitor = wiring.BROKEN if settings.fault == "capacitor open" else wiring.CONDUCTING
    does = (
        f"conducts {amount(now.amps, 'A')}" if now.conducting else f"blocks {amount(max(0.0, -now.diode_volts), 'V')}"
    )
    values = {
        "line": "line",
        "supply": amount(settings.source.volts_rms * settings.line_percent / 100, "V"),
        "diode": "D1",
        "diode_does": does,
        "capacitor": _farads(settings.capacitor_farad),
        "load": f"{settings.load_ohm:g} Ω",
    }
    parts = {"capacitor": capacitor, "load": load, "reversed_diode": settings.fault == "diode reversed"}
    words = _wiring_words(settings, now, values)
    if settings.kind == "half":
        return wiring.half_wave(words, values, diode=live["D1"], **parts)
    return wiring.bridge(words, values, diodes=tuple(live.values()), **parts)


def _wiring_words(settings: Settings, now: Moment, values: dict[str, str]) -> str:
    capacitor = f"capacitor {values['capacitor']}" if settings.capacitor_farad else "no capacitor"
    if settings.fault == "capacitor open":
        capacitor += ", its lead open"
    diodes = "one diode" if settings.kind == "half" else "four diodes"
    if settings.fault == "diode reversed":
        diodes += ", D1 reversed"
    conducting = " and ".join(now.conducting) or "no diode"
    return (
        f"Wiring picture. Transformer {values['supply']} without load, {diodes}, {capacitor}, load {values['load']}. "
        f"At {settings.moment_degrees:g}°: {conducting} conducting."
    )


def traces(settings: Settings) -> tuple[Trace, ...]:
    """The waveforms that the bench shows."""
    found = numbers(settings)
    return (
        Trace(found.secondary, "supply", "Secondary"),
        Trace(found.load, "load", "Load"),
        Trace(found.source_amps, "current", "Current drawn"),
    )


def markers(settings: Settings) -> tuple:
    """What is pointed out on the traces."""
    found = numbers(settings)
    low, high = float(found.load.values.min()), float(found.load.values.max())
    at = int(np.abs(found.load.values).argmax())
    return (
        Level(found.mean_volts, f"mean {amount(found.mean_volts, 'V')}"),
        Span(low, high, f"ripple {amount(found.ripple_volts, 'V')}"),
        Point(float(found.load.seconds[at]), float(found.load.values[at]), f"peak {amount(found.peak_volts, 'V')}"),
    )


def _scope(settings: Settings) -> str:
    return scope_svg(
        traces(settings),
        markers(settings),
        cursor_s=settings.moment_degrees / 360 / _HERTZ,
        cursor_label=f"{settings.moment_degrees:g}°",
        title="Scope picture of the rectifier, two cycles",
    )

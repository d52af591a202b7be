"""The bench of spikes and filters: a pulse-charging zone actuator on a 24 VAC bus, and a filter in one of several places.

What it shows is solved in `spikes_solved`, drawn in `spikes_wiring` and said in `spikes_words`.
"""

from dataclasses import replace

import numpy as np

from halfcycle.amounts import amount
from halfcycle.scope import Level, Point, Trace, scope_svg
from halfcycle.waveforms import Waveform
from halfcycle.wiring import Picture

from .model import Control, Reading, Situation, State, own
from .spikes_solved import COUNTS_VOLTS, FLOWS_AMPS, Numbers, Settings, Winding, network, numbers, unfiltered
from .spikes_wiring import bus_picture
from .spikes_words import PLACES, caution, sentence

__all__ = [
    "CONTROLS",
    "NAME",
    "PRINTED",
    "SITUATIONS",
    "Numbers",
    "Settings",
    "Winding",
    "markers",
    "moment_seconds",
    "network",
    "numbers",
    "start",
    "state",
    "traces",
    "wiring_picture",
]

NAME = "spikes"
_HERTZ = 60.0
_LEAST_DECIBELS = 0.05
_MOMENTS = {"spike": "at the spike", "close": "close up", "closed": "switch closed", "rest": "at rest"}
_NEAR = {"close": (4e-6, 26e-6), "closed": (300e-6, 80e-6)}  # seconds shown before and after an opening


def _part(unit: str):
    return lambda value: amount(value, unit) if value else "usual"


CONTROLS = (
    Control("place", "Filter's place", "", tuple(PLACES), lambda place: PLACES[place]),
    Control("bus_load_ohm", "Other loads", "Ω", (22.0, 47.0, 100.0, 220.0, 470.0, 1e3, 2.2e3, 4.7e3), _part("Ω")),
    Control(
        "filter_farad",
        "Filter capacitor",
        "µF",
        (0.0, *(value * 1e-6 for value in (0.1, 0.22, 0.47, 1, 2.2, 4.7, 10, 47, 100, 220, 470, 1000))),
        _part("F"),
    ),
    Control("source", "Transformer", "", tuple(Winding.rated(va) for va in (20, 40, 50, 75, 100))),
    Control("filter_ohm", "Filter resistor", "Ω", (0.0, 0.47, 1.0, 4.7, 10.0, 22.0, 47.0, 100.0, 220.0), _part("Ω")),
    Control("store_volts", "Store charged to", "V", (0.5, 1.0, 2.0, 3.0, 4.0, 4.5), lambda v: f"{v:g} of 5 V"),
    Control(
        "filter_henry",
        "Filter choke",
        "mH",
        (0.0, *(value * 1e-3 for value in (1, 2.2, 4.7, 10, 22, 47, 100))),
        _part("H"),
    ),
    Control(
        "moment",
        "Moment",
        "",
        tuple(_MOMENTS),
        lambda moment: _MOMENTS[moment],
    ),
)
SITUATIONS = (
    Situation("No filter", {"place": "none", "fault": ""}),
    Situation("Feed filter", {"place": "feed", "fault": ""}),
    Situation("Capacitor open", {"place": "feed", "fault": "capacitor open"}),
    Situation("Choke at thermostat", {"place": "lc", "fault": ""}),
    Situation("Nothing else on bus", {"bus_load_ohm": 4.7e3}),
)
PRINTED = (
    ("No filter", Settings()),
    ("Filter in the actuator's feed", Settings(place="feed")),
)


def start(circuit=None) -> Settings:
    """The settings at which the bench begins: the learner's own values where `circuit` has them."""
    plain = Settings()
    named = ("place", "filter_farad", "filter_ohm", "filter_henry", "bus_load_ohm", "store_volts", "thermostat_ohm")
    named += ("pulses_per_cycle", "pulse_s", "inductance_henry")
    values = {name: own(circuit, name, default=getattr(plain, name)) for name in named}
    kept = {name: value if name in ("place", "pulses_per_cycle") else float(value) for name, value in values.items()}
    return replace(plain, source=_source(circuit), **kept)


def _source(circuit) -> Winding:
    volts, leakage = own(circuit, "volts_rms"), own(circuit, "leakage_henry")
    rating = float(own(circuit, "volt_amperes", default=0.0))
    if volts is not None:
        ohm = float(own(circuit, "source_ohm", "resistance_ohm", default=1.44))
        return Winding(rating, float(volts), ohm, float(0.3e-3 if leakage is None else leakage))
    regulation = own(circuit, "regulation", default=own(circuit, "regulation_percent", default=10) / 100)
    return Winding.rated(rating or 40.0, float(regulation), leakage)


def _decibels(now: float, before: float) -> float:
    """20·lg of a ratio of voltages; what nobody could measure, or nothing to compare, is no change."""
    ratio = 20 * float(np.log10(now / before)) if now > 0 and before > 0 else 0.0
    return ratio if abs(ratio) > _LEAST_DECIBELS else 0.0


def moment_seconds(settings: Settings) -> float:
    """The instant (s) at which the wiring is shown and the scope's cursor stands."""
    found = numbers(settings)
    if settings.moment == "rest":
        return 0.77 / _HERTZ  # the half cycle that the actuator's diode holds back
    closing, opening = found.closed_s
    return opening - 0.2 * (opening - closing) if settings.moment == "closed" else found.spike_s


def state(settings: Settings, before: Settings | None = None) -> State:
    """All that the bench shows at `settings`, with a sentence on what changed since `before`.

    >>> state(start()).readings[0].words
    'Bus, true rms'
    """
    found = numbers(settings)
    words, danger = caution(settings, found)
    return State(
        settings=settings,
        readings=_readings(settings, found),
        sentence=sentence(settings, before, found, numbers(before) if before else None),
        caution=words,
        wiring_svg=wiring_picture(settings).svg(),
        scope_svg=_scope(settings),
        danger=danger,
    )


def _readings(settings: Settings, found: Numbers) -> tuple[Reading, ...]:
    plain = unfiltered(settings)
    width = Reading("wide at half height", found.width_s, "s") if found.width_s else None
    calmer = Reading("thermostat", _decibels(found.thermostat_spike_volts, plain.thermostat_spike_volts), "dB")
    return (
        Reading("Bus, true rms", found.rms_volts, "V"),
        Reading("Highest spike on bus", found.spike_volts, "V", width),
        Reading("Spikes per second", found.spikes_hertz, ""),
        Reading("Dip while it draws", found.dip_volts, "V"),
        Reading("Peak at the thermostat", found.thermostat_peak_volts, "V"),
        Reading("Bus, against no filter", _decibels(found.spike_volts, plain.spike_volts), "dB", calmer),
        Reading("Drawn by the feed", found.feed_va, "VA"),
        Reading("Into the store", found.store_watts, "W"),
    )


def wiring_picture(settings: Settings) -> Picture:
    """The circuit with what flows where at the moment shown."""
    run, at = numbers(settings).run, moment_seconds(settings)
    names = [name for name in run.parts if name not in ("line", "secondary")]
    amps = run.quantities([("amps", name) for name in names], at)
    flows = {name: abs(float(value)) > FLOWS_AMPS for name, value in zip(names, amps, strict=True)}
    closed = any(mode == "on" and begin <= at < end for begin, end, mode in run.modes("switch"))
    return bus_picture(settings, flows, closed, float(run.volts("bus load", at)))


def traces(settings: Settings) -> tuple[Trace, ...]:
    """The waveforms that the bench shows: one cycle, or a close view about one opening of the switch."""
    found = numbers(settings)
    waves = (found.quiet, found.thermostat, found.bus)
    if settings.moment in _NEAR:
        waves = tuple(_around(wave, _origin(settings), *_NEAR[settings.moment]) for wave in waves)
    names = (("supply", "At rest"), ("load", "Thermostat"), ("spike", "Bus"))
    return tuple(Trace(wave, *name) for wave, name in zip(waves, names, strict=True))


def _origin(settings: Settings) -> float:
    """The instant (s) from which the scope counts its time: in a close view, the opening of the switch."""
    return numbers(settings).closed_s[1] if settings.moment in _NEAR else 0.0


def _around(wave: Waveform, opening_s: float, before_s: float, after_s: float) -> Waveform:
    part = wave.slice(max(opening_s - before_s, 0.0), min(opening_s + after_s, float(wave.seconds[-1])))
    return Waveform(part.seconds - opening_s, part.values, wave.unit)


def markers(settings: Settings) -> tuple[Level | Point, ...]:
    """What is pointed out on the traces: the wave's own peak, and the highest spike above it."""
    found = numbers(settings)
    peak = float(found.quiet.values.max())
    level = Level(peak, f"wave {amount(peak, 'V')}")
    if found.spike_volts < COUNTS_VOLTS:
        return (level,)
    top = float(np.interp(found.spike_s, found.quiet.seconds, found.quiet.values)) + found.spike_volts
    return (level, Point(found.spike_s - _origin(settings), top, f"spike +{amount(found.spike_volts, 'V')}"))


def _scope(settings: Settings) -> str:
    """The cursor stands aside where it would hide the spike."""
    words = {"close": "at the opening of the switch", "closed": "while the switch is closed"}
    cursor = moment_seconds(settings) - _origin(settings) if settings.moment in ("closed", "rest") else None
    return scope_svg(
        traces(settings),
        markers(settings),
        cursor_s=cursor,
        title=f"Scope picture of the bus, {words.get(settings.moment, 'one cycle')}",
    )

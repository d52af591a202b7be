"""The bench of supply and wire: a transformer, a run of two conductors, a relay and zone actuators at its far end.

A load is taken as the resistance that draws its rated VA at 24 V. The circuit is solved by `halfcycle.network`, the wire
comes from `halfcycle.wire`, and the readings from the meters.
"""

from dataclasses import dataclass
from functools import lru_cache

from halfcycle import instruments as meters
from halfcycle import wiring
from halfcycle.amounts import amount
from halfcycle.network import Network
from halfcycle.rectifier import add_supply
from halfcycle.scope import Level, Trace, scope_svg
from halfcycle.supply import Supply
from halfcycle.waveforms import Waveform
from halfcycle.wire import Wire

from .model import Control, Reading, Situation, State, own
from .supply_words import caution, sentence

__all__ = [
    "CONTROLS",
    "NAME",
    "PRINTED",
    "SITUATIONS",
    "Numbers",
    "Settings",
    "markers",
    "numbers",
    "pulls_in",
    "start",
    "state",
    "traces",
    "wiring_picture",
]

NAME = "supply"
RATED_VOLTS = 24.0
_SAMPLES = 500
_CYCLES = 2


@dataclass(frozen=True)
class Settings:
    """Where the bench's controls stand. The pull-in voltage is a common figure for a 24 V relay (no source)."""

    volt_amperes: float = 40.0
    regulation_percent: float = 10.0
    length_ft: float = 100.0
    gauge_awg: int = 18
    celsius: float = 20.0
    relay_va: float = 7.0
    actuators: int = 2
    actuator_va: float = 5.0
    pull_in_volts: float = 19.0
    thermostat_va: float = 0.0  # at the transformer, not at the end of the run

    @property
    def load_va(self) -> float:
        """The load list: what everything together is rated to draw at 24 V."""
        return self.thermostat_va + self.relay_va + self.actuators * self.actuator_va


def _with(unit: str):
    return lambda value: f"{value:g}\N{NO-BREAK SPACE}{unit}"


def _degrees(celsius: float) -> str:
    return f"{celsius:g} °C ({celsius * 9 / 5 + 32:.0f} °F)".replace("-", "−")


CONTROLS = (
    Control("volt_amperes", "Transformer", "VA", (20.0, 40.0, 50.0, 75.0, 100.0), _with("VA")),
    Control("regulation_percent", "Regulation", "%", (5.0, 8.0, 10.0, 12.0, 15.0, 20.0), _with("%")),
    Control(
        "length_ft",
        "Run, one way",
        "feet",
        (10.0, 25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0),
        _with("ft"),
    ),
    Control("gauge_awg", "Wire gauge", "AWG", (24, 22, 20, 18, 16, 14), lambda gauge: f"{gauge} AWG"),
    Control("celsius", "Wire at", "°C", (-20.0, 0.0, 20.0, 40.0, 60.0, 75.0), _degrees),
    Control("actuators", "Zones calling", "", tuple(range(9)), lambda count: f"{count} of 8"),
    Control("relay_va", "Relay coil", "VA", (4.0, 7.0, 10.0, 15.0), _with("VA")),
    Control("pull_in_volts", "Relay pulls in at", "V", (16.0, 17.0, 18.0, 19.0, 20.0, 21.0), _with("V")),
)
SITUATIONS = (
    Situation("Short thick run", {"length_ft": 25.0, "gauge_awg": 16}),
    Situation("Long thin run", {"length_ft": 400.0, "gauge_awg": 22}),
    Situation("All zones call", {"actuators": 6}),
    Situation("Transformer too small", {"volt_amperes": 20.0, "actuators": 6}),
)
PRINTED = (
    ("A short thick run", Settings(length_ft=25.0, gauge_awg=16, actuators=4)),
    ("A long thin run", Settings(length_ft=250.0, gauge_awg=20, actuators=4)),
)


def start(circuit=None) -> Settings:
    """The settings at which the bench begins: the learner's own values where `circuit` has them."""
    plain = Settings()
    relay = own(circuit, "relay_va", "coil_va", default=plain.relay_va)
    return Settings(
        volt_amperes=float(own(circuit, "volt_amperes", default=plain.volt_amperes)),
        regulation_percent=float(own(circuit, "regulation_percent", default=plain.regulation_percent)),
        length_ft=float(own(circuit, "length_ft", "run_ft", default=plain.length_ft)),
        gauge_awg=int(own(circuit, "gauge_awg", default=plain.gauge_awg)),
        celsius=float(own(circuit, "celsius", default=plain.celsius)),
        relay_va=float(relay),
        actuators=int(own(circuit, "actuators", default=plain.actuators)),
        actuator_va=float(own(circuit, "actuator_va", default=plain.actuator_va)),
        pull_in_volts=float(own(circuit, "pull_in_volts", default=plain.pull_in_volts)),
        thermostat_va=float(own(circuit, "thermostat_va", default=plain.thermostat_va)),
    )


@dataclass(frozen=True)
class Numbers:
    """What the library finds at one setting: rms volts and amps, Ω, VA, and two cycles of each waveform."""

    no_load_volts: float
    near_volts: float
    far_volts: float
    far_peak_volts: float
    run_amps: float
    one_way_ohm: float
    drawn_va: float
    near: Waveform
    far: Waveform
    amps: Waveform

    @property
    def lost_volts(self) -> float:
        """Lost in the run, rms."""
        return self.near_volts - self.far_volts


@lru_cache(maxsize=128)
def numbers(settings: Settings) -> Numbers:
    """Solve the circuit at these settings."""
    wire = Wire(settings.gauge_awg, settings.length_ft, settings.celsius)
    supply = Supply.from_rating(
        settings.volt_amperes, volts_rms=RATED_VOLTS, regulation=settings.regulation_percent / 100
    )
    solved = _network(supply, wire, settings).run(_CYCLES / supply.hertz)
    seconds = solved.times(_CYCLES * _SAMPLES)
    wanted = [("node", "R"), ("volts", "coil"), ("amps", "run out"), ("amps", "secondary")]
    near, far, amps, drawn = (
        Waveform(seconds, values, unit) for values, unit in zip(solved.quantities(wanted, seconds), "VVAA", strict=True)
    )
    return Numbers(
        no_load_volts=supply.volts_rms,
        near_volts=meters.true_rms(near),
        far_volts=meters.true_rms(far),
        far_peak_volts=meters.peak(far),
        run_amps=meters.true_rms(amps),
        one_way_ohm=wire.one_way_ohm,
        drawn_va=meters.true_rms(near) * meters.true_rms(drawn),
        near=near,
        far=far,
        amps=amps,
    )


def _network(supply: Supply, wire: Wire, settings: Settings) -> Network:
    net = Network(ground="C")
    add_supply(net, supply, "R", "C")
    net.resistor("run out", "R", "far R", wire.one_way_ohm)
    net.resistor("run back", "far C", "C", wire.one_way_ohm)
    if settings.thermostat_va:
        net.resistor("thermostat", "R", "C", RATED_VOLTS**2 / settings.thermostat_va)
    net.resistor("coil", "far R", "far C", RATED_VOLTS**2 / settings.relay_va)
    if settings.actuators:
        ohm = RATED_VOLTS**2 / (settings.actuators * settings.actuator_va)
        net.resistor("actuators", "far R", "far C", ohm)
    return net


def pulls_in(settings: Settings) -> bool:
    """Whether the relay at the far end gets the voltage that it needs."""
    return numbers(settings).far_volts >= settings.pull_in_volts


def state(settings: Settings, before: Settings | None = None) -> State:
    """All that the bench shows at `settings`, with a sentence on what changed since `before`.

    >>> state(start()).readings[0].words
    'Transformer, no load'
    """
    found, works = numbers(settings), pulls_in(settings)
    words, danger = caution(settings, found)
    return State(
        settings=settings,
        readings=_readings(settings, found),
        sentence=sentence(settings, before, found, numbers(before) if before else None, works),
        caution=words,
        wiring_svg=wiring_picture(settings).svg(),
        scope_svg=scope_svg(traces(settings), markers(settings), title="Scope picture of the supply, two cycles"),
        danger=danger,
    )


def _readings(settings: Settings, found: Numbers) -> tuple[Reading, ...]:
    return (
        Reading("Transformer, no load", found.no_load_volts, "V"),
        Reading("Transformer, now", found.near_volts, "V"),
        Reading("Lost in the run", found.lost_volts, "V"),
        Reading("At the relay", found.far_volts, "V"),
        Reading("Current in the run", found.run_amps, "A"),
        Reading("Run, out and back", 2 * found.one_way_ohm, "Ω"),
        Reading("Load list, thermostat included" if settings.thermostat_va else "Load list", settings.load_va, "VA"),
        Reading("Drawn from transformer", found.drawn_va, "VA"),
    )


def wiring_picture(settings: Settings) -> wiring.Picture:
    """The circuit with its voltages, and whether the relay has pulled in."""
    found, works = numbers(settings), pulls_in(settings)
    values = {
        "line": "line",
        "supply": f"{settings.volt_amperes:g} VA",
        "near": amount(found.near_volts, "V"),
        "out": amount(found.one_way_ohm, "Ω"),
        "back": amount(found.one_way_ohm, "Ω"),
        "far": amount(found.far_volts, "V"),
        "coil": f"coil {settings.relay_va:g} VA",
        "contact": "closed" if works else "open",
        "actuators": f"{settings.actuators} × {settings.actuator_va:g} VA",
    }
    words = (
        f"Wiring picture. Transformer {values['supply']}, {values['near']} at its terminals R and C. "
        f"Run of {settings.length_ft:g} ft, {settings.gauge_awg} AWG, {values['out']} each way. "
        f"{values['far']} at the relay coil, whose contact is {values['contact']}; {settings.actuators} actuators beside it."
    )
    return wiring.run_of_wire(words, values, pulled_in=works, actuators=settings.actuators > 0)


def traces(settings: Settings) -> tuple[Trace, ...]:
    """The waveforms that the bench shows."""
    found = numbers(settings)
    return (
        Trace(found.near, "supply", "Transformer"),
        Trace(found.far, "load", "Relay"),
        Trace(found.amps, "current", "Current"),
    )


def markers(settings: Settings) -> tuple[Level, ...]:
    """What is pointed out on the traces."""
    found = numbers(settings)
    needed = Waveform.sine(volts_peak=settings.pull_in_volts * 2**0.5)
    return (
        Level(meters.peak(found.near), f"supply {amount(meters.peak(found.near), 'V')}"),
        Level(found.far_peak_volts, f"relay {amount(found.far_peak_volts, 'V')}"),
        Level(meters.peak(needed), f"needs {amount(meters.peak(needed), 'V')}"),
    )

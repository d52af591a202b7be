"""The bench of two calls on one conductor: two contacts, two diodes, one wire, two opposite branches, two outputs.

The circuit is that of `halfcycle.steering`, solved in its periodic steady state; the readings come from the meters.
"""

import numpy as np

from halfcycle import wiring
from halfcycle.amounts import amount
from halfcycle.scope import Level, Point, Trace, scope_svg
from halfcycle.steering import FAULTS
from halfcycle.supply import Supply
from halfcycle.wire import Wire

from .model import Control, Reading, Situation, State, own
from .two_calls_solved import CONDUCTS_AMPS, METERS, Moment, Numbers, Settings, moment, numbers
from .two_calls_wiring import two_calls
from .two_calls_words import caution, sentence, standing

__all__ = [
    "CONTROLS",
    "NAME",
    "PRINTED",
    "SITUATIONS",
    "Settings",
    "markers",
    "moment",
    "numbers",
    "start",
    "state",
    "traces",
    "wiring_picture",
]

NAME = "two_calls"
_RUNS_FT = {Wire(18, feet).one_way_ohm: feet for feet in (25, 50, 100, 200, 300, 500)}
_SPLICES_OHM = (47.0, 220.0, 1000.0)


def _conductor(ohm: float) -> str:
    if ohm in _SPLICES_OHM:
        return f"{ohm:g}\N{NO-BREAK SPACE}Ω, bad splice"
    feet = f", {_RUNS_FT[ohm]}\N{NO-BREAK SPACE}ft" if ohm in _RUNS_FT else ""
    return amount(ohm, "Ω") + feet


_CONTACT = {False: "open", True: "closed"}
CONTROLS = (
    Control("call_a", "Call A", "", (False, True), _CONTACT.__getitem__),
    Control("call_b", "Call B", "", (False, True), _CONTACT.__getitem__),
    Control("fault", "Fault", "", ("", *FAULTS), lambda fault: fault or "none"),
    Control(
        "led_resistor_ohm",
        "LED resistors",
        "Ω",
        (390.0, 470.0, 560.0, 680.0, 820.0, 1000.0, 1200.0, 1500.0, 2200.0, 3300.0, 4700.0, 6800.0, 8200.0),
        lambda ohm: f"{ohm:g}\N{NO-BREAK SPACE}Ω",
    ),
    Control("wire_ohm", "Conductor", "Ω", (*_RUNS_FT, *_SPLICES_OHM), _conductor),
    Control("meter", "Meter", "", tuple(METERS), {"dc": "dc", "ac": "ac", "low": "ac, low input"}.__getitem__),
    Control("moment_degrees", "Moment", "degrees", tuple(15.0 * k for k in range(25)), lambda v: f"{v:g}°"),
)
SITUATIONS = (
    Situation("All well", {"call_a": True, "call_b": False, "fault": ""}),
    Situation("Both called", {"call_a": True, "call_b": True, "fault": ""}),
    Situation("Diode shorted", {"call_a": True, "call_b": False, "fault": "diode A shorted"}),
    Situation("Diodes swapped", {"call_a": True, "call_b": False, "fault": "diodes swapped"}),
    Situation("LED A open", {"call_a": True, "call_b": True, "fault": "LED A open"}),
    Situation("Common lost", {"call_a": True, "call_b": True, "fault": "common lost"}),
)
PRINTED = (
    ("Call A alone", Settings()),
    ("Both calls", Settings(call_b=True)),
)


def start(circuit=None) -> Settings:
    """The settings at which the bench begins: the learner's own values where `circuit` has them."""
    plain = Settings()
    usual = (
        "call_a",
        "call_b",
        "led_resistor_ohm",
        "wire_ohm",
        "led_drop_volts",
        "trigger_amps",
        "coil_ohm",
        "coil_henry",
    )
    rating = float(own(circuit, "volt_amperes", default=0.0))
    supply = Supply.from_rating(rating or 40.0, regulation=own(circuit, "regulation_percent", default=10) / 100)
    volts = own(circuit, "volts_rms")
    winding = own(circuit, "source_ohm", "resistance_ohm", default=0.0 if volts else supply.resistance_ohm)
    return Settings(
        volt_amperes=rating if circuit is not None and volts else rating or 40.0,
        volts_rms=float(volts or supply.volts_rms),
        resistance_ohm=float(winding),
        **{name: type(getattr(plain, name))(own(circuit, name, default=getattr(plain, name))) for name in usual},
    )


def state(settings: Settings, before: Settings | None = None) -> State:
    """All that the bench shows at `settings`, with a sentence on what changed since `before`.

    >>> state(start()).readings[0].words
    'Conductor, dc meter'
    """
    found = numbers(settings)
    words, danger = caution(settings, found)
    return State(
        settings=settings,
        readings=_readings(settings, found),
        sentence=sentence(settings, before, found, numbers(before) if before else None, moment(settings)),
        caution=words,
        wiring_svg=wiring_picture(settings).svg(),
        scope_svg=_scope(settings),
        danger=danger,
    )


def _readings(settings: Settings, found: Numbers) -> tuple[Reading, ...]:
    leds = [
        Reading(f"LED {call}, mean", mean, "A", Reading("peak", peak, "A"))
        for call, mean, peak in zip("AB", found.led_amps, found.led_peak_amps, strict=True)
    ]
    coils = [
        Reading(f"Output {call} is {'on' if on else 'off'}, coil", rms, "A", Reading("its dc part", mean, "A"))
        for call, on, rms, mean in zip("AB", found.on, found.coil_amps, found.coil_dc_amps, strict=True)
    ]
    average = Reading("average-responding", found.average_volts, "V")
    return (
        Reading("Conductor, dc meter", found.dc_volts, "V"),
        Reading("Conductor, ac meter", found.ac_volts, "V", average),
        *leds,
        *coils,
        Reading("LED resistor, heat", max(found.resistor_watts), "W"),
        Reading("Drawn from transformer", found.drawn_va, "VA"),
    )


def wiring_picture(settings: Settings) -> wiring.Picture:
    """The circuit in the state of the moment shown."""
    found, now = numbers(settings), moment(settings)
    reading = found.dc_volts if settings.meter == "dc" else found.ac_volts
    values = {
        "line": "line",
        "supply": amount(settings.volts_rms, "V"),
        "wire": amount(settings.wire_ohm, "Ω"),
        "resistor": f"{settings.led_resistor_ohm:g} Ω",
        "dial": "dc meter" if settings.meter == "dc" else "ac meter",
        "meter": amount(reading, "V"),
    }
    for k, call in enumerate("AB"):
        values[f"led {call}"] = amount(found.led_amps[k], "A", 2)
        values[f"output {call}"] = "on" if found.on[k] else "off"
    return wiring.Picture(two_calls, _parts(settings, now), values, _wiring_words(settings, found, now, values))


def _parts(settings: Settings, now: Moment) -> tuple:
    """The states that the drawing takes."""
    fault = settings.fault
    lost = fault == "common lost"
    flows = wiring.CONDUCTING if abs(now.wire_amps) > CONDUCTS_AMPS else wiring.IDLE
    outputs = tuple(wiring.CONDUCTING if coil else wiring.BLOCKING for coil in now.coils)
    leds = tuple(
        wiring.BROKEN if fault == f"LED {call} open" else wiring.CONDUCTING if lit else wiring.BLOCKING
        for call, lit in zip("AB", now.leds, strict=True)
    )
    turned = tuple(fault in (f"diode {call} reversed", "diodes swapped") for call in "AB")
    diodes = tuple(_diode(fault, call, carries) for call, carries in zip("AB", now.diodes, strict=True))
    joint = wiring.BROKEN if lost else flows
    return (settings.call_a, settings.call_b), diodes, turned, leds, outputs, (flows, joint)


def _diode(fault: str, call: str, carries: bool) -> str:
    if fault == f"diode {call} open":
        return wiring.BROKEN
    if fault == f"diode {call} shorted":
        return "shorted live" if carries else "shorted"
    return wiring.CONDUCTING if carries else wiring.BLOCKING


def _wiring_words(settings: Settings, found: Numbers, now: Moment, values: dict[str, str]) -> str:
    calls = " and ".join(
        f"call {c} {_CONTACT[on]}" for c, on in zip("AB", (settings.call_a, settings.call_b), strict=True)
    )
    lit = " and ".join(f"LED {call}" for call, on in zip("AB", now.leds, strict=True) if on) or "no LED"
    return (
        f"Wiring picture. Transformer {values['supply']} without load; {calls}; fault: {settings.fault or 'none'}. "
        f"One conductor of {values['wire']} to two opposite branches with {values['resistor']} each. "
        f"{values['dial']} on the conductor: {values['meter']}. At {settings.moment_degrees:g}°: {lit} carries current. "
        f"{standing(found)[0].upper()}{standing(found)[1:]}."
    )


def traces(settings: Settings) -> tuple[Trace, ...]:
    """The waveforms that the bench shows; LED B's current is drawn downwards, as it flows in the conductor."""
    found = numbers(settings)
    return (
        Trace(found.line, "supply", "R"),
        Trace(found.conductor, "load", "Conductor"),
        Trace(found.leds[0], "current", "LED A"),
        Trace(found.leds[1], "diode", "LED B"),
    )


def markers(settings: Settings) -> tuple:
    """What is pointed out on the traces."""
    found = numbers(settings)
    marks = [Level(found.dc_volts, f"mean {amount(found.dc_volts, 'V')}")]
    for call, wave, peak in zip("AB", found.leds, found.led_peak_amps, strict=True):
        if peak > CONDUCTS_AMPS:
            at = int(np.abs(wave.values).argmax())
            marks.append(Point(float(wave.seconds[at]), float(wave.values[at]), f"{call} {amount(peak, 'A')}", "A"))
    return tuple(marks)


def _scope(settings: Settings) -> str:
    return scope_svg(
        traces(settings),
        markers(settings),
        cursor_s=settings.moment_degrees / 360 / 60.0,
        cursor_label=f"{settings.moment_degrees:g}°",
        title="Scope picture of two calls on one conductor, two cycles",
    )

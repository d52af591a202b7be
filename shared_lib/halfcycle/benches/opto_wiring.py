"""The wiring picture of an optoisolator: the call's side on the left, the load's side on the right, light between them."""

from math import isfinite

from halfcycle.amounts import amount
from halfcycle.wiring import BLOCKING, BROKEN, CONDUCTING, IDLE, Picture, Sketch

__all__ = ["opto_picture"]

_LEFT, _LED, _TRIAC, _SNUB, _RIGHT = -1.0, 3.9, 5.5, 6.8, 9.0  # where each branch stands, x
_HIGH, _LOW = 4.3, 0.3  # the two rails
_TOP, _BOTTOM = 3.0, 1.4  # ends of LED and triac


def opto_picture(settings, found, flows: dict[str, float], least_amps: float) -> Picture:
    """Both sides at the moment at which `flows` (A) go through LED, output and coil."""
    led, output, coil = (abs(flows[name]) > least_amps for name in ("LED", "output", "coil"))
    across, snubbed = isfinite(settings.across_ohm), bool(settings.snubber_farad)
    leaks = found.load_rms_volts > 3.0
    parts = (settings.feed, settings.called, settings.fault, led, output, coil or leaks, across, snubbed)
    values = {
        "led_resistor": amount(settings.led_resistor_ohm, "Ω"),
        "call": "call" if settings.called else "no call",
        "feed": {"half": "one diode", "full": "bridge", "dc": "24 V dc"}[settings.feed],
        "load": f"{settings.load.kind} {amount(settings.load.ohm, 'Ω')}",
        "answer": _answer(settings, found),
        "across": amount(settings.across_ohm, "Ω") if across else "",
        "snub_ohm": amount(settings.snubber_ohm, "Ω"),
        "snub_farad": amount(settings.snubber_farad, "F"),
        "volts": amount(settings.volts_rms, "V"),
        "output": "on" if output else "off",
        "light": "light" if led else "dark",
    }
    return Picture(_draw, parts, values, _words(settings, values, led, across, snubbed))


def _answer(settings, found) -> str:
    if settings.load.is_input:
        return "sees a call" if found.answers else "sees no call"
    return "pulled in" if found.answers else "stays out"


def _words(settings, values, led: bool, across: bool, snubbed: bool) -> str:
    beside = f", {values['across']} across it" if across else ""
    snubber = f", snubber of {values['snub_ohm']} and {values['snub_farad']} across it" if snubbed else ""
    fault = f" Fault: {settings.fault}." if settings.fault else ""
    return (
        f"Wiring picture of two sides that share nothing but light. Left: {values['call']}, LED fed by {values['feed']} "
        f"through {values['led_resistor']}. Right: {values['volts']} supply, {values['load']}{beside}, triac output{snubber}."
        f"{fault} At {settings.moment_degrees:g}°: LED {'lit' if led else 'dark'}, output {values['output']}; load {values['answer']}."
    )


def _draw(
    sketch: Sketch,
    feed: str,
    called: bool,
    fault: str,
    led: bool,
    output: bool,
    coil: bool,
    across: bool,
    snubbed: bool,
) -> None:
    _call_side(sketch, feed, called, fault, led)
    _package(sketch, led)
    _load_side(sketch, fault, output, coil, across, snubbed)


def _call_side(sketch: Sketch, feed: str, called: bool, fault: str, led: bool) -> None:
    path = CONDUCTING if led else IDLE
    if feed == "dc":
        sketch.part("Battery", (_LEFT, _HIGH), (_LEFT, _LOW), state=path)
    else:
        sketch.part("SourceSin", (_LEFT, _LOW), (_LEFT, _HIGH), state=path)
    _contact(sketch, called, path)
    if feed == "full":
        sketch.part("RBox", (0.5, _HIGH), (2.0, _HIGH), state=path)
        sketch.words((1.25, _HIGH - 0.7), "@feed@", align="center", size=14)
    elif feed == "half":
        sketch.part("Diode", (0.5, _HIGH), (2.0, _HIGH), state=path if led or not called else BLOCKING)
        sketch.words((1.25, _HIGH - 0.7), "@feed@", align="center", size=14)
    else:
        sketch.wire((0.5, _HIGH), (2.0, _HIGH), state=path)
        sketch.words((_LEFT + 0.6, 2.3), "@feed@", size=14)
    sketch.part("ResistorIEC", (2.0, _HIGH), (_LED, _HIGH), state=path)
    sketch.words((2.95, _HIGH + 0.7), "@led_resistor@", align="center", size=14)
    sketch.wire((_LED, _HIGH), (_LED, _TOP), state=path)
    sketch.part("LED", (_LED, _TOP), (_LED, _BOTTOM), state=BROKEN if fault == "LED open" else _lit(led, called))
    sketch.wire((_LED, _BOTTOM), (_LED, _LOW), (_LEFT, _LOW), state=path)


def _lit(led: bool, called: bool) -> str:
    return CONDUCTING if led else (BLOCKING if called else IDLE)


def _contact(sketch: Sketch, called: bool, path: str) -> None:
    """The thermostat's contact: closed while it calls."""
    sketch.wire((_LEFT, _HIGH), (-0.6, _HIGH), state=path)
    sketch.wire((-0.6, _HIGH), (0.3, _HIGH + (0.0 if called else 0.45)), state=path)
    sketch.wire((0.3, _HIGH), (0.5, _HIGH), state=path)
    for x in (-0.6, 0.3):
        sketch.dot((x, _HIGH), open=True)
    sketch.words((-0.3, _HIGH + 0.95), "@call@", align="center", size=14)


def _package(sketch: Sketch, led: bool) -> None:
    """The part that holds LED and triac; the gap between them is crossed by light alone."""
    left, right, low, high = _LED - 0.6, _TRIAC + 0.75, _BOTTOM - 0.25, _TOP + 0.25
    sketch.wire((left, low), (right, low), (right, high), (left, high), (left, low), state=BLOCKING)
    sketch.words(((left + _TRIAC) / 2, _LOW - 0.6), "@light@", align="center", size=14)


def _load_side(sketch: Sketch, fault: str, output: bool, coil: bool, across: bool, snubbed: bool) -> None:
    through, path = CONDUCTING if output else BLOCKING, CONDUCTING if coil else IDLE
    own = CONDUCTING if output else IDLE
    sketch.part("SourceSin", (_RIGHT, _LOW), (_RIGHT, _HIGH), state=path)
    sketch.words((9.6, _LOW - 0.6), "@volts@", align="right", size=14)
    sketch.part("RBox", (_RIGHT - 0.6, _HIGH), (_SNUB - 0.4, _HIGH), state=path)
    sketch.wire((_RIGHT - 0.6, _HIGH), (_RIGHT, _HIGH), state=path)
    sketch.wire((_SNUB - 0.4, _HIGH), (_TRIAC, _HIGH), state=path)
    sketch.words((7.45, _HIGH + 0.65), "@load@", align="center", size=14)
    sketch.wire((_TRIAC, _HIGH), (_TRIAC, _TOP), state=own)
    if fault == "output shorted":
        sketch.wire((_TRIAC, _TOP), (_TRIAC, _BOTTOM), state=own)
        sketch.words((_TRIAC - 0.15, 0.75), "short", align="right", size=14)
    else:
        sketch.part("Triac", (_TRIAC, _TOP), (_TRIAC, _BOTTOM), state=through)
    sketch.wire((_TRIAC, _BOTTOM), (_TRIAC, _LOW), state=own)
    sketch.wire((_TRIAC, _LOW), (_RIGHT, _LOW), state=path)
    sketch.words((6.7, _LOW - 0.6), "@answer@", align="center", size=14)
    if across:
        _across(sketch, path)
    if snubbed:
        _snubber(sketch, path)


def _across(sketch: Sketch, path: str) -> None:
    left, right, high = _SNUB - 0.7, _RIGHT - 0.3, _HIGH + 1.5
    sketch.wire((left, _HIGH), (left, high), state=path)
    sketch.part("ResistorIEC", (left, high), (right, high), state=path)
    sketch.wire((right, high), (right, _HIGH), state=path)
    sketch.words((7.45, high + 0.65), "@across@", align="center", size=14)
    for x in (left, right):
        sketch.dot((x, _HIGH), path)


def _snubber(sketch: Sketch, path: str) -> None:
    sketch.wire((_TRIAC, 3.5), (_SNUB, 3.5), state=path)
    sketch.part("ResistorIEC", (_SNUB, 3.5), (_SNUB, 1.9), state=path)
    sketch.part("Capacitor", (_SNUB, 1.9), (_SNUB, _LOW), state=path)
    for at in ((_TRIAC, 3.5), (_SNUB, _LOW)):
        sketch.dot(at, path)
    sketch.words((_SNUB + 0.3, 1.2), "@snub_farad@", size=14)

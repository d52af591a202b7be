"""The wiring picture of a bus with a pulse-charging actuator, the thermostat, what else hangs on it, and a filter."""

from halfcycle.amounts import amount
from halfcycle.wiring import BLOCKING, BROKEN, CONDUCTING, IDLE, TOP, Picture, Sketch, transformer

__all__ = ["bus_picture"]

_LOADS, _SNUB, _ACTUATOR, _STORE, _CHOKED, _THERMOSTAT = 2.6, 4.2, 5.5, 6.8, 7.8, 8.9  # where each branch stands, x
_FED, _SWITCHED = 3.9, 2.5  # heights of the nodes inside the actuator


def bus_picture(settings, flows: dict[str, bool], closed: bool, bus_volts: float) -> Picture:
    """The circuit; `flows` says of each part whether it carries current now, `closed` whether the switch is closed."""
    parts, place = settings.parts, settings.place
    broken = settings.fault == "capacitor open"
    values = {
        "line": "line",
        "supply": amount(settings.source.volts_rms, "V"),
        "leakage": amount(settings.source.leakage_henry, "H"),
        "loads": amount(settings.bus_load_ohm, "Ω"),
        "farad": amount(parts.farad, "F"),
        "ohm": amount(parts.ohm, "Ω"),
        "henry": amount(parts.henry, "H"),
        "store": f"{settings.store_volts:g} V",
    }
    live = tuple(sorted(name for name, flowing in flows.items() if flowing))
    return Picture(
        _draw, (place, broken, closed, live), values, _words(settings, values, flows, closed, broken, bus_volts)
    )


def _words(settings, values, flows, closed: bool, broken: bool, bus_volts: float) -> str:
    fitted = {
        "none": "no filter",
        "feed": f"diode, {values['ohm']} and {values['farad']} in the actuator's feed",
        "snubber": f"snubber of {values['ohm']} and {values['farad']} across the bus",
        "lc": f"choke of {values['henry']} and {values['farad']} ahead of the thermostat",
        "straight": "a box ahead of the thermostat that carries the supply straight through",
    }[settings.place]
    fitted += ", the capacitor's lead open" if broken else ""
    return (
        f"Wiring picture. Transformer {values['supply']} without load with {values['leakage']} of leakage, "
        f"{values['loads']} of other loads, thermostat, zone actuator with a store at {values['store']}; {fitted}. "
        f"At this moment: bus at {amount(bus_volts, 'V')}, switch {'closed' if closed else 'open'}, actuator's diode "
        f"{'conducting' if flows['diode'] else 'blocking'}, second diode {'conducting' if flows['freewheel'] else 'blocking'}."
    )


def _draw(sketch: Sketch, place: str, broken: bool, closed: bool, live: tuple[str, ...]) -> None:
    def state(*names: str) -> str:
        return CONDUCTING if set(names) & set(live) else IDLE

    supply = state("leakage", "winding", "bus load")
    transformer(sketch, 2.7, supply)
    sketch.wire((1.3, 3.7), (1.3, TOP), state=supply)
    sketch.part("Inductor", (1.3, TOP), (_LOADS - 0.3, TOP), state=supply, loops=4)
    sketch.words((1.9, TOP + 0.65), "@leakage@", align="center", size=14)
    sketch.wire((1.3, 1.7), (1.3, 0.0), (_LOADS, 0.0), state=supply)
    sketch.wire((_LOADS - 0.3, TOP), (_LOADS, TOP), state=supply)
    onward = state("feed", "thermostat")
    for y in (TOP, 0.0):
        sketch.wire((_LOADS, y), (_THERMOSTAT if y == 0 else _rail_end(place), y), state=onward)
        sketch.dot((_LOADS, y), supply)
    _branch(sketch, _LOADS, state("bus load"), "others", "@loads@")
    if place == "snubber":
        _snubber(sketch, state("filter resistor"), broken)
    _actuator(sketch, place, state, broken, closed, live)
    _thermostat(sketch, place, state, broken)


def _rail_end(place: str) -> float:
    return {"lc": 6.1, "straight": 6.6}.get(place, _THERMOSTAT)


def _branch(sketch: Sketch, x: float, state: str, name: str, value: str) -> None:
    sketch.part("ResistorIEC", (x, TOP), (x, 0.0), state=state)
    sketch.words((x, -0.5), name, align="center", size=14)
    sketch.words((x, -1.0), value, align="center", size=14)


def _capacitor(sketch: Sketch, x: float, top: float, bottom: float, state: str, broken: bool) -> None:
    """Between two heights; a broken one has a gap above it."""
    middle, gap = bottom + 1.0, 0.5 if broken else 0.0
    lead = IDLE if broken else state
    sketch.part("Capacitor", (x, middle + 0.4), (x, middle - 0.4), state=BROKEN if broken else state)
    sketch.wire((x, top), (x, middle + 0.4 + gap), state=lead)
    sketch.wire((x, middle - 0.4), (x, bottom), state=lead)
    for y in (middle + 0.4 + gap, middle + 0.4) if broken else ():
        sketch.dot((x, y), open=True)


def _snubber(sketch: Sketch, state: str, broken: bool) -> None:
    sketch.part("ResistorIEC", (_SNUB, TOP), (_SNUB, 3.0), state=state)
    _capacitor(sketch, _SNUB, 3.0, 0.0, state, broken)
    for y in (TOP, 0.0):
        sketch.dot((_SNUB, y), state)
    sketch.words((_SNUB, -0.5), "@ohm@", align="center", size=14)
    sketch.words((_SNUB, -1.0), "@farad@", align="center", size=14)


def _actuator(sketch: Sketch, place: str, state, broken: bool, closed: bool, live: tuple[str, ...]) -> None:
    x, feed = _ACTUATOR, state("feed")
    sketch.dot((x, TOP), feed)
    sketch.part("Diode", (x, TOP), (x, _FED), state=CONDUCTING if "diode" in live else BLOCKING)
    if place == "feed":
        held = state("filter capacitor")
        sketch.wire((_SNUB, _FED), (x, _FED), state=IDLE if broken else held)
        _capacitor(sketch, _SNUB, _FED, 0.0, held, broken)
        sketch.dot((x, _FED), feed)
        sketch.words((_SNUB, -0.5), "@farad@", align="center", size=14)
    path = state("switch") if closed else IDLE
    sketch.wire((x, _FED), (x, _FED - 0.3), state=path)
    sketch.wire((x, _SWITCHED + 0.2), (x, _SWITCHED), state=path)
    swing = 0.0 if closed else 0.45
    sketch.wire((x, _SWITCHED + 0.2), (x + swing, _FED - 0.3), state=path)
    for y in (_FED - 0.3, _SWITCHED + 0.2):
        sketch.dot((x, y), open=True)
    choke = state("choke")
    sketch.part("Inductor", (x, _SWITCHED), (x, 0.0), state=choke, loops=4)
    sketch.dot((x, 0.0), choke)
    _store(sketch, state, live)
    sketch.words(((x + _STORE) / 2, -0.5), "actuator", align="center", size=14)
    sketch.words(((x + _STORE) / 2, -1.0), "store @store@", align="center", size=14)


def _store(sketch: Sketch, state, live: tuple[str, ...]) -> None:
    flow = CONDUCTING if "freewheel" in live else BLOCKING
    wire = state("freewheel")
    sketch.wire((_ACTUATOR, _SWITCHED), (_STORE, _SWITCHED), state=wire)
    sketch.dot((_ACTUATOR, _SWITCHED), wire)
    sketch.part("Diode", (_STORE, 1.3), (_STORE, _SWITCHED), state=flow)
    sketch.part("Capacitor", (_STORE, 1.3), (_STORE, 0.0), state=wire)


def _thermostat(sketch: Sketch, place: str, state, broken: bool) -> None:
    x, flow = _THERMOSTAT, state("thermostat")
    if place == "lc":
        sketch.part("Inductor", (6.1, TOP), (_CHOKED - 0.2, TOP), state=state("filter choke"), loops=4)
        sketch.wire((_CHOKED - 0.2, TOP), (x, TOP), state=flow)
        sketch.words((9.5, TOP + 0.65), "@henry@, @farad@", align="right", size=14)
        held = state("filter capacitor")
        _capacitor(sketch, _CHOKED, TOP, 0.0, held, broken)
        for y in (TOP, 0.0):
            sketch.dot((_CHOKED, y), held)
    if place == "straight":
        _straight_box(sketch, flow)
    sketch.part("RBox", (x, TOP), (x, 0.0), state=flow)
    sketch.words((9.6, -0.5), "thermostat", align="right", size=14)


def _straight_box(sketch: Sketch, flow: str) -> None:
    """A box with the conductor going through it."""
    left, right, low, high = 6.6, 8.1, TOP - 0.5, TOP + 0.5
    sketch.wire((left, low), (right, low), (right, high), (left, high), (left, low))
    sketch.wire((left, TOP), (_THERMOSTAT, TOP), state=flow)
    sketch.words(((left + right) / 2, TOP - 0.9), "the box", align="center", size=14)

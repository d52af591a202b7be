"""The drawing of two calls on one conductor: the thermostat above, both outputs below it, meter and branches to the right."""

from halfcycle.wiring import BROKEN, CONDUCTING, IDLE, TOP, Sketch, transformer

__all__ = ["two_calls"]

_UPPER, _LOWER = 6.05, 4.75  # the two paths in the thermostat
_OUT = {"A": 2.7, "B": 4.3}
_METER = 5.9
_LED = {"A": 7.5, "B": 9.0}


def two_calls(
    sketch: Sketch, closed: tuple, diodes: tuple, turned: tuple, leds: tuple, outputs: tuple, live: tuple
) -> None:
    """Draw the circuit. Each pair is of A and B; the values are line, wire, resistor, dial, meter and, of A and B, led and output.

    closed : whether the contacts are closed; turned : whether the diodes are the wrong way round
    diodes, leds, outputs : states of the thermostat's diodes ("shorted" for a bare wire), the branches, the outputs
    live : states of the conductor and of the joint between branches and common
    """
    conductor, joint = live
    flows = CONDUCTING if CONDUCTING in (conductor, *outputs) else IDLE
    transformer(sketch, 2.7, flows)
    sketch.wire((1.3, 3.7), (1.3, TOP), (1.8, TOP), state=conductor)
    sketch.words((1.15, TOP - 0.35), "R", align="right")
    sketch.words((1.15, 0.35), "C", align="right")
    for call, y, shut, diode, turn in zip("AB", (_UPPER, _LOWER), closed, diodes, turned, strict=True):
        _call(sketch, call, y, shut, diode, turn)
    _conductor(sketch, conductor)
    for call, output in zip("AB", outputs, strict=True):
        _output(sketch, call, output)
    sketch.part("MeterV", (_METER, 0.0), (_METER, TOP))
    for call, led in zip("AB", leds, strict=True):
        _branch(sketch, call, led)
    _common(sketch, outputs, leds, joint)


def _call(sketch: Sketch, call: str, y: float, closed: bool, diode: str, turned: bool) -> None:
    path = CONDUCTING if diode in (CONDUCTING, "shorted live") else IDLE
    sketch.wire((1.8, TOP), (1.8, y), (2.1, y), state=path)
    sketch.wire((2.1, y), (2.9, y) if closed else (2.8, y + 0.5), state=path)
    for x in (2.1, 2.9):
        sketch.dot((x, y), open=True)
    out = y + 0.6 if call == "A" else y - 0.6
    sketch.words((2.5, out), f"call {call}", align="center", size=14)
    _diode(sketch, call, (3.0, y), (4.3, y), diode, turned)
    sketch.wire((4.3, y), (4.5, y), (4.5, TOP), state=path)


def _diode(sketch: Sketch, call: str, begin: tuple, end: tuple, diode: str, turned: bool) -> None:
    """A's passes current to the right; a broken one has a gap in its lead, a shorted one is a wire."""
    (left, y), (right, _) = begin, end
    if diode.startswith("shorted"):
        sketch.wire(begin, end, state=CONDUCTING if diode.endswith("live") else IDLE)
        inside = y - 0.35 if call == "A" else y + 0.35
        sketch.words(((left + right) / 2, inside), "shorted", align="center", size=13)
        return
    gap = 0.45 if diode == BROKEN else 0.0
    ends = ((left + gap, y), end)
    sketch.part("Diode", *(reversed(ends) if (call == "B") ^ turned else ends), state=diode)
    for x in (left, left + gap) if gap else ():
        sketch.dot((x, y), open=True)


def _conductor(sketch: Sketch, state: str) -> None:
    sketch.part("ResistorIEC", (4.5, TOP), (_METER, TOP), state=state)
    sketch.words((5.6, TOP + 0.95), "one conductor", align="center", size=14)
    sketch.words((5.6, TOP + 0.5), "@wire@", align="center", size=14)
    sketch.wire((_METER, TOP), (_LED["A"], TOP), state=state)
    sketch.dot((_METER, TOP), state)


def _output(sketch: Sketch, call: str, state: str) -> None:
    """Coil and triac in series between R and C, apart from the branches: only light joins them."""
    x = _OUT[call]
    sketch.part("RBox", (x, 3.7), (x, 2.2), state=state)
    sketch.part("Triac", (x, 2.0), (x, 0.7), state=state)
    sketch.wire((x, 2.2), (x, 2.0), state=state)
    sketch.wire((x, 0.7), (x, 0.0), state=state)


def _branch(sketch: Sketch, call: str, state: str) -> None:
    """Resistor, diode, LED; those of B point upwards."""
    x, lead = _LED[call], CONDUCTING if state == CONDUCTING else IDLE
    sketch.part("ResistorIEC", (x, TOP), (x, 3.9), state=lead)
    down = call == "A"
    for symbol, high, low in (("Diode", 3.9, 2.6), ("LED", 2.6, 1.2)):
        gap = 0.4 if state == BROKEN and symbol == "LED" else 0.0
        ends = ((x, high), (x, low + gap))
        sketch.part(symbol, *(ends if down else reversed(ends)), state=state if symbol == "LED" or not gap else IDLE)
        for y in (low + gap, low) if gap else ():
            sketch.dot((x, y), open=True)
    sketch.wire((x, 1.2), (x, 0.0), state=lead)


def _common(sketch: Sketch, outputs: tuple, leds: tuple, joint: str) -> None:
    """The rails: R to both outputs, the conductor on to branch B, common back to the transformer."""
    out_a, out_b = _OUT["A"], _OUT["B"]
    both = CONDUCTING if CONDUCTING in outputs else IDLE
    far = CONDUCTING if leds[1] == CONDUCTING else IDLE
    last = CONDUCTING if outputs[1] == CONDUCTING else IDLE
    back = CONDUCTING if CONDUCTING in leds and joint != BROKEN else IDLE
    sketch.wire((1.3, 3.7), (out_a, 3.7), state=both)
    sketch.wire((out_a, 3.7), (out_b, 3.7), state=last)
    sketch.wire((_LED["A"], TOP), (_LED["B"], TOP), state=far)
    sketch.words((8.4, TOP + 0.5), "@resistor@ each", align="center", size=14)
    sketch.wire((1.3, 1.7), (1.3, 0.0), (out_a, 0.0), state=CONDUCTING if CONDUCTING in (both, back) else IDLE)
    sketch.wire((out_a, 0.0), (out_b, 0.0), state=CONDUCTING if CONDUCTING in (last, back) else IDLE)
    sketch.wire((out_b, 0.0), (_METER + 0.5, 0.0), state=back)
    if joint == BROKEN:
        for x in (_METER + 0.5, _METER + 1.1):
            sketch.dot((x, 0.0), open=True)
    else:
        sketch.wire((_METER + 0.5, 0.0), (_METER + 1.1, 0.0), state=back)
    sketch.wire((_METER + 1.1, 0.0), (_LED["A"], 0.0), state=back)
    sketch.wire((_LED["A"], 0.0), (_LED["B"], 0.0), state=far)
    _joints(sketch, both, back)
    _names(sketch)


def _joints(sketch: Sketch, outputs: str, back: str) -> None:
    for at in ((1.3, 3.7), (_OUT["A"], 3.7), (_OUT["A"], 0.0)):
        sketch.dot(at, outputs)
    for at in ((_OUT["B"], 0.0), (_METER, 0.0), (_LED["A"], 0.0), (_LED["A"], TOP)):
        sketch.dot(at, back)


def _names(sketch: Sketch) -> None:
    """What stands below the lower rail."""
    columns = [(_METER, "@dial@", "@meter@")]
    columns += [(x, f"coil {call}", f"@output {call}@") for call, x in _OUT.items()]
    columns += [(x, f"LED {call}", f"@led {call}@") for call, x in _LED.items()]
    for x, name, value in columns:
        sketch.words((x - 0.1, -0.55), name, align="center", size=13)
        sketch.words((x - 0.1, -1.05), value, align="center", size=13)

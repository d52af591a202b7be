"""Wiring pictures of the three calls of lesson 10, with the numbers of the readings at the places where they are taken."""

from functools import lru_cache

from .. import wiring
from ..showing import quantity, show

__all__ = ["call_picture"]

_TOP = wiring.TOP
_DASHED = wiring.BLOCKING


def call_picture(call: int, circuit) -> None:
    """Show the wiring of a call (1 to 3) with the learner's own parts; a number in brackets is the reading taken there."""
    words, values = (_valve_words, _boiler_words, _heat_words)[call - 1](circuit)
    drawn = wiring.filled(_drawings()[call - 1], words, values)
    show(words, f'<div style="max-width:40em">{drawn}</div>')


def _valve_words(circuit):
    values = {"supply": f"{circuit.volts_rms:g} V", "load": quantity(circuit.load_ohm, "Ω")}
    values["farad"] = quantity(circuit.capacitor_farad, "F")
    words = (
        f"Wiring picture of call 1: a transformer, {values['supply']} with no load. Readings 1 and 2 are taken at its R and C. "
        "A run of two conductors leads upstairs. At its end, reading 3: R and C at the valve, a frost heater between them, and "
        f"the valve's board: one diode from R to plus, a capacitor of {values['farad']} and a load of {values['load']} from plus "
        "to minus, which is C. Readings 4, 5 and 6 are taken from plus to minus."
    )
    return words, values


def _boiler_words(circuit):
    values = {"supply": f"{circuit.volts_rms:g} V", "input": quantity(circuit.input_ohm, "Ω")}
    values["farad"] = quantity(circuit.snubber_farad, "F")
    words = (
        f"Wiring picture of call 2: a transformer, {values['supply']}. On the left, from R through the thermostat's contact and a "
        "run to W on the relay board; the board's input lies between W and C; readings 2 and 4 are taken there. On the right, "
        f"from R through the boiler control's input, {values['input']}, with a bleeder across it, to the board's output and C; "
        f"across the output a snubber of {values['farad']} with a small resistor. Readings 1, 3 and 6 are taken at the input, "
        "reading 5 across the output. Only light joins the board's two sides."
    )
    return words, values


def _heat_words(circuit):
    values = {"supply": f"{circuit.volts_rms:g} V", "resistor": quantity(circuit.led_resistor_ohm, "Ω")}
    words = (
        f"Wiring picture of call 3: a transformer, {values['supply']}. In the thermostat, call A (heat) closes through diode A "
        "and call B (fan) through diode B, the other way round, onto one shared conductor. At the relay board two branches lead "
        f"from it to a joint and on to C: {values['resistor']}, a diode and LED A downwards, and the same with LED B upwards. "
        "Readings 1, 2, 4 and 5 are taken from the shared conductor to C, reading 3 in the branch of LED A. The outputs that "
        "the LEDs switch are not drawn."
    )
    return words, values


@lru_cache(maxsize=1)
def _drawings() -> tuple[str, str, str]:
    return _valve(), _boiler(), _heat()


def _source(sketch: wiring.Sketch, right: float) -> None:
    """The secondary at the left, its ends on the rails up to `right`, R and C marked."""
    sketch.part("Inductor", (0.0, 1.7), (0.0, 3.7), loops=7)
    sketch.wire((0.0, 3.7), (0.0, _TOP), (right, _TOP))
    sketch.wire((0.0, 1.7), (0.0, 0.0), (right, 0.0))
    sketch.words((-0.4, 2.7), "@supply@", align="right", size=14)
    _screws(sketch, 0.8)


def _screws(sketch: wiring.Sketch, x: float) -> None:
    for y, letter in ((_TOP, "R"), (0.0, "C")):
        sketch.dot((x, y))
        sketch.words((x, y + 0.5), letter, align="center")


def _valve() -> str:
    sketch = wiring.Sketch()
    _source(sketch, 1.4)
    sketch.words((0.8, 2.7), "(1) (2)", align="center", size=14)
    for y in (_TOP, 0.0):
        sketch.part("ResistorIEC", (1.4, y), (3.2, y))
        sketch.wire((3.2, y), (4.9, y))
    sketch.words((2.3, _TOP + 0.6), "the run", align="center", size=14)
    _screws(sketch, 3.7)
    sketch.words((3.6, 2.7), "(3)", align="right", size=14)
    sketch.part("RBox", (4.4, _TOP), (4.4, 0.0))
    sketch.words((4.4, -0.6), "frost heater", align="center", size=13)
    for y in (_TOP, 0.0):
        sketch.dot((4.4, y))
    sketch.part("Diode", (4.9, _TOP), (6.3, _TOP))
    sketch.words((5.6, _TOP + 0.6), "diode", align="center", size=14)
    sketch.wire((6.3, _TOP), (8.4, _TOP))
    sketch.wire((4.9, 0.0), (8.4, 0.0))
    _screws_of_the_board(sketch)
    sketch.part("Capacitor", (6.9, _TOP), (6.9, 0.0))
    sketch.words((6.6, 1.6), "@farad@", align="right", size=13)
    sketch.part("ResistorIEC", (8.4, _TOP), (8.4, 0.0))
    sketch.words((8.2, -0.6), "board @load@", align="center", size=13)
    sketch.words((9.0, 2.7), "(4)", size=14)
    sketch.words((9.0, 2.1), "(5)", size=14)
    sketch.words((9.0, 1.5), "(6)", size=14)
    return sketch.svg()


def _screws_of_the_board(sketch: wiring.Sketch) -> None:
    for x in (6.9, 8.4):
        for y in (_TOP, 0.0):
            sketch.dot((x, y))
    for y, words in ((_TOP + 0.5, "plus"), (0.5, "minus")):
        sketch.words((7.65, y), words, align="center", size=14)


def _boiler() -> str:
    sketch = wiring.Sketch()
    _source(sketch, 1.3)
    sketch.wire((1.3, _TOP), (1.5, _TOP))
    sketch.wire((1.5, _TOP), (2.2, _TOP + 0.45))
    for x in (1.5, 2.3):
        sketch.dot((x, _TOP), open=True)
    sketch.words((1.9, _TOP + 0.95), "thermostat", align="center", size=13)
    sketch.wire((2.3, _TOP), (3.9, _TOP))
    sketch.dot((3.4, _TOP))
    sketch.words((3.4, _TOP + 0.5), "W", align="center")
    sketch.part("RBox", (3.9, _TOP), (3.9, 2.6))
    sketch.part("LED", (3.9, 2.6), (3.9, 0.8))
    sketch.wire((3.9, 0.8), (3.9, 0.0), (1.3, 0.0))
    sketch.words((3.5, 4.0), "board's", align="right", size=13)
    sketch.words((3.5, 3.5), "input", align="right", size=13)
    sketch.words((3.2, 2.4), "(2) (4)", align="right", size=14)
    sketch.wire((4.6, _TOP + 0.6), (4.6, -0.7), state=_DASHED)
    sketch.words((4.6, -1.0), "only light crosses", align="center", size=13)
    _boiler_side(sketch)
    return sketch.svg()


def _boiler_side(sketch: wiring.Sketch) -> None:
    sketch.words((5.4, _TOP), "R", align="right")
    sketch.wire((5.6, _TOP), (7.7, _TOP))
    sketch.words((5.4, 0.0), "C", align="right")
    sketch.wire((5.6, 0.0), (7.7, 0.0))
    sketch.part("RBox", (6.4, _TOP), (6.4, 3.0))
    for y, words in ((4.75, "boiler's"), (4.25, "input"), (3.75, "@input@")):
        sketch.words((5.95, y), words, align="right", size=13)
    sketch.part("ResistorIEC", (7.7, _TOP), (7.7, 3.0))
    sketch.words((8.15, 4.75), "bleeder", size=13)
    sketch.words((8.15, 4.1), "(1) (3)", size=14)
    sketch.words((8.15, 3.5), "(6)", size=14)
    sketch.wire((6.4, 3.0), (7.7, 3.0))
    sketch.part("Triac", (6.4, 0.0), (6.4, 3.0))
    sketch.words((5.7, 1.5), "(5)", align="right", size=14)
    sketch.part("ResistorIEC", (7.7, 3.0), (7.7, 1.5))
    sketch.part("Capacitor", (7.7, 1.5), (7.7, 0.0))
    sketch.words((8.15, 2.25), "snubber", size=13)
    sketch.words((8.25, 0.75), "@farad@", size=13)
    for at in ((6.4, _TOP), (6.4, 3.0), (7.7, 3.0), (6.4, 0.0)):
        sketch.dot(at)


def _heat() -> str:
    sketch = wiring.Sketch()
    _source(sketch, 1.6)
    for call, y, turned, name, side in (("A", _TOP, False, "heat", 0.85), ("B", 3.4, True, "fan", -0.6)):
        sketch.wire((1.6, _TOP), (1.6, y))
        sketch.wire((1.6, y), (2.2, y + 0.4))
        for x in (1.6, 2.3):
            sketch.dot((x, y), open=True)
        ends = ((2.6, y), (3.9, y))
        sketch.wire((2.3, y), (2.6, y))
        sketch.part("Diode", *(reversed(ends) if turned else ends))
        sketch.words((1.9, y + side), name, align="center", size=13)
        sketch.words((3.25, y + side), f"diode {call}", align="center", size=13)
    sketch.wire((3.9, 3.4), (4.3, 3.4), (4.3, _TOP))
    sketch.wire((3.9, _TOP), (9.0, _TOP))
    sketch.dot((4.3, _TOP))
    sketch.words((5.5, _TOP + 0.45), "shared conductor", align="center", size=13)
    sketch.dot((5.4, _TOP))
    sketch.dot((5.4, 0.0))
    for number, y in (("(1) (2)", 3.0), ("(4) (5)", 2.4)):
        sketch.words((5.4, y), number, align="center", size=14)
    for name, x in (("A", 7.0), ("B", 9.0)):
        _branch(sketch, name, x)
    sketch.words((8.35, _TOP + 0.45), "@resistor@ each", align="center", size=13)
    sketch.words((6.75, 3.4), "(3)", align="right", size=14)
    sketch.wire((7.0, 0.6), (9.0, 0.6))
    sketch.wire((8.0, 0.6), (8.0, 0.0), (1.6, 0.0))
    sketch.dot((8.0, 0.6))
    sketch.words((8.3, 0.1), "joint", size=13)
    return sketch.svg()


def _branch(sketch: wiring.Sketch, name: str, x: float) -> None:
    """Resistor, diode, LED; those of B point upwards."""
    sketch.dot((x, _TOP))
    sketch.part("ResistorIEC", (x, _TOP), (x, 3.8))
    for symbol, high, low in (("Diode", 3.8, 2.6), ("LED", 2.6, 1.2)):
        ends = ((x, high), (x, low))
        sketch.part(symbol, *(ends if name == "A" else reversed(ends)))
    sketch.wire((x, 1.2), (x, 0.6))
    sketch.words((x - 0.35, 1.35), name, align="right", size=13)

"""Two calls on one conductor as lesson 09 reckons them: a stiff supply, a meter of 1 MΩ, diodes with no slope worth mentioning.

Calls A and B each send one half of the cycle; at the board the LED that takes the upper half and the one that takes the
lower half sort them again. The circuit is that of `steering`.
"""

from functools import lru_cache

from ..network import Diode
from ..optotriac import Coil, Opto
from ..steering import FAULTS, Steered, steer
from ..supply import Supply
from ..waveforms import Waveform

__all__ = [
    "PLANS",
    "STATES",
    "WIRINGS",
    "conductor",
    "fault_named",
    "led_amps",
    "outputs",
    "plan_kept",
    "wired_outputs",
]

STATES = ((False, False), (True, False), (False, True), (True, True))
"""The four states: whether call A is closed, whether call B is."""

WIRINGS = {
    1: ("upper", "lower", "A"),
    2: ("lower", "lower", "A"),
    3: ("lower", "upper", "B"),
    4: ("upper", "upper", "B"),
    5: ("lower", "upper", "A"),
    6: ("upper", "lower", "B"),
    7: ("lower", "lower", "B"),
    8: ("upper", "upper", "A"),
}
"""By number: the half that diode A passes, the half that diode B passes, and whose LED takes the upper half."""

PLANS = {
    1: "G becomes C. Nothing else is changed.",
    2: "G becomes C. At the unit a jumper joins the terminals Y and G.",
    3: "G becomes C. The calls on Y and G share the old Y conductor by two diodes, and a board at the unit parts them again.",
}
"""What becomes of an old run of four conductors (R, W, Y, G) whose thermostat needs C."""

_METER_OHM = 1e6  # of a scope's plain probe; a 10 MΩ meter hardly differs on copper
_DIODE = Diode(0.7, 0.05)
_FAULT_OF = {("upper", "lower"): None, ("lower", "lower"): "diode A reversed"}
_FAULT_OF |= {("upper", "upper"): "diode B reversed", ("lower", "upper"): "diodes swapped"}


def fault_named(number: int) -> str:
    """The fault with this number in the lesson's list, 1 to 10.

    >>> fault_named(7)
    'diodes swapped'
    """
    return FAULTS[number - 1]


@lru_cache(maxsize=256)
def _solved(volts_rms, call_a, call_b, fault, led_drop_volts, led_resistor_ohm, wire_ohm, coil_ohm) -> Steered:
    return steer(
        Supply(volts_rms),
        call_a,
        call_b,
        opto=Opto(led_drop_volts=led_drop_volts, led_on_ohm=0.05),
        led_resistor_ohm=led_resistor_ohm,
        wire_ohm=wire_ohm,
        meter_ohm=_METER_OHM,
        coil=Coil(coil_ohm),
        diode=_DIODE,
        fault=fault,
    )


@lru_cache(maxsize=1024)
def conductor(volts_rms: float, call_a: bool, call_b: bool, *, fault: str | None = None) -> Waveform:
    """Voltage of the shared conductor to C at the board over one cycle, V; the LEDs' branches hardly matter to it.

    >>> from halfcycle import meters
    >>> round(meters.dc(conductor(28.0, True, False)), 1)
    12.2
    """
    return _solved(volts_rms, call_a, call_b, fault, 1.2, 1000.0, 1.6, 90.0).shared_volts


@lru_cache(maxsize=2048)
def led_amps(
    volts_rms: float,
    call_a: bool,
    call_b: bool,
    *,
    led: str,
    led_drop_volts: float,
    led_resistor_ohm: float,
    wire_ohm: float,
) -> Waveform:
    """Current through LED "A" or "B" over one cycle, A; volts, ohms as named. Errors: ValueError as of `steer`.

    >>> wave = led_amps(28.0, True, True, led="B", led_drop_volts=1.2, led_resistor_ohm=1000.0, wire_ohm=1.6)
    >>> round(1000 * float(wave.values.max()), 1)
    36.9
    """
    solved = _solved(volts_rms, call_a, call_b, None, led_drop_volts, led_resistor_ohm, wire_ohm, 90.0)
    return solved.output(led).led_amps


@lru_cache(maxsize=1024)
def outputs(call_a: bool, call_b: bool, *, fault: str | None = None, coil_ohm: float = 90.0) -> tuple[int, int]:
    """1 for each of the outputs A and B whose relay pulls in, on 26 V with LED resistors of 1.5 kΩ.

    >>> outputs(True, True, fault="diode B reversed")
    (1, 0)
    """
    solved = _solved(26.0, call_a, call_b, fault, 1.2, 1500.0, 2.0, coil_ohm)
    return tuple(int(on) for on in solved.outputs)


def wired_outputs(number: int, call_a: bool, call_b: bool) -> tuple[int, int]:
    """The same for one of the `WIRINGS`, without a fault: its diodes as they point, its LEDs exchanged where they are.

    >>> wired_outputs(6, True, False)
    (0, 1)
    """
    half_a, half_b, upper = WIRINGS[number]
    found = outputs(call_a, call_b, fault=_FAULT_OF[half_a, half_b])
    return found if upper == "A" else found[::-1]


def plan_kept(number: int) -> tuple[int, int, int, int]:
    """Which functions a plan keeps, found by following its wires: heating, cooling, fan alone, fan along with cooling.

    >>> plan_kept(2)
    (1, 1, 0, 1)
    """
    wires = {"W call": {"W"}, "Y call": {"Y"}}
    if number == 3:
        wires["G call"] = {"G"}
    if number == 2:
        wires["Y call"] = {"Y", "G"}
    heat, cool, fan = (wires.get(f"{letter} call", set()) for letter in "WYG")
    return int("W" in heat), int("Y" in cool), int("G" in fan), int("G" in cool or "G" in fan)

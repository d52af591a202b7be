"""The three circuits of lesson 10, sound or with one fault, and every reading that a technician may take on them.

Call 1: a valve's board (one diode, a capacitor) and a frost heater at the end of a run. Call 2: a boiler control's input
behind a relay board's output with a snubber and a bleeder. Call 3: two calls on one conductor. Sizes of the parts that
are not the learner's own: usual ones (common practice, no source).
"""

from functools import lru_cache

from ..instruments import ac_rms, dc, true_rms
from ..network import Diode, Network, Run
from ..optotriac import Opto
from ..rectifier import add_supply
from ..steering import steer
from ..supply import Supply
from ..waveforms import Waveform

__all__ = ["LEAD_OHM", "RUN_OHM", "WINDING_OHM", "board_input", "shared_conductor", "valve_supply"]

WINDING_OHM, SMALL_WINDING_OHM = 1.0, 16.0
RUN_OHM, POOR_RUN_OHM = 1.5, 18.0
HEATER_OHM, BLEEDER_OHM, SNUBBER_OHM, OUTPUT_OHM = 56.0, 4700.0, 100.0, 5.0
BOARD_INPUT_OHM, DIODE_VOLTS, LEAD_OHM = 1500.0, 0.8, 2.0
LED_VOLTS, TOO_LARGE = 1.2, 10
_OPEN_OHM, _SHORT_OHM, _SAMPLES = 1e9, 0.05, 1000


def _wave(run: Run, quantity: str, *parts: str) -> Waveform:
    """The sum of one quantity over parts in series, one cycle."""
    seconds = run.times(_SAMPLES)
    return Waveform(
        seconds - seconds[0], sum(run.quantities([(quantity, part) for part in parts], seconds)), quantity[0].upper()
    )


@lru_cache(maxsize=512)
def valve_supply(volts_rms: float, load_ohm: float, capacitor_farad: float, fault: str = "") -> dict:
    """Call 1's readings as ``{name: V}`` and the capture's wave under "scope".

    `fault`: "" (sound), "diode open", "diode shorted", "capacitor open", "poor run" or "small transformer".
    Names: "transformer", "no load", "valve" (ac), "board dc", "board ac". Errors: ValueError for a part that is not positive.

    >>> round(valve_supply(26.0, 470.0, 180e-6)["board dc"], 1)
    31.1
    """
    net = Network(ground="common")
    winding = SMALL_WINDING_OHM if fault == "small transformer" else WINDING_OHM
    run_ohm = POOR_RUN_OHM if fault == "poor run" else RUN_OHM
    add_supply(net, Supply(volts_rms, resistance_ohm=winding), "line", "common")
    net.resistor("meter", "line", "common", 10e6)
    net.resistor("out", "line", "R", run_ohm / 2)
    net.resistor("back", "C", "common", run_ohm / 2)
    net.resistor("heater", "R", "C", HEATER_OHM)
    if fault in ("diode open", "diode shorted"):
        net.resistor("diode", "R", "plus", _OPEN_OHM if fault == "diode open" else _SHORT_OHM)
    else:
        net.diode("diode", "R", "plus", Diode(DIODE_VOLTS))
    net.resistor("load", "plus", "C", load_ohm)
    if fault != "capacitor open":
        net.capacitor("capacitor", "plus", "C", capacitor_farad)
    run = net.steady()
    board = _wave(run, "volts", "load")
    return {
        "transformer": ac_rms(_wave(run, "volts", "meter")),
        "no load": volts_rms,
        "valve": ac_rms(_wave(run, "volts", "heater")),
        "board dc": dc(board),
        "board ac": ac_rms(board),
        "scope": board,
    }


def _boiler(volts_rms: float, input_ohm: float, snubber_farad: float, bleeder: bool, output: str) -> Waveform:
    """Volts across the boiler control's input, with the output "off", "on" or "shorted"."""
    net = Network(ground="common")
    add_supply(net, Supply(volts_rms, resistance_ohm=WINDING_OHM), "line", "common")
    net.resistor("input", "line", "switched", input_ohm)
    if bleeder:
        net.resistor("bleeder", "line", "switched", BLEEDER_OHM)
    net.resistor("output", "switched", "common", {"off": _OPEN_OHM, "on": OUTPUT_OHM, "shorted": _SHORT_OHM}[output])
    net.resistor("snubber", "switched", "snubbed", SNUBBER_OHM)
    net.capacitor("snubber capacitor", "snubbed", "common", snubber_farad)
    return _wave(net.steady(), "volts", "input")


@lru_cache(maxsize=512)
def board_input(volts_rms: float, input_ohm: float, snubber_farad: float, fault: str = "") -> dict:
    """Call 2's readings while nobody calls, as ``{name: V, or Ω for "output ohm"}``, and the capture's wave under "scope".

    `fault`: "", "bleeder open", "output shorted", "contact stuck" or "run shorted". Names: "input" (ac at the boiler's
    input), "W" (W to C at the board), "input, W off", "W, thermostat off", "output ohm". Errors: ValueError for a part's value.

    >>> round(board_input(26.0, 39000.0, 33e-9, "bleeder open")["input"], 1)
    11.3
    """
    called = fault in ("contact stuck", "run shorted")
    bleeder = fault != "bleeder open"
    dark = "shorted" if fault == "output shorted" else "off"
    parts = (volts_rms, input_ohm, snubber_farad, bleeder)
    found, pulled_off = _boiler(*parts, "on" if called else dark), _boiler(*parts, dark)
    on_w = volts_rms * BOARD_INPUT_OHM / (BOARD_INPUT_OHM + WINDING_OHM + LEAD_OHM)
    return {
        "input": true_rms(found),
        "W": on_w if called else 0.0,
        "input, W off": true_rms(pulled_off),
        "W, thermostat off": on_w if fault == "run shorted" else 0.0,
        "output ohm": _SHORT_OHM if fault == "output shorted" else _OPEN_OHM,
        "scope": found,
    }


@lru_cache(maxsize=512)
def shared_conductor(volts_rms: float, led_resistor_ohm: float, fault: str = "") -> dict:
    """Call 3's readings as ``{name: V or A}`` and the capture's wave under "scope"; heat is call A, the fan call B.

    `fault`: "", one of `halfcycle.steering.FAULTS`, or "resistor too large". Names: "heat dc", "heat ac" (the conductor
    to C while heat alone calls), "LED A" (mean amperes), "fan dc". Errors: ValueError for another fault.

    >>> round(shared_conductor(26.0, 1800.0)["heat dc"], 1)
    11.2
    """
    large = fault == "resistor too large"
    parts = {
        "opto": Opto(led_drop_volts=LED_VOLTS), "wire_ohm": LEAD_OHM, "fault": None if large or not fault else fault,
        "led_resistor_ohm": led_resistor_ohm * (TOO_LARGE if large else 1), "samples_per_cycle": _SAMPLES,
    }  # fmt: skip
    supply = Supply(volts_rms, resistance_ohm=WINDING_OHM)
    heat, fan = steer(supply, True, False, **parts), steer(supply, False, True, **parts)
    shared = heat.shared_volts
    return {
        "heat dc": dc(shared),
        "heat ac": ac_rms(shared),
        "LED A": dc(heat.led_a_amps),
        "fan dc": dc(fan.shared_volts),
        "scope": shared,
    }

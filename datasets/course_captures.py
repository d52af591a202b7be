"""The course's captures: which circuit of the Fennel Street Library is probed, and by which scope.

Every circuit is solved by `halfcycle`; its steady state repeats, and the scope records as much of it as it is set to.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

from halfcycle import Oscilloscope, Supply, Waveform, rectify, spike_bus, steer
from halfcycle.optotriac import Coil, Opto, Snubber, Switched, switch_coil
from halfcycle.spikes import Filter

__all__ = ["Recipe", "recipes"]

SLOW = Oscilloscope(sample_hertz=25e3, record_s=20e-3, pre_trigger_s=2e-3)
WIDE = Oscilloscope(sample_hertz=1e6, full_scale_volts=512.0, noise_volts_rms=0.8, offset_volts=-0.6)
LATE = {"pre_trigger_s": -5.2e-3, "record_s": 1e-3}  # a millisecond with a dip and a spike, well after the trigger
CLAMP = {"full_scale_volts": 0.64, "noise_volts_rms": 1e-3, "offset_volts": -2e-3, "trigger_volts": 0.0}
FINE = {"full_scale_volts": 4.0, "noise_volts_rms": 5e-3, "offset_volts": -4e-3}

BOILER = Supply.from_rating(75, regulation=0.08)
ZONES = Supply.from_rating(40, regulation=0.1, leakage_henry=0.3e-3)
ZONES_WORDS = "transformer of the zone actuators: 40 VA, 24 V, 10 % regulation, 0.3 mH"
PLACES = {
    "feed": "a diode and 470 µF in the actuator's own feed",
    "snubber": "47 Ω and 1 µF in series across the bus",
    "lc": "10 mH and 10 µF ahead of the thermostat",
    "straight": "a box ahead of the thermostat that carries the supply straight through",
}
PANEL = {"opto": Opto(), "feed": "dc", "led_resistor_ohm": 2200.0, "coil": Coil(), "snubber": Snubber(100.0, 0.1e-6)}


@dataclass(frozen=True)
class Recipe:
    """One capture: its file's `name`, `title`, the `circuit` in words, the `wave` to probe and the `scope`."""

    name: str
    title: str
    circuit: str
    wave: Callable[[], Waveform]
    scope: Oscilloscope


def recipes() -> Iterator[Recipe]:
    """All captures, in the order of the lessons."""
    yield from _meters_and_rectifiers()
    yield from _bus()
    yield from _filters()
    yield from _outputs()


def _set(scope: Oscilloscope, **settings) -> Oscilloscope:
    return Oscilloscope(**{name: getattr(scope, name) for name in scope.__dataclass_fields__} | settings)


def _meters_and_rectifiers() -> Iterator[Recipe]:
    words = "transformer at the boiler: 75 VA, 24 V, 8 % regulation"
    sine = Waveform.sine(volts_peak=BOILER.volts_peak)
    yield Recipe("boiler_room_sine", "24 VAC in the boiler room", f"{words}; nothing else connected", lambda: sine,
                 _set(SLOW, record_s=50e-3))  # fmt: skip
    rectifiers = {
        "half_wave": ("Behind one diode", "one diode, 150 Ω", 8.0, {"load_ohm": 150.0}),
        "full_wave": ("Behind four diodes", "four diodes, 150 Ω", 8.0, {"kind": "bridge", "load_ohm": 150.0}),
        "capacitor_ripple": ("A capacitor behind the diode", "one diode, 470 µF, 330 Ω", 35.0,
                             {"load_ohm": 330.0, "capacitor_farad": 470e-6}),
    }  # fmt: skip
    for name, (title, parts, level, settings) in rectifiers.items():
        yield Recipe(name, title, f"{words}; {parts}; voltage of the load",
                     lambda settings=settings: rectify(BOILER, **settings).steady().load_volts,
                     _set(SLOW, trigger_volts=level, record_s=40e-3))  # fmt: skip


@cache
def _zone_bus(load_ohm: float, place: str = "none"):
    return spike_bus(ZONES, filter=Filter(place), bus_load_ohm=load_ohm)


def _bus() -> Iterator[Recipe]:
    yield Recipe(
        "bus_quiet",
        "Bus of the zone actuators, at rest",
        f"{ZONES_WORDS}; 60 Ω on the bus",
        lambda: _zone_bus(60.0).undisturbed_volts,
        SLOW,
    )
    for name, load, scope in (
        ("bus_charging", 60.0, _set(WIDE, sample_hertz=500e3)),
        ("bus_charging_light_load", 200.0, _set(WIDE, full_scale_volts=1024.0, noise_volts_rms=1.6, **LATE)),
        ("bus_charging_heavy_load", 30.0, _set(WIDE, full_scale_volts=256.0, noise_volts_rms=0.4, **LATE)),
    ):
        yield Recipe(name, f"Bus while an actuator charges, {load:g} Ω on it",
                     f"{ZONES_WORDS}; pulse-charging actuator, {load:g} Ω on the bus; voltage of the bus",
                     lambda load=load: _zone_bus(load).bus_volts, scope)  # fmt: skip


def _filters() -> Iterator[Recipe]:
    scope = _set(WIDE, **LATE)
    words = f"{ZONES_WORDS}; pulse-charging actuator, 60 Ω on the bus"
    yield Recipe(
        "filter_before", "Before any filter", f"{words}; voltage of the bus", lambda: _zone_bus(60.0).bus_volts, scope
    )
    for place, parts in PLACES.items():
        yield Recipe(f"filter_{place}_bus", f"After: {parts}", f"{words}; {parts}; voltage of the bus",
                     lambda place=place: _zone_bus(60.0, place).bus_volts, scope)  # fmt: skip
    yield Recipe("filter_lc_thermostat", f"After: {PLACES['lc']}", f"{words}; {PLACES['lc']}; voltage of the thermostat",
                 lambda: _zone_bus(60.0, "lc").thermostat_volts, scope)  # fmt: skip


@cache
def _panel(called: bool) -> Switched:
    return switch_coil(BOILER, called=called, **PANEL)


def _outputs() -> Iterator[Recipe]:
    words = "optoisolator with random-phase triac, LED on dc, relay coil 90 Ω and 0.9 H, snubber 100 Ω and 0.1 µF"
    yield Recipe("triac_coil_volts", "A triac output with its coil: voltage of the coil", f"{words}; called",
                 lambda: _panel(True).load_volts, SLOW)  # fmt: skip
    yield Recipe("triac_coil_amps", "A triac output with its coil: current of the coil", f"{words}; called",
                 lambda: _panel(True).coil_amps, _set(SLOW, **CLAMP))  # fmt: skip
    yield Recipe("triac_off_coil_volts", "A triac output that is off: what its snubber leaves on the coil",
                 f"{words}; not called; voltage of the coil", lambda: _panel(False).load_volts, _set(SLOW, **FINE))  # fmt: skip
    for name, call_a, call_b, level in (
        ("neither", False, False, None), ("a", True, False, 8.0), ("b", False, True, -8.0), ("both", True, True, 0.0),
    ):  # fmt: skip
        yield Recipe(f"two_calls_{name}", f"Two calls on one conductor: {name}",
                     "one conductor, a diode for each call, LEDs behind 820 Ω; shared conductor to common into 10 MΩ",
                     lambda call_a=call_a, call_b=call_b: steer(BOILER, call_a, call_b).shared_volts,
                     _set(SLOW, trigger_volts=level))  # fmt: skip

"""The claim test of lesson 07: does this box filter? Captures before and after, at the bus and at the thermostat.

A lot is four boxes; what is in them is known to this module alone. The learner's captures are made from the learner's
own bus by the course's scope, and the circuit's values give their noise.
"""

from dataclasses import dataclass
from functools import lru_cache

from ..instruments import peak
from ..oscilloscope import Oscilloscope
from ..pulses import Pulses, pulses
from ..variants.lesson_07 import box_kinds
from ..waveforms import Waveform
from .filter_places import Bus, Probed, probed

__all__ = ["HALF", "LETTERS", "SCOPE", "Box", "Highest", "boxes", "capture", "effect", "highest", "snubber_in_box"]

LETTERS = "ABCD"
HALF = 0.5  # a box filters where it leaves at most this part of the spikes' height on the bus
SCOPE = Oscilloscope(
    sample_hertz=10e6, bits=12, full_scale_volts=640.0, noise_volts_rms=0.15, offset_volts=0.1, pre_trigger_s=0.0,
    record_s=8.2e-3,
)  # fmt: skip
_SNUBBERS = {82: 51.0, 91: 56.0, 100: 62.0, 110: 68.0, 120: 75.0}
_AFTERWARDS = {82: 27.0, 91: 30.0, 100: 33.0, 110: 36.0, 120: 39.0}
_SNUBBER_FARAD, _WEAK = 2.2e-6, (470.0, 0.1e-6)
_LOW_VOLTS = 5.0  # lower than this above the wave, nothing is taken for a spike


@dataclass(frozen=True)
class Box:
    """One box: its letter, and what was probed before and after it was put in, with the loads (Ω) that hung on the bus."""

    letter: str
    before: Probed
    after: Probed
    load_before_ohm: float
    load_after_ohm: float


@dataclass(frozen=True)
class Highest:
    """The highest spike that a capture shows: its top from zero and its height above the wave, V; None where there is none."""

    top_volts: float
    height_volts: float | None


def snubber_in_box(load_ohm: float) -> float:
    """The resistor of the snubber that is in one box of each lot, Ω: it leaves less than half of a spike, but not much less.

    >>> snubber_in_box(100)
    62.0
    """
    return _SNUBBERS[load_ohm]


def boxes(circuit) -> tuple[Box, ...]:
    """The four boxes of the learner's lot, A to D.

    >>> from halfcycle.variants import circuit
    >>> [box.letter for box in boxes(circuit("half-cycle", "07", "guest"))]
    ['A', 'B', 'C', 'D']
    """
    bus, kinds = Bus.of(circuit), box_kinds(circuit.lot)
    return tuple(_box(letter, bus, kind) for letter, kind in zip(LETTERS, kinds, strict=True))


def effect(bus: Bus, kind: str) -> float:
    """What part of the spikes' height a box of this kind leaves on the bus, all else being the same.

    >>> effect(Bus(40, 100), "straight"), round(effect(Bus(40, 100), "snubber"), 2)
    (1.0, 0.42)
    """
    return _with(bus, kind).height_volts / probed(bus).height_volts


@lru_cache(maxsize=64)
def capture(wave: Waveform, name: str) -> Waveform:
    """What the course's scope records of the actuator's half cycle (V); the same `name` gives the same noise.

    >>> len(capture(probed(Bus(75, 150)).bus, "a doctest"))
    82001
    """
    return SCOPE.capture(wave, name)


def highest(wave: Waveform, *, hertz: float = 60.0) -> Highest:
    """The highest spike of a capture, the wave under it fitted as a sine of `hertz`.

    >>> highest(probed(Bus(75, 150)).quiet)
    Highest(top_volts=37.13, height_volts=None)
    """
    spikes: Pulses = pulses(wave, threshold_volts=_LOW_VOLTS, hertz=hertz).spikes
    height = float(spikes.heights.max()) if spikes.count else None
    return Highest(round(peak(wave), 2), height)


def _box(letter: str, bus: Bus, kind: str) -> Box:
    load = _AFTERWARDS[bus.load_ohm] if kind == "other loads" else bus.load_ohm
    after = _with(Bus(bus.volt_amperes, load, bus.pulses_per_cycle, bus.store_volts), kind)
    return Box(letter, probed(bus), after, bus.load_ohm, load)


def _with(bus: Bus, kind: str) -> Probed:
    if kind == "snubber":
        return probed(bus, "snubber", _SNUBBERS[bus.load_ohm], _SNUBBER_FARAD)
    if kind == "weak":
        return probed(bus, "snubber", *_WEAK)
    return probed(bus, "straight" if kind == "other loads" else kind)

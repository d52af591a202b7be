"""The logic of lesson 10: which fault a learner meets, what a reading shows, which readings settle a call, and their minutes."""

import hashlib
from collections.abc import Iterable
from functools import lru_cache
from itertools import combinations

from ..oscilloscope import Oscilloscope
from ..waveforms import Waveform
from .service_circuits import board_input, shared_conductor, valve_supply
from .service_lists import CALLS, SUSPECTS

__all__ = ["capture", "found", "judged", "least_minutes", "met", "settles", "sheet", "suspects_left"]


def met(call: int, circuit) -> int:
    """The number of the suspect that is at fault on a call (1 to 3): from the case file's number, the same on every computer."""
    digest = hashlib.sha256(f"case file {circuit.case_file}, call {call}".encode()).digest()
    suspects = CALLS[call].suspects
    return suspects[int.from_bytes(digest, "big") % len(suspects)]


def _solved(call: int, circuit, fault: str) -> dict:
    if call == 1:
        return valve_supply(circuit.volts_rms, circuit.load_ohm, circuit.capacitor_farad, fault)
    if call == 2:
        return board_input(circuit.volts_rms, circuit.input_ohm, circuit.snubber_farad, fault)
    return shared_conductor(circuit.volts_rms, circuit.led_resistor_ohm, fault)


def sheet(call: int, circuit) -> dict:
    """The readings of the sound circuit, as noted when it was set up: ``{name: V, A or Ω}`` and a wave under "scope"."""
    return _solved(call, circuit, "")


def found(call: int, circuit) -> dict:
    """The readings of the circuit as the learner finds it, like `sheet`."""
    return _solved(call, circuit, SUSPECTS[met(call, circuit)].solver_name)


def capture(call: int, circuit) -> Waveform:
    """Two cycles of the circuit as found, seen by a scope of 10 V a division and 8 bits; its noise belongs to this circuit."""
    scope = Oscilloscope(sample_hertz=24e3, trigger_volts=None, pre_trigger_s=0.0, record_s=2 / circuit.hertz)
    return scope.capture(found(call, circuit)["scope"], f"call {call}|{circuit.values()}")


def judged(call: int, circuit, fault: str) -> tuple[str, ...]:
    """The word for each reading of a call, worked out with the solver for one `fault` (a solver's name) on this circuit."""
    values, sound = _solved(call, circuit, fault), sheet(call, circuit)
    return tuple(_word(call, reading, values[reading.name], sound[reading.name]) for reading in CALLS[call].readings)


def _word(call: int, reading, value, sound) -> str:
    if reading.name == "scope":
        return _level(float(abs(value.values).max()) / 2**0.5) if call == 2 else _shape(value)
    if call == 2:
        return ("closed" if value < 10 else "open") if reading.unit == "Ω" else _level(value)
    share = value / sound
    if share < -0.5:
        return "reversed"
    return "none" if share < 0.05 else "low" if share < 0.9 else "high" if share > 1.5 else "sound"


def _level(volts: float) -> str:
    """Call 2's words: below 3 V is none; above 20 V is full."""
    return "none" if volts < 3 else "part" if volts < 20 else "full"


def _shape(wave: Waveform) -> str:
    low, high = float(wave.values.min()), float(wave.values.max())
    if high - low < 1 and abs(high) < 1:
        return "flat"
    if min(high, -low) > 0.5 * max(high, -low):
        return "both ways"
    if low < -5:
        return "lower humps"
    if low > 0.3 * high:
        return "level"
    return "humps" if low > -0.1 else "upper humps"


def suspects_left(call: int, words: dict[int, str]) -> tuple[int, ...]:
    """The suspects of a call that would show the `words` of some readings (``{number of the reading: word}``).

    >>> suspects_left(1, {4: "none"}), suspects_left(1, {4: "none", 5: "high"})
    ((1, 2), (2,))
    """
    return tuple(
        number
        for number in CALLS[call].suspects
        if all(SUSPECTS[number].shows[reading - 1] == word for reading, word in words.items())
    )


def settles(call: int, suspect: int, readings: Iterable[int]) -> bool:
    """Whether these readings (by number) leave `suspect` alone when it is the fault.

    >>> settles(1, 5, [1]), settles(1, 4, [3])
    (True, False)
    """
    shows = SUSPECTS[suspect].shows
    return suspects_left(call, {number: shows[number - 1] for number in readings}) == (suspect,)


@lru_cache(maxsize=4096)
def _settling(call: int, suspect: int) -> tuple[tuple[int, ...], ...]:
    numbers = range(1, len(CALLS[call].readings) + 1)
    return tuple(
        chosen for count in numbers for chosen in combinations(numbers, count) if settles(call, suspect, chosen)
    )


def least_minutes(call: int, circuit, suspect: int) -> int:
    """The fewest minutes of readings that settle a call when `suspect` is the fault."""
    costs = [reading.cost(circuit) for reading in CALLS[call].readings]
    return min(sum(costs[number - 1] for number in chosen) for chosen in _settling(call, suspect))

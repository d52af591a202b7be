"""The field test of lesson 09: captures of a shared conductor that nobody has labelled, made from one learner's circuit.

Captures 1 to 4 show the four states in an order of the learner's own, capture 5 a fault with the calls known. They come
from another board than the learner's, so that its voltage has to be read and cannot be worked out.
"""

import hashlib
from functools import lru_cache
from itertools import permutations

from ..oscilloscope import Oscilloscope
from ..waveforms import Waveform
from .one_conductor import STATES, conductor

__all__ = ["CAUSES", "CAUSE_CASES", "board_volts", "captures", "cause_case", "state_order"]

CAUSES = (
    None,
    "diode A open",
    "diode A shorted",
    "diode A reversed",
    "diode B open",
    "diode B shorted",
    "diode B reversed",
    "diodes swapped",
)
"""What may stand behind capture 5, in the order of the answer; None for no fault."""

CAUSE_CASES = (
    (True, False, None),
    (True, False, "diode A reversed"),
    (False, True, None),
    (False, True, "diode B reversed"),
    (True, True, "diode B open"),
    (True, True, "diode A open"),
)
_ORDERS = tuple(permutations(STATES))
_HERTZ = 60.0
_VOLTS = tuple(round(19.5 + 0.1 * k, 1) for k in range(21))


def _picked(circuit, name: str, choices: tuple):
    """One of the choices, by SHA-256 of the circuit's values: the same for the same circuit on every computer."""
    words = "|".join(f"{key}={value!r}" for key, value in circuit.values().items())
    return choices[int.from_bytes(hashlib.sha256(f"{words}|{name}".encode()).digest(), "big") % len(choices)]


def state_order(circuit) -> tuple[tuple[bool, bool], ...]:
    """The states of captures 1 to 4, as pairs of calls A and B."""
    return _picked(circuit, "order of the captures", _ORDERS)


def board_volts(circuit) -> float:
    """R to C of the board that was recorded, V rms: clearly lower than any learner's own."""
    return _picked(circuit, "recorded board", _VOLTS)


def cause_case(circuit) -> tuple[bool, bool, str | None]:
    """Capture 5: call A, call B, and the fault (None for a sound circuit)."""
    return _picked(circuit, "case of capture five", CAUSE_CASES)


def calls_closed(circuit) -> tuple[bool, bool]:
    """Which calls were closed while capture 5 was taken: that much is known of it."""
    return cause_case(circuit)[:2]


@lru_cache(maxsize=64)
def captures(circuit) -> tuple[Waveform, ...]:
    """The five captures of one circuit, V against s: two cycles each, 10 V a division, 8 bits, a little noise, begun anywhere in the cycle."""
    cases = [(*state, None) for state in state_order(circuit)] + [cause_case(circuit)]
    volts = board_volts(circuit)
    return tuple(_captured(circuit, number, volts, *case) for number, case in enumerate(cases, start=1))


def _captured(circuit, number: int, volts: float, call_a: bool, call_b: bool, fault: str | None) -> Waveform:
    begin = _picked(circuit, f"begin of capture {number}", tuple(range(64))) / 64 / _HERTZ
    scope = Oscilloscope(
        sample_hertz=48e3, full_scale_volts=80.0, noise_volts_rms=0.15, offset_volts=0.0, trigger_volts=None,
        pre_trigger_s=begin, record_s=2 / _HERTZ,
    )  # fmt: skip
    wave = conductor(volts, call_a, call_b, fault=fault)
    found = scope.capture(wave, f"{number}|{circuit.values()}")
    return Waveform(found.seconds - found.seconds[0], found.values, "V")

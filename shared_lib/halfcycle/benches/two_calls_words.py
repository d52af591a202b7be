"""What the bench of two calls says: one sentence on what changed and why, and the caution that bites."""

from halfcycle.amounts import amount

from .model import changed

__all__ = ["caution", "sentence", "standing"]

_MOST_LED_AMPS = 0.050  # common practice, no source
_QUARTER_WATT = 0.25


def _volts(value: float) -> str:
    return amount(value, "V")


def sentence(now, before, found, was, moment) -> str:
    """One sentence: why the last move of a control did what it did, or how things stand if nothing moved.

    `found` and `was` are the numbers now and before; `moment` says what carries current at the moment shown.
    """
    moved = changed(now, before)
    if moved == {"moment_degrees"}:
        return _at_this_moment(now, moment)
    if len(moved) == 1 and moved <= set(_MOVES):
        return _MOVES[moved.pop()](now, before, found, was)
    if now.fault:
        return _fault(now, found)
    return f"{_plain(now)}: {standing(found)}."


def caution(now, found) -> tuple[str, bool]:
    """The caution that belongs to this setting, and whether the setting would do harm."""
    peak, watts = max(found.led_peak_amps), max(found.resistor_watts)
    if peak > _MOST_LED_AMPS:
        return (
            f"Not in the field: {amount(peak, 'A')} at the peak wears the LED out; 40 to 50 mA is the most that one is given "
            "(common practice, no source). Fit a larger resistor.",
            True,
        )
    if now.volt_amperes and found.drawn_va > now.volt_amperes:
        return (
            f"Not in the field: {amount(found.drawn_va, 'VA')} from a {now.volt_amperes:g} VA transformer overheats it.",
            True,
        )
    if _runs_uncalled(now, found):
        return (
            "An output runs that nobody called for: on a real unit that can be heat and cooling at once. "
            "De-energise before you look for the diode.",
            False,
        )
    if now.fault == "common lost":
        return (
            "Nothing runs, yet the conductor is still live: a lost common makes nothing safe. De-energise first.",
            False,
        )
    if watts > _QUARTER_WATT:
        return (
            f"Each lit LED's resistor makes {amount(watts, 'W')} of heat: a quarter-watt part chars, fit twice the heat or more "
            "(common practice, no source). De-energise before you touch it.",
            False,
        )
    return (
        "R feeds this conductor whenever a call is closed: de-energise and prove it dead before you move a wire.",
        False,
    )


def _runs_uncalled(now, found) -> bool:
    return any(on and not call for on, call in zip(found.on, (now.call_a, now.call_b), strict=True))


def standing(found) -> str:
    """Both outputs and both meters in words, to follow a colon."""
    return f"{_OUTPUTS[found.on]}, and the conductor reads {_volts(found.dc_volts)} dc and {_volts(found.ac_volts)} ac"


_OUTPUTS = {
    (False, False): "both outputs are off",
    (True, False): "output A is on, B is off",
    (False, True): "output B is on, A is off",
    (True, True): "both outputs are on",
}
_CALLS = {(True, False): "call A alone", (False, True): "call B alone", (True, True): "both calls"}


def _calls(now) -> tuple[bool, bool]:
    return now.call_a, now.call_b


def _plain(now) -> str:
    return {
        (False, False): "No call is closed, so nothing reaches the conductor",
        (
            True,
            False,
        ): "Call A's diode lets only the upper half of each cycle onto the conductor, which only LED A can use",
        (
            False,
            True,
        ): "Call B's diode lets only the lower half of each cycle onto the conductor, which only LED B can use",
        (True, True): "Each call sends its own half of the cycle, so the two do not cancel but take turns",
    }[_calls(now)]


def _fault(now, found) -> str:
    """What the fault does, or that it waits for a call."""
    if not any(_calls(now)):
        return f"No call is closed, so the fault ({now.fault}) does not show yet: {standing(found)}."
    waits = _waits(now)
    if waits:
        return f"The fault ({now.fault}) does not show until call {waits} closes, so with {_CALLS[_calls(now)]}, {standing(found)}."
    return f"{_FAULTS[now.fault]}, so with {_CALLS[_calls(now)]}, {standing(found)}."


def _waits(now) -> str:
    """The call for which a fault of one path waits, or none."""
    kind, _, call = now.fault.partition(" ")
    call = call[:1]
    if kind not in ("diode", "LED") or now.fault == "diodes swapped":
        return ""
    return "" if {"A": now.call_a, "B": now.call_b}[call] else call


_FAULTS = {
    "diode A open": "Diode A passes nothing, and call A is never heard",
    "diode A shorted": "Diode A passes both halves of the cycle",
    "diode A reversed": "Diode A is turned round and passes the lower half of the cycle, which is call B's",
    "diode B open": "Diode B passes nothing, and call B is never heard",
    "diode B shorted": "Diode B passes both halves of the cycle",
    "diode B reversed": "Diode B is turned round and passes the upper half of the cycle, which is call A's",
    "diodes swapped": "Each call sends the other's half of the cycle",
    "LED A open": "LED A's branch is open and passes nothing, though the conductor is fed",
    "LED B open": "LED B's branch is open and passes nothing, though the conductor is fed",
    "common lost": "The branches have lost their way back to C, and no LED carries current",
}


def _at_this_moment(now, moment) -> str:
    where = f"At {now.moment_degrees:g}° R stands at {_volts(moment.line_volts)} against C"
    lit = [call for call, on in zip("AB", moment.leds, strict=True) if on]
    if lit:
        return (
            f"{where}, so current flows {'into' if moment.wire_amps > 0 else 'out of'} the conductor and lights LED "
            f"{lit[0]} with {amount(abs(moment.wire_amps), 'A')}."
        )
    coils = [call for call, on in zip("AB", moment.coils, strict=True) if on]
    rest = f", while coil {' and coil '.join(coils)} still carries current" if coils else ""
    return f"{where} and the conductor at {_volts(moment.conductor_volts)}, so neither LED is lit{rest}."


def _call(name: str):
    def move(now, before, found, was) -> str:
        closes = getattr(now, f"call_{name.lower()}")
        half = {"A": "upper", "B": "lower"}[name]
        if now.fault:
            return f"Call {name} {'closes' if closes else 'opens'} with a fault in the circuit ({now.fault}): {standing(found)}."
        if closes:
            return f"Call {name} closes and its diode adds the {half} half of each cycle: {standing(found)}."
        return f"Call {name} opens and takes the {half} half of each cycle with it: {standing(found)}."

    return move


def _fault_moved(now, before, found, was) -> str:
    return _fault(now, found) if now.fault else f"{_plain(now)}: {standing(found)}."


def _resistor(now, before, found, was) -> str:
    larger = now.led_resistor_ohm > before.led_resistor_ohm
    return f"{'Larger resistors let less' if larger else 'Smaller resistors let more'} current through the LEDs: {_led(now, found, was)}."


def _wire(now, before, found, was) -> str:
    more = now.wire_ohm > before.wire_ohm
    return (
        f"The conductor now adds {amount(now.wire_ohm, 'Ω')} to the branch's {now.led_resistor_ohm:g} Ω, "
        f"{'more' if more else 'less'} than before: {_led(now, found, was)}."
    )


def _led(now, found, was) -> str:
    """The brighter LED's peak before and after, A's if they are alike, and whether it still triggers its output."""
    k = max((0, 1), key=lambda k: round(found.led_peak_amps[k], 9))
    if not found.led_peak_amps[k]:
        return f"no LED carries current now, and {standing(found)}"
    old, new = amount(was.led_peak_amps[k], "A"), amount(found.led_peak_amps[k], "A")
    goes = f"stays at {new}" if old == new else f"goes from {old} to {new}"
    trigger = amount(now.trigger_amps, "A")
    enough = found.led_peak_amps[k] > now.trigger_amps
    verdict = (
        f"above the {trigger} that triggers its output" if enough else f"too little to trigger its output at {trigger}"
    )
    return f"the peak of LED {'AB'[k]} {goes}, {verdict}, and {_OUTPUTS[found.on]}"


def _meter(now, before, found, was) -> str:
    if now.meter == "dc":
        return (
            f"The dc range shows the mean with its sign, {_volts(found.dc_volts)}: plus for call A, minus for call B, next to "
            "nothing for both or none."
        )
    if now.meter == "ac":
        return f"The ac range takes the mean away first, so {_volts(found.ac_volts)} says that a call is closed but not which."
    old, new = _volts(was.ac_volts), _volts(found.ac_volts)
    goes = f"stays at {new}, so it is no phantom" if old == new else f"goes from {old} to {new}"
    return f"A meter of low input resistance loads the conductor with 3 kΩ, and its ac reading {goes}."


_MOVES = {
    "call_a": _call("A"),
    "call_b": _call("B"),
    "fault": _fault_moved,
    "led_resistor_ohm": _resistor,
    "wire_ohm": _wire,
    "meter": _meter,
}

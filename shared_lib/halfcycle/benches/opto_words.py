"""What the bench of opto and triac says: one sentence on what changed and why, and the caution that bites."""

from math import isfinite

from halfcycle.amounts import amount

from .model import changed

__all__ = ["FEEDS", "ZERO_CROSS", "caution", "sentence"]

FEEDS = {"half": "one diode", "full": "four diodes", "dc": "steady dc"}
ZERO_CROSS = {"none": "none", "device": "at its output", "line": "at the line"}
_MOST_LED_AMPS = 0.05  # the most that such an LED is given (common practice, no source)
_MOST_OUTPUT_AMPS = 0.1  # of a small triac output (typical, from memory)
_RATED_WATTS = 0.25
_NOTICED_VOLTS = 3.0  # less than this at the load nobody takes for a call


def _amps(value: float) -> str:
    return amount(value, "A")


def _volts(value: float) -> str:
    return amount(value, "V")


def sentence(now, before, found, was, flows) -> str:
    """One sentence: why the last move of a control did what it did, or what the circuit does if nothing moved."""
    moved = changed(now, before)
    if moved == {"moment_degrees"}:
        return _at_this_moment(now, flows)
    if now.fault:
        return _FAULTS[now.fault](now, found)
    if len(moved) == 1 and not before.fault:
        return _MOVES[moved.pop()](now, before, found, was)
    return _whole(now, found)


def caution(now, found, quiet) -> tuple[str, bool]:
    """The caution that belongs to this setting, and whether the setting would do harm."""
    return next(words for words in (check(now, found, quiet) for check in _CAUTIONS) if words)


def _shorted(now, found, quiet):
    if now.fault == "output shorted":
        return (
            f"Never leave it so: {_answers(now, found)} with no call, and no thermostat can stop it. "
            "De-energise and replace the part.",
            True,
        )
    return None


def _overdriven(now, found, quiet):
    if found.led_peak_amps > _MOST_LED_AMPS:
        return (
            f"Not in the field: {_amps(found.led_peak_amps)} through the LED; 40 to 50 mA is the most that one is given "
            "(common practice, no source). Take a larger resistor.",
            True,
        )
    return None


def _overloaded(now, found, quiet):
    if found.coil_rms_amps > _MOST_OUTPUT_AMPS and not now.fault:
        return (
            f"Not in the field: {_amps(found.coil_rms_amps)} through a small triac output, good for about 100 mA (typical, "
            "from memory). Let it switch a relay, and the relay the contactor.",
            True,
        )
    return None


def _false_call(now, found, quiet):
    if quiet.answers:
        return (
            f"Not in the field: with no call {_volts(quiet.load_rms_volts)} are left at the load, and this {now.load.kind} "
            "takes them for a call. Fit a bleeder across it, rated for its heat.",
            True,
        )
    return None


def _hot_bleeder(now, found, quiet):
    if found.bleeder_watts > _RATED_WATTS:
        return (
            f"Not in the field with a quarter-watt part: the bleeder turns {amount(found.bleeder_watts, 'W')} into heat. "
            "Use one rated for twice the heat.",
            True,
        )
    return None


def _hot_resistor(now, found, quiet):
    if found.resistor_watts > _RATED_WATTS:
        return (
            f"The LED's resistor turns {amount(found.resistor_watts, 'W')} into heat: a quarter-watt part scorches here. "
            "Use one rated for twice the heat.",
            False,
        )
    return None


def _steady_part(now, found, quiet):
    if abs(found.coil_dc_amps) > 0.3 * found.coil_rms_amps > 0.3 * now.load.answer_amps and not now.load.is_input:
        return (
            f"{_amps(abs(found.coil_dc_amps))} of dc flow through an ac coil and the transformer: both run warmer than on ac. "
            "De-energise before you touch them.",
            False,
        )
    return None


def _off_is_not_open(now, found, quiet):
    return "An output that is off still leaks: never take it for a disconnect. De-energise, and prove it dead.", False


_CAUTIONS = (
    _shorted, _overdriven, _overloaded, _false_call, _hot_bleeder, _hot_resistor, _steady_part, _off_is_not_open,
)  # fmt: skip


def _answers(now, found) -> str:
    if now.load.is_input:
        return f"the input {'sees a call' if found.answers else 'sees no call'}"
    return f"the {now.load.kind} {'pulls in' if found.answers else 'stays out'}"


def _from_to(was: float, now: float, unit: str = "A") -> str:
    old, new = amount(was, unit), amount(now, unit)
    return f"stays at {new}" if old == new else f"goes from {old} to {new}"


def _current(was, found) -> str:
    return f"load current {_from_to(was.coil_rms_amps, found.coil_rms_amps)}"


def _whole(now, found) -> str:
    if not now.called:
        return _no_call(now, found)
    if found.led_peak_amps < now.trigger_amps:
        return (
            f"The LED gets no more than {_amps(found.led_peak_amps)}, and this output needs {_amps(now.trigger_amps)} of it "
            f"to turn on, so {_answers(now, found)}."
        )
    if not found.answers and now.zero_cross != "none":
        return (
            f"The LED reaches {_amps(now.trigger_amps)} only when the voltage has left the window of {_volts(now.inhibit_volts)}, "
            f"so the output does not turn on and {_answers(now, found)}."
        )
    return (
        f"{_LIGHT[now.feed]} lights the LED with up to {_amps(found.led_peak_amps)}, the light turns the output on, and "
        f"{_amps(found.coil_rms_amps)} flow: {_answers(now, found)}."
    )


_LIGHT = {"half": "One half of each cycle", "full": "Either half of the cycle", "dc": "A steady current"}


def _no_call(now, found) -> str:
    if found.load_rms_volts < _NOTICED_VOLTS:
        return f"Nobody calls, the LED is dark, and only {_volts(found.load_rms_volts)} leak through to the load."
    return (
        f"Nobody calls and the LED is dark, yet {_volts(found.load_rms_volts)} stand at the load, leaked through "
        f"{'the snubber' if now.snubber_farad else 'the idle output'}: {_answers(now, found)}."
    )


def _at_this_moment(now, flows) -> str:
    where = f"At {now.moment_degrees:g}°"
    led, output = abs(flows["LED"]) > 1e-4, abs(flows["output"]) > 1e-4
    light = f"the LED carries {_amps(flows['LED'])}" if led else "the LED is dark"
    if not output:
        return f"{where} {light} and the output is off."
    if not led:
        held = "its fault" if now.fault == "output shorted" else "its own current"
        return f"{where} {light}, but the output stays on by {held}, {_amps(abs(flows['output']))}."
    return f"{where} {light} and the output is on with {_amps(abs(flows['output']))}."


def _led_open(now, found) -> str:
    return f"The LED is open, so no light crosses the gap: the call is there, the output stays off, and {_answers(now, found)}."


def _output_shorted(now, found) -> str:
    call = "the call is on" if now.called else "nobody calls"
    return (
        f"The output is shorted, so the light decides nothing any more: {call}, {_amps(found.coil_rms_amps)} flow, and "
        f"{_answers(now, found)}."
    )


_FAULTS = {"LED open": _led_open, "output shorted": _output_shorted}


def _called(now, before, found, was) -> str:
    if not now.called:
        return _no_call(now, found)
    return _whole(now, found)


def _resistor(now, before, found, was) -> str:
    larger = now.led_resistor_ohm > before.led_resistor_ohm
    light = f"The LED's peak {_from_to(was.led_peak_amps, found.led_peak_amps)} through the {'larger' if larger else 'smaller'} resistor"
    if not now.called:
        return "Nobody calls, so the LED's resistor carries nothing, large or small."
    if found.led_peak_amps < now.trigger_amps:
        return f"{light}, less than the {_amps(now.trigger_amps)} that this output needs, so {_answers(now, found)}."
    return f"{light}, and {_current(was, found)}: {_answers(now, found)}."


def _feed(now, before, found, was) -> str:
    why = {
        "half": "One diode lights the LED in one half of each cycle, so the coil gets pulses of one direction",
        "full": "Four diodes light the LED in both halves of the cycle, so the coil gets both directions",
        "dc": "Steady light lets the output turn on in both halves of the cycle",
    }[now.feed]
    return f"{why}: dc part {_from_to(was.coil_dc_amps, found.coil_dc_amps)}, {_current(was, found)}."


def _zero_cross(now, before, found, was) -> str:
    why = {
        "none": "Without a window the output turns on whenever the light is strong enough",
        "device": f"This output turns on only while the voltage across itself is below {_volts(now.inhibit_volts)}",
        "line": f"This output turns on only while the line is below {_volts(now.inhibit_volts)}, whatever its coil does",
    }[now.zero_cross]
    return f"{why}: {_current(was, found)}, and {_answers(now, found)}."


def _load(now, before, found, was) -> str:
    other = f"The {now.load.kind} has {amount(now.load.ohm, 'Ω')}"
    return f"{other}: {_current(was, found)}, {_amps(now.load.answer_amps)} are needed, and {_answers(now, found)}."


def _snubber(now, before, found, was) -> str:
    if not now.snubber_farad:
        return f"With no snubber nothing but the idle output leaks: load voltage {_from_to(was.load_rms_volts, found.load_rms_volts, 'V')}."
    larger = now.snubber_farad > before.snubber_farad
    return (
        f"A {'larger' if larger else 'smaller'} snubber lets {'more' if larger else 'less'} ac past the output, on or off: "
        f"load voltage {_from_to(was.load_rms_volts, found.load_rms_volts, 'V')}, and {_answers(now, found)}."
    )


def _across(now, before, found, was) -> str:
    if not isfinite(now.across_ohm):
        why = "With nothing across it the load alone takes what leaks"
    elif now.across_ohm >= 1e6:
        why = f"A meter's input of {amount(now.across_ohm, 'Ω')} takes next to nothing of what leaks"
    else:
        why = f"A bleeder of {amount(now.across_ohm, 'Ω')} takes the leakage past the load"
    return (
        f"{why}: load voltage {_from_to(was.load_rms_volts, found.load_rms_volts, 'V')}, heat in it "
        f"{amount(found.bleeder_watts, 'W')}."
    )


_MOVES = {
    "called": _called,
    "led_resistor_ohm": _resistor,
    "feed": _feed,
    "zero_cross": _zero_cross,
    "load": _load,
    "snubber_farad": _snubber,
    "across_ohm": _across,
    "fault": lambda now, before, found, was: _whole(now, found),
}

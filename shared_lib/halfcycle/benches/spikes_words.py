"""What the bench of spikes and filters says: one sentence on what changed and why, and the caution that bites."""

from halfcycle.amounts import amount

from .model import changed
from .spikes_solved import FITTED

__all__ = ["PLACES", "caution", "sentence"]

PLACES = {
    "none": "none",
    "feed": "actuator's feed",
    "snubber": "across the bus",
    "lc": "at thermostat",
    "straight": "straight box",
}
_RATED_WATTS = 0.25  # the common small resistor
_NOTED_VOLTS, _CONTROL_VOLTS, _CABLE_VOLTS = 70.0, 30.0, 300.0
_PARTS = {"filter_farad": "capacitor", "filter_ohm": "resistor", "filter_henry": "choke"}


def _volts(value: float) -> str:
    return amount(value, "V")


def sentence(now, before, found, was) -> str:
    """One sentence: why the last move of a control did what it did, or what the circuit does if nothing moved."""
    moved = changed(now, before)
    if moved == {"moment"}:
        return _MOMENTS[now.moment](now, found)
    if now.fault:
        return _open_capacitor(now, found)
    if len(moved) == 1 and not before.fault:
        return _MOVES[moved.pop()](now, before, found, was)
    return _whole(now, found)


def caution(now, found) -> tuple[str, bool]:
    """The caution that belongs to this setting, and whether the setting would do harm."""
    return next(words for words in (check(now, found) for check in _CAUTIONS) if words)


def _overloaded(now, found):
    if now.source.volt_amperes and found.drawn_va > now.source.volt_amperes:
        return (
            f"Not in the field: this draws {amount(found.drawn_va, 'VA')} from a {now.source.volt_amperes:g} VA "
            "transformer, which overheats. Lighten the load or fit a larger one.",
            True,
        )
    return None


def _hot_resistor(now, found):
    if found.resistor_watts > _RATED_WATTS:
        return (
            f"Not in the field with a quarter-watt part: the filter's resistor turns {amount(found.resistor_watts, 'W')} "
            "into heat, and scorches. Use one rated for twice the heat.",
            True,
        )
    return None


def _lifted_thermostat(now, found):
    if now.place == "lc" and found.thermostat_rms_volts > _CONTROL_VOLTS:
        return (
            f"Not in the field: choke and capacitor swing the thermostat up to {_volts(found.thermostat_rms_volts)} rms; "
            "24 V controls are commonly good to 30 V (common practice, no source).",
            True,
        )
    return None


def _broken_down(now, found):
    if found.spike_volts > _CABLE_VOLTS:
        return (
            f"Not in the field: {_volts(found.spike_volts)} of spike; cable for 24 V controls is commonly good to 300 V at "
            "most (common practice, no source), and parts give way sooner.",
            True,
        )
    return None


def _charged_capacitor(now, found):
    if now.place == "feed" and not now.fault:
        return (
            "The capacitor stays charged after the power is off: bleed it and measure it before you touch. "
            "Behind a diode on 24 VAC fit 50 V or more (common practice, no source).",
            False,
        )
    return None


def _high_peak(now, found):
    if found.thermostat_peak_volts > _NOTED_VOLTS:
        return (
            f"The thermostat's input meets peaks of {_volts(found.thermostat_peak_volts)}: read the rating of its parts "
            "before you blame the thermostat. De-energise before you move a lead.",
            False,
        )
    return None


def _clip(now, found):
    return (
        "A scope's ground clip is earth: on a grounded secondary it shorts the supply at every terminal but the "
        "grounded one. De-energise before you clip it on.",
        False,
    )


_CAUTIONS = (_overloaded, _hot_resistor, _lifted_thermostat, _broken_down, _charged_capacitor, _high_peak, _clip)


def _from_to(was: float, now: float, unit: str = "V") -> str:
    old, new = amount(was, unit), amount(now, unit)
    return f"stays at {new}" if old == new else f"goes from {old} to {new}"


def _rms(was, found) -> str:
    return f"while the meter's rms {_from_to(was.rms_volts, found.rms_volts)}"


def _whole(now, found) -> str:
    if now.place == "feed":
        return (
            f"Diode and capacitor in the actuator's own feed close the path of its pulses, so only {_volts(found.spike_volts)} "
            f"stand above the wave, and the feed draws {amount(found.feed_va, 'VA')}."
        )
    if now.place in ("lc", "straight"):
        return _PLACED[now.place](found, None)
    others = "what else hangs on the bus and the snubber" if now.place == "snubber" else "what else hangs on the bus"
    return (
        f"Each time the actuator's switch opens, the current in the transformer's leakage must go on through {others}, "
        f"and lifts the bus by up to {_volts(found.spike_volts)}."
    )


def _open_capacitor(now, found) -> str:
    if now.place not in FITTED:
        return "There is no filter capacitor in this circuit, so none can be open."
    left = {
        "feed": "the feed's diode alone cannot hold the pulses back",
        "snubber": "the snubber's resistor hangs on nothing",
        "lc": "the choke stands alone before the thermostat",
    }[now.place]
    return f"The filter capacitor's lead is open, so {left}: spikes of {_volts(found.spike_volts)} stand on the bus."


def _at_spike(now, found) -> str:
    if found.spike_volts < 2:
        return (
            f"The switch has opened, and the feed's capacitor has taken the pulse: the bus rises by no more than "
            f"{_volts(found.spike_volts)}."
        )
    return (
        f"The switch has just opened: the current of the leakage has nowhere to go but the loads on the bus, "
        f"and the store is charged by the actuator's own choke through its second diode, {_volts(found.spike_volts)} above the wave."
    )


def _close(now, found) -> str:
    if not found.width_s:
        return f"Seen close, the opening of the switch lifts the bus by {_volts(found.spike_volts)}, which is no spike."
    return (
        f"Seen close, the spike stands {_volts(found.spike_volts)} above the wave and is "
        f"{amount(found.width_s, 's')} wide at half its height: too short for any multimeter."
    )


def _closed(now, found) -> str:
    return (
        f"The switch is closed and the actuator draws through the winding, so the bus dips by up to "
        f"{_volts(found.dip_volts)}."
    )


def _rest(now, found) -> str:
    return "In this half cycle the actuator's diode blocks, so nothing disturbs the bus."


_MOMENTS = {"spike": _at_spike, "close": _close, "closed": _closed, "rest": _rest}


def _no_filter(found, was) -> str:
    return f"Without a filter the leakage's current goes on through the loads: highest spike {_from_to(was.spike_volts, found.spike_volts)}."


def _feed(found, was) -> str:
    return (
        f"Diode and capacitor in the actuator's own feed close the path of its pulses: highest spike "
        f"{_from_to(was.spike_volts, found.spike_volts)}, and the feed draws {amount(found.feed_va, 'VA')}."
    )


def _snubber(found, was) -> str:
    return (
        f"A resistor and a capacitor across the bus give the leakage's current another way: highest spike "
        f"{_from_to(was.spike_volts, found.spike_volts)}."
    )


def _lc(found, was) -> str:
    return (
        f"Choke and capacitor calm the thermostat alone, its peak {_volts(found.thermostat_peak_volts)}, but on the bus "
        f"spikes of {_volts(found.spike_volts)} are left for everyone else."
    )


def _straight(found, was) -> str:
    return (
        f"The box carries the supply straight through and holds nothing that filters: {_volts(found.spike_volts)} of spike "
        f"with it as without it."
    )


_PLACED = {"none": _no_filter, "feed": _feed, "snubber": _snubber, "lc": _lc, "straight": _straight}


def _place(now, before, found, was) -> str:
    return _PLACED[now.place](found, was)


def _bus_load(now, before, found, was) -> str:
    lighter = now.bus_load_ohm > before.bus_load_ohm
    if now.place == "feed":
        why = f"{'Less' if lighter else 'More'} hangs on the bus, but the feed's filter keeps the pulses off it"
    elif lighter:
        why = "The less hangs on the bus, the higher the same current lifts it"
    else:
        why = "The more hangs on the bus, the lower the way around for the leakage's current"
    return f"{why}: highest spike {_from_to(was.spike_volts, found.spike_volts)}, {_rms(was, found)}."


def _source(now, before, found, was) -> str:
    less = now.source.leakage_henry < before.source.leakage_henry
    if now.source.leakage_henry == before.source.leakage_henry:
        why = "This transformer has the same leakage"
    else:
        why = f"This transformer has {'less' if less else 'more'} leakage and winding resistance"
    return (
        f"{why}: dip {_from_to(was.dip_volts, found.dip_volts)}, highest spike "
        f"{_from_to(was.spike_volts, found.spike_volts)}."
    )


def _store(now, before, found, was) -> str:
    fuller = now.store_volts > before.store_volts
    return (
        f"{'A fuller' if fuller else 'An emptier'} store empties the actuator's choke {'faster' if fuller else 'slower'} "
        f"each time: charging power {_from_to(was.store_watts, found.store_watts, 'W')}, highest spike "
        f"{_from_to(was.spike_volts, found.spike_volts)}."
    )


def _filter_part(name: str):
    def words(now, before, found, was) -> str:
        part = _PARTS[name]
        if name not in FITTED.get(now.place, ()):
            return f"No {part} is fitted while the filter's place is '{PLACES[now.place]}', so nothing changes."
        value = {
            "filter_farad": (now.parts.farad, "F"),
            "filter_ohm": (now.parts.ohm, "Ω"),
            "filter_henry": (now.parts.henry, "H"),
        }
        at = (
            f"peak at the thermostat {_from_to(was.thermostat_peak_volts, found.thermostat_peak_volts)}"
            if now.place == "lc"
            else f"highest spike {_from_to(was.spike_volts, found.spike_volts)}"
        )
        return (
            f"The filter's {part} is now {amount(*value[name])}, {_WHY[now.place, name]}: {at}, and the feed draws "
            f"{amount(found.feed_va, 'VA')}."
        )

    return words


_WHY = {
    ("feed", "filter_farad"): "which carries the pulses between refills from the bus",
    ("feed", "filter_ohm"): "which slows each refill of the capacitor",
    ("snubber", "filter_farad"): "which sets how long the snubber can take current",
    ("snubber", "filter_ohm"): "which sets how far the current lifts the bus",
    ("lc", "filter_farad"): "which holds the thermostat's voltage still",
    ("lc", "filter_ohm"): "which damps the choke and the capacitor",
    ("lc", "filter_henry"): "which holds the spikes back from the thermostat",
}
_MOVES = {
    "place": _place,
    "bus_load_ohm": _bus_load,
    "source": _source,
    "store_volts": _store,
    **{name: _filter_part(name) for name in _PARTS},
    "fault": lambda now, before, found, was: _whole(now, found),
}

"""What the bench of rectifier and capacitor says: one sentence on what changed and why, and the caution that bites."""

from halfcycle.amounts import amount

from .model import changed

__all__ = ["caution", "sentence"]

_PART_VOLTS = 35.0
_HARMLESS = "Bleed the capacitor and measure it before you touch: it stays charged after the power is off."


def _volts(value: float) -> str:
    return amount(value, "V")


def sentence(now, before, found, was, moment) -> str:
    """One sentence: why the last move of a control did what it did, or what the circuit does if nothing moved.

    `found` and `was` are the numbers now and before; `moment` says what each diode does at the moment shown.
    """
    moved = changed(now, before)
    if moved == {"moment_degrees"}:
        return _at_this_moment(now, found, moment)
    if now.fault:
        return _FAULTS[now.fault](now, found)
    if len(moved) == 1 and not (before and before.fault):
        return _MOVES[moved.pop()](now, before, found, was)
    return _whole(now, found)


def caution(now, found) -> tuple[str, bool]:
    """The caution that belongs to this setting, and whether the setting would do harm."""
    if now.fault == "diode reversed" and now.kind == "bridge":
        return (
            f"Never in the field: the reversed diode shorts the secondary through its neighbour, up to "
            f"{amount(found.diode_peak_amps, 'A')} in this bench, until a fuse, a diode or the winding gives way.",
            True,
        )
    if now.fault == "diode reversed" and now.capacitor_farad:
        return (
            "Never in the field: a polarised capacitor fed backwards can burst and throw hot liquid. "
            "De-energise, prove it dead, and keep your face away.",
            True,
        )
    if now.source.volt_amperes and found.drawn_va > now.source.volt_amperes:
        return (
            f"Not in the field: this draws {amount(found.drawn_va, 'VA')} from a {now.source.volt_amperes:g} VA "
            "transformer, which overheats. Lighten the load or fit a larger one.",
            True,
        )
    if now.capacitor_farad and now.fault != "capacitor open" and found.peak_volts > _PART_VOLTS:
        return (
            f"The capacitor stands at {_volts(found.peak_volts)}: a 35 V part fails here. "
            "Fit 50 V or more (common practice, no source). " + _HARMLESS,
            False,
        )
    if now.capacitor_farad:
        return _HARMLESS, False
    return "De-energise and prove it dead before you move a meter lead to another terminal.", False


def _whole(now, found) -> str:
    halves = (
        "One diode lets only the upper half of each cycle" if now.kind == "half" else "Four diodes turn both halves"
    )
    way = " through" if now.kind == "half" else " the same way up"
    if not now.capacitor_farad:
        return f"{halves}{way}, and with no capacitor the load falls to nothing between them: mean {_volts(found.mean_volts)}."
    return (
        f"{halves}{way}, and the capacitor carries the load in between: it sags by {_volts(found.ripple_volts)} "
        f"before each refill, about a mean of {_volts(found.mean_volts)}."
    )


def _at_this_moment(now, found, moment) -> str:
    where = f"At {now.moment_degrees:g}°"
    if moment.conducting:
        names = " and ".join(moment.conducting)
        verb = "conducts" if len(moment.conducting) == 1 else "conduct"
        return (
            f"{where} the secondary pushes harder than the load side pushes back, so {names} {verb} "
            f"{amount(moment.amps, 'A')}."
        )
    feeds = "the capacitor alone feeds the load" if moment.capacitor_feeds else "nothing reaches the load"
    return (
        f"{where} the secondary stands at {_volts(moment.secondary_volts)} and the load at {_volts(moment.load_volts)}, "
        f"so no diode conducts and {feeds}."
    )


def _fault_capacitor(now, found) -> str:
    return (
        f"The capacitor's lead is open, so nothing fills the gaps: the load swings by {_volts(found.ripple_volts)} "
        f"although the dc meter still shows {_volts(found.mean_volts)}."
    )


def _fault_diode(now, found) -> str:
    if now.kind == "half":
        return (
            f"The diode is the wrong way round, so only the lower half of each cycle gets through and the dc meter "
            f"reads {_volts(found.mean_volts)}."
        )
    return (
        f"D1 is the wrong way round: with its neighbour it shorts the secondary on one half of every cycle, "
        f"{amount(found.diode_peak_amps, 'A')} at the peak, and the mean is {_volts(found.mean_volts)}."
    )


_FAULTS = {"capacitor open": _fault_capacitor, "diode reversed": _fault_diode}


def _from_to(was: float, now: float, unit: str = "V") -> str:
    old, new = amount(was, unit), amount(now, unit)
    return f"stays at {new}" if old == new else f"goes from {old} to {new}"


def _kind(now, before, found, was) -> str:
    if now.kind == "bridge":
        why = "Four diodes use both halves of the cycle, so the load is fed 120 times a second"
    else:
        why = "One diode uses one half of the cycle, so the load is fed only 60 times a second"
    return (
        f"{why}: ripple {_from_to(was.ripple_volts, found.ripple_volts)}, mean "
        f"{_from_to(was.mean_volts, found.mean_volts)}."
    )


def _capacitor(now, before, found, was) -> str:
    if not now.capacitor_farad:
        return (
            f"With no capacitor nothing carries the load between half cycles: ripple "
            f"{_from_to(was.ripple_volts, found.ripple_volts)}."
        )
    larger = now.capacitor_farad > before.capacitor_farad
    why = (
        "A larger capacitor falls less between refills"
        if larger
        else "A smaller capacitor falls further between refills"
    )
    return (
        f"{why}: ripple {_from_to(was.ripple_volts, found.ripple_volts)}, while the diode's current peak "
        f"{_from_to(was.diode_peak_amps, found.diode_peak_amps, 'A')}."
    )


def _load(now, before, found, was) -> str:
    more = now.load_ohm < before.load_ohm
    why = f"{'A lower' if more else 'A higher'} resistance takes {'more' if more else 'less'} current"
    if now.capacitor_farad:
        why += f", so the capacitor empties {'faster' if more else 'slower'}"
    return (
        f"{why}: ripple {_from_to(was.ripple_volts, found.ripple_volts)}, mean "
        f"{_from_to(was.mean_volts, found.mean_volts)}."
    )


def _source(now, before, found, was) -> str:
    stiffer = now.source.resistance_ohm < before.source.resistance_ohm
    return (
        f"This transformer has {'less' if stiffer else 'more'} resistance in its winding, "
        f"{amount(now.source.resistance_ohm, 'Ω')}, so it gives way {'less' if stiffer else 'more'} to each current "
        f"pulse: mean {_from_to(was.mean_volts, found.mean_volts)}."
    )


def _line(now, before, found, was) -> str:
    return (
        f"The secondary follows the line, {'up' if now.line_percent > before.line_percent else 'down'}: the load's peak "
        f"{_from_to(was.peak_volts, found.peak_volts)}, and the parts must stand the highest."
    )


_MOVES = {
    "kind": _kind,
    "capacitor_farad": _capacitor,
    "load_ohm": _load,
    "source": _source,
    "line_percent": _line,
    "fault": lambda now, before, found, was: _whole(now, found),
}

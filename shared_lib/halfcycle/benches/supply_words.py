"""What the bench of supply and wire says: one sentence on what changed and why, and the caution that bites."""

from halfcycle.amounts import amount

from .model import changed

__all__ = ["caution", "sentence"]


def _volts(value: float) -> str:
    return amount(value, "V")


def sentence(now, before, found, was, works: bool) -> str:
    """One sentence: why the last move of a control did what it did, or how things stand if nothing moved."""
    moved = changed(now, before)
    why = _MOVES[moved.pop()](now, before, found) if len(moved) == 1 else _whole(now, found)
    return f"{why} {_relay(now, found, was, works)}"


def caution(now, found) -> tuple[str, bool]:
    """The caution that belongs to this setting, and whether the setting would do harm."""
    if found.drawn_va > now.volt_amperes:
        return (
            f"Not in the field: {amount(found.drawn_va, 'VA')} from a {now.volt_amperes:g} VA transformer overheats it. "
            "Fewer loads, or a larger transformer within the class 2 limit.",
            True,
        )
    if now.load_va > now.volt_amperes:
        return (
            f"Not in the field: the load list of {now.load_va:g} VA is more than the {now.volt_amperes:g} VA rating, "
            "even if the long run hides it by starving the loads.",
            True,
        )
    if now.celsius > 60:
        return "Wire this hot needs insulation rated for it: read the cable's marking, and ask the local code.", False
    return "Never bridge R to C to see whether it sparks: the winding heats long before a breaker knows.", False


def _relay(now, found, was, works: bool) -> str:
    needs = f"it needs {now.pull_in_volts:g} V to pull in"
    before = "" if was is None else f" instead of {_volts(was.far_volts)}"
    if before and _volts(was.far_volts) == _volts(found.far_volts):
        before = " as before"
    return f"the relay gets {_volts(found.far_volts)}{before}; {needs}, so its contact {'closes' if works else 'stays open'}."


def _whole(now, found) -> str:
    return (
        f"Of {_volts(found.near_volts)} at the transformer the run keeps {_volts(found.lost_volts)}, "
        f"{now.length_ft:g} ft out and the same back, and"
    )


def _wire(now, before, found) -> str:
    thicker = now.gauge_awg < before.gauge_awg
    return (
        f"{'Thicker' if thicker else 'Thinner'} wire has {'less' if thicker else 'more'} resistance, so the run keeps "
        f"{_volts(found.lost_volts)}:"
    )


def _length(now, before, found) -> str:
    longer = now.length_ft > before.length_ft
    return (
        f"A {'longer' if longer else 'shorter'} run has {'more' if longer else 'less'} resistance out and back, so it keeps "
        f"{_volts(found.lost_volts)}:"
    )


def _celsius(now, before, found) -> str:
    warmer = now.celsius > before.celsius
    return (
        f"Copper {'gains' if warmer else 'loses'} about 0.4 % of its resistance with every degree, so the "
        f"{'warmer' if warmer else 'colder'} run keeps {_volts(found.lost_volts)}:"
    )


def _rating(now, before, found) -> str:
    larger = now.volt_amperes > before.volt_amperes
    return (
        f"A {'larger' if larger else 'smaller'} transformer gives way {'less' if larger else 'more'} to the same load, "
        f"so {_volts(found.near_volts)} stay at its terminals:"
    )


def _regulation(now, before, found) -> str:
    return (
        f"With {now.regulation_percent:g} % regulation the transformer stands at {_volts(found.no_load_volts)} without load "
        f"and at {_volts(found.near_volts)} now:"
    )


def _actuators(now, before, found) -> str:
    more = now.actuators > before.actuators
    return (
        f"{'More' if more else 'Fewer'} actuators draw {'more' if more else 'less'} current, so the run keeps "
        f"{_volts(found.lost_volts)}:"
    )


def _coil(now, before, found) -> str:
    larger = now.relay_va > before.relay_va
    return (
        f"A {'larger' if larger else 'smaller'} coil draws {'more' if larger else 'less'} current itself, so the run keeps "
        f"{_volts(found.lost_volts)}:"
    )


def _pull_in(now, before, found) -> str:
    return "Another relay with the same coil gets the same voltage, only its need differs:"


_MOVES = {
    "gauge_awg": _wire,
    "length_ft": _length,
    "celsius": _celsius,
    "volt_amperes": _rating,
    "regulation_percent": _regulation,
    "actuators": _actuators,
    "relay_va": _coil,
    "pull_in_volts": _pull_in,
}

"""The sheets of lesson 00: which parts, steps and connections a learner judges, and in which order. No sheet knows the answer.

A sheet's number is written in the falling places of n!, and each place says which card is drawn next.
"""

from collections.abc import Sequence

from .page import table

__all__ = [
    "CONNECTIONS",
    "PARTS",
    "STEPS",
    "clip_table",
    "connections",
    "grounded",
    "order_table",
    "pairs",
    "parts",
    "parts_table",
]

PARTS = {
    "actuator": "the two leads of a zone actuator",
    "coil": "the coil of the pump relay",
    "contact": "the contact of the pump relay",
    "disconnect": "the blades of the boiler's disconnect switch",
    "end switch": "the end switch inside a zone actuator",
    "fuse 1": "fuse F1, before the transformer",
    "fuse 2": "fuse F2, behind the transformer",
    "primary": "the transformer's two black leads, at its primary",
    "pump": "the wires in the pump's own terminal box",
    "R and C": "the screws R and C",
    "thermostat": "the thermostat's wires",
}
_DRAWN = (("disconnect", "fuse 1", "primary", "pump"), ("R and C", "actuator", "end switch", "fuse 2", "thermostat"))
STEPS = {
    "bleed": "Bleed the capacitors and measure them",
    "find": "Find every source that feeds the panel",
    "lock": "Put your own lock and tag on the disconnect",
    "off": "Switch the disconnect off",
    "prove": "Try the tester on a known source",
    "reach": "Put your hands in",
    "test": "Test the parts, to show that they are dead",
    "prove again": "Try the tester once more on the known source",
}
_COMPARED = (
    ("bleed", "reach"),
    ("find", "off"),
    ("lock", "off"),
    ("lock", "test"),
    ("prove", "test"),
    ("prove again", "reach"),
)
CONNECTIONS = {
    "R": "Scope plugged into the wall, clip on R",
    "C": "Scope plugged into the wall, clip on C",
    "W calling": "Scope plugged into the wall, clip on W, the thermostat calling",
    "W idle": "Scope plugged into the wall, clip on W, the thermostat not calling",
    "metal": "Scope plugged into the wall, clip on the bare metal of the panel",
    "battery": "Scope on its own battery, joined to nothing else, clip on the side that is not grounded",
}
_STRIDE = 7919  # a prime, so that neighbouring sheets look unlike


def parts(sheet: int) -> tuple[str, ...]:
    """The six parts (keys of `PARTS`) on a sheet: contact and coil of the relay, two more of either kind.

    >>> sorted(parts(1)) == sorted(set(parts(1))), {"coil", "contact"} <= set(parts(1)), len(parts(1))
    (True, True, 6)
    """
    chosen = [name for kind in _DRAWN for name in _shuffled(kind, sheet)[:2]]
    return _shuffled(("contact", "coil", *chosen), sheet)


def pairs(sheet: int) -> tuple[tuple[str, str], ...]:
    """The six pairs of steps (keys of `STEPS`) on a sheet, as they are printed: the first, then the second.

    >>> len(pairs(1)), {tuple(sorted(pair)) for pair in pairs(1)} == {tuple(sorted(pair)) for pair in pairs(2)}
    (6, True)
    """
    turned = [pair[::-1] if sheet * 37 % 61 >> place & 1 else pair for place, pair in enumerate(_COMPARED)]
    return _shuffled(turned, sheet)


def grounded(sheet: int) -> str:
    """Which side of the secondary is grounded on a sheet of connections, "R" or "C"."""
    return "C" if sheet % 2 else "R"


def connections(sheet: int) -> tuple[str, ...]:
    """The six connections of the scope's ground clip (keys of `CONNECTIONS`) in a sheet's order."""
    return _shuffled(tuple(CONNECTIONS), sheet)


def parts_table(circuit) -> None:
    """Show the learner's sheet of parts."""
    rows = [(f"{place}", PARTS[name]) for place, name in enumerate(parts(circuit.parts_sheet), 1)]
    table(f"Your sheet of parts, number {circuit.parts_sheet}", ("Row", "Part"), rows)


def order_table(circuit) -> None:
    """Show the learner's sheet of steps."""
    rows = [
        (f"{place}", STEPS[first], STEPS[second]) for place, (first, second) in enumerate(pairs(circuit.order_sheet), 1)
    ]
    table(f"Your sheet of steps, number {circuit.order_sheet}", ("Row", "This first …", "… then this"), rows)


def clip_table(circuit) -> None:
    """Show the learner's sheet of connections and which side is grounded."""
    rows = [(f"{place}", CONNECTIONS[name]) for place, name in enumerate(connections(circuit.clip_sheet), 1)]
    title = (
        f"Your sheet of connections, number {circuit.clip_sheet}. "
        f"In this panel {grounded(circuit.clip_sheet)} is grounded (joined to the bare metal)."
    )
    table(title, ("Row", "Connection"), rows)


def _shuffled(cards: Sequence, sheet: int) -> tuple:
    rest, number, drawn = list(cards), sheet * _STRIDE, []
    while rest:
        number, place = divmod(number, len(rest))
        drawn.append(rest.pop(place))
    return tuple(drawn)

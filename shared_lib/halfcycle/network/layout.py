"""What all switch patterns of a network share: its nodes, its state, its sources, its unswitched equations."""

from collections.abc import Iterable
from dataclasses import astuple
from functools import cache
from math import cos, pi, sin

import numpy as np

from .parts import Capacitor, Condition, CurrentSource, Device, Inductor, Resistor, VoltageSource

_OWN_AMPS_WEIGHT = 1000
"""A device's margin of its own current counts a thousandfold, since a nanoampere through 1 GΩ is a volt."""


class Layout:
    """The unknowns of a network (node voltages, then currents of sources, capacitors, devices) and its fixed matrices.

    `parts` maps a name to (part, plus node, minus node); `ground` is the node at zero volts.
    What is *given* at an instant is the state, then cos ωt and sin ωt of each frequency, then 1. Every equation and every
    quantity is a row over the unknowns, then over what is given; `equations` has those that add up to zero, the devices'
    own laws left empty (a device's current is an unknown of its own: as a difference of voltages it would drown in
    rounding). `slopes` turns the unknowns into the derivative of the state, `spin` what is given into that of the sources.
    """

    def __init__(self, parts: dict, ground: str):
        self.parts, self.ground = parts, ground
        names = dict.fromkeys(node for _, plus, minus in parts.values() for node in (plus, minus))
        self.nodes = {node: k for k, node in enumerate(n for n in names if n != ground)}
        of = self._names_of
        self.capacitors, self.inductors, self.devices = of(Capacitor), of(Inductor), of(Device)
        self.state = {name: k for k, name in enumerate(self.capacitors + self.inductors)}
        branches = of(VoltageSource) + self.capacitors + self.devices
        self.branches = {name: len(self.nodes) + k for k, name in enumerate(branches)}
        self.size = len(self.nodes) + len(self.branches)
        self.hertz = sorted({self.parts[n][0].hertz for n in of(VoltageSource, CurrentSource) if self._swings(n)})
        self.omegas = [2 * pi * hertz for hertz in self.hertz]
        self.given_size = len(self.state) + 2 * len(self.hertz) + 1
        self.cosines = slice(len(self.state), len(self.state) + len(self.hertz))
        self.sines = slice(self.cosines.stop, self.given_size - 1)
        self.shortest_period_s = 1 / self.hertz[-1] if self.hertz else 1 / 60
        self.instant = 1e-9 * self.shortest_period_s
        self.first_instants = np.array([[0.0], [self.instant], [100 * self.instant]])
        self._check_connected()
        self.units = np.eye(self.size + self.given_size)
        self.given_units = self.units[self.size :, self.size :]
        self.spans = {name: self._span(plus, minus) for name, (_, plus, minus) in parts.items()}
        self.margins, self.probes = cache(self._margins_of), cache(self._probes_of)
        self.sizes, self.start = np.array([astuple(parts[n][0]) for n in self.state], dtype=float).reshape(-1, 2).T
        self.energy_root = np.sqrt(self.sizes)
        self.turned = self._turned()
        self.turned_back = self.turned.conj().T
        self.turning = np.array([*(1j * omega for omega in self.omegas), 0j])
        self.slopes = self._slopes()
        self.spin = self._spin()
        self.equations = self._fixed_equations()
        self.islands = self._islands()
        self.symmetric = not (self.islands or (self.capacitors and self.inductors))
        self.scale = self._scale()
        self._columns = np.concatenate([self.scale, np.ones(self.given_size)])
        others = self.size - len(self.devices)
        self.scaled_equations = self.scaled(self.equations[:others]) * self.scale[:others, None]
        self.law_rows = [self._laws_of(name) for name in self.devices]
        self.held = self.table(held for _, held in self.islands)[:, self.size : self.size + len(self.state)]

    def _names_of(self, *kinds: type) -> list[str]:
        return [name for name, (part, _, _) in self.parts.items() if isinstance(part, kinds)]

    def _swings(self, name: str) -> bool:
        part = self.parts[name][0]
        return getattr(part, "volts_peak", 0.0) != 0 or getattr(part, "amps_peak", 0.0) != 0

    def _check_connected(self) -> None:
        reached = _reached({self.ground}, [(plus, minus) for _, plus, minus in self.parts.values()])
        for name, (_, *ends) in self.parts.items():
            if loose := [node for node in ends if node not in reached]:
                raise ValueError(f"node {loose[0]!r} of part {name!r} floats: nothing joins it to {self.ground!r}")

    def _span(self, plus: str, minus: str) -> np.ndarray:
        """The voltage from `plus` to `minus` as a row."""
        row = np.zeros(len(self.units))
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != self.ground:
                row[self.nodes[node]] += sign
        return row

    def _slopes(self) -> np.ndarray:
        """Rows that turn the unknowns into the derivative of the state, shape (states, size)."""
        rows = np.zeros((len(self.state), self.size))
        for name in self.capacitors:
            rows[self.state[name], self.branches[name]] = 1.0
        for name in self.inductors:
            rows[self.state[name]] = self.spans[name][: self.size]
        return rows / self.sizes[:, None]

    def _spin(self) -> np.ndarray:
        """Square table that turns what is given into its derivative, the state's own left zero."""
        table = np.zeros((self.given_size, self.given_size))
        table[self.cosines, self.sines] = -np.diag(self.omegas)
        table[self.sines, self.cosines] = np.diag(self.omegas)
        return table

    def _turned(self) -> np.ndarray:
        """Turns what is given into exp(jωt) of each frequency, then 1."""
        turns = len(self.hertz)
        table = np.zeros((turns + 1, self.given_size), dtype=complex)
        table[:turns, self.cosines], table[:turns, self.sines] = np.eye(turns), 1j * np.eye(turns)
        table[turns, -1] = 1
        return table

    def _fixed_equations(self) -> np.ndarray:
        """Kirchhoff's sum of the currents out of each node, then the law of each branch, shape (size, units)."""
        table = np.zeros((self.size, len(self.units)))
        for name, (part, plus, minus) in self.parts.items():
            amps = self.probe("amps", name)
            for node, out in ((plus, amps), (minus, -amps)):
                if node != self.ground:
                    table[self.nodes[node]] += out
            if name in self.branches and not isinstance(part, Device):
                held = self.units[self.size + self.state[name]] if name in self.state else self._drive(name)
                table[self.branches[name]] += self.spans[name] - held
        return table

    def _scale(self) -> np.ndarray:
        """Factor of each equation and of its unknown that brings conductances and voltages near 1; a device's law is."""
        largest = np.abs(self.equations[:, : self.size]).max(axis=1, initial=0.0)
        return 1 / np.sqrt(np.where(largest > 0, largest, 1.0))

    def scaled(self, row: np.ndarray) -> np.ndarray:
        """A row, or table of rows, over the scaled unknowns."""
        return row * self._columns

    def _laws_of(self, name: str) -> dict[str, np.ndarray]:
        """For each mode of a device its law as a table of one scaled row that is zero, the largest entry near 1; one for like laws."""
        rows, of_law = {}, {}
        for mode, law in self.parts[name][0].laws.items():
            if law not in of_law:
                row = law.siemens * self.spans[name] - self.units[self.branches[name]]
                row[-1] = law.offset_amps
                of_law[law] = self.scaled(row[None] / max(1.0, law.siemens))
            rows[mode] = of_law[law]
        return rows

    def _islands(self) -> list[tuple[int, np.ndarray]]:
        """Groups of nodes that inductors (and current sources) alone hold: the currents into each add up to zero.

        For each its first node's row, and that sum as a row.
        """
        bonds = [(p, m) for part, p, m in self.parts.values() if not isinstance(part, Inductor | CurrentSource)]
        loose, out = set(self.nodes) - _reached({self.ground}, bonds), []
        while loose:
            group = _reached({min(loose, key=self.nodes.__getitem__)}, bonds)
            rows = sorted(self.nodes[node] for node in group)
            held = self.equations[rows].sum(axis=0)
            if not held[self.size : self.size + len(self.state)].any():
                raise ValueError(self._floats(min(group, key=self.nodes.__getitem__)))
            out.append((rows[0], held))
            loose -= group
        return out

    def check_balance(self, seconds: float, x: np.ndarray) -> None:
        """Raise a ValueError where inductors that alone hold a node do not begin with currents that add up to zero."""
        for _, held in self.islands:
            amps = held[self.size :] * self.given(seconds, x)
            if abs(amps.sum()) > 1e-9 + 1e-6 * np.abs(amps).max():
                names = " and ".join(repr(n) for n, k in self.state.items() if held[self.size + k])
                raise ValueError(
                    f"nothing but {names} holds a node, so the currents they begin with must add up to zero there"
                )

    def given(self, seconds: float, x: np.ndarray) -> np.ndarray:
        """What a piece begins from: the state `x`, then cos ωt and sin ωt of each frequency, then 1."""
        turns = [omega * seconds for omega in self.omegas]
        return np.array([*x.tolist(), *map(cos, turns), *map(sin, turns), 1.0])

    def driven(self, times: np.ndarray) -> np.ndarray:
        """The sources' waves at `times`: cos ωt and −sin ωt of each frequency in turn, then 1 and 0, shape (…, n)."""
        out = np.zeros((2 * len(self.omegas) + 2, len(times)))
        for k, omega in enumerate(self.omegas):
            angle = omega * times
            np.cos(angle, out[2 * k])
            np.sin(-angle, out[2 * k + 1])
        out[-2] = 1.0
        return out

    def _drive(self, name: str) -> np.ndarray:
        """What a source drives, V or A, as a row."""
        part, row = self.parts[name][0], np.zeros(len(self.units))
        volts = isinstance(part, VoltageSource)
        row[-1] = part.dc_volts if volts else part.dc_amps
        if self._swings(name):
            peak, turn = part.volts_peak if volts else part.amps_peak, np.deg2rad(part.degrees)
            at = self.size + self.cosines.start + self.hertz.index(part.hertz)
            row[at], row[at + len(self.hertz)] = peak * np.sin(turn), peak * np.cos(turn)
        return row

    def _margins_of(self, name: str, mode: str) -> tuple[list[tuple[str, int]], np.ndarray]:
        """The exits of a device's mode, each (to, count of conditions), and all their margins as rows."""
        exits = self.parts[name][0].exits.get(mode, ())
        table = self.table(self._margin(name, condition) for way in exits for condition in way.conditions)
        return [(way.to, len(way.conditions)) for way in exits], table

    def _margin(self, name: str, condition: Condition) -> np.ndarray:
        own_amps = condition.quantity == "amps" and condition.part is None
        sign = condition.sign * (_OWN_AMPS_WEIGHT if own_amps else 1)
        margin = sign * self.probe(condition.quantity, condition.part or name)
        margin[-1] -= sign * condition.threshold
        return margin

    def table(self, rows: Iterable[np.ndarray]) -> np.ndarray:
        """Rows as a table, which may be empty."""
        return np.array([*rows]).reshape(-1, len(self.units))

    def _probes_of(self, quantities: tuple[tuple[str, str], ...]) -> np.ndarray:
        """Several quantities as a table of rows; a ValueError where there is no such part or node."""
        return self.table(self.probe(*each) for each in quantities)

    def probe(self, quantity: str, name: str) -> np.ndarray:
        """A quantity as a row: "volts" or "amps" of the part `name`, or "node" for the voltage of the node `name`."""
        self._check_known(quantity, name)
        if quantity == "node":
            return self._span(name, self.ground)
        if quantity == "volts":
            return self.spans[name]
        part = self.parts[name][0]
        if isinstance(part, Resistor):
            return self.spans[name] / part.ohm
        if isinstance(part, CurrentSource):
            return self._drive(name)
        return self.units[self.branches[name] if name in self.branches else self.size + self.state[name]]

    def _check_known(self, quantity: str, name: str) -> None:
        known, what = ({self.ground, *self.nodes}, "node") if quantity == "node" else (self.parts, "part")
        if name not in known:
            raise ValueError(f"the network has no {what} {name!r}; it has {', '.join(map(repr, known))}")

    def what_is_impossible(self, weight: np.ndarray) -> str:
        """A sentence that names the part to blame; `weight` says how much each unknown is left undetermined."""
        branches = [n for n, row in self.branches.items() if weight[row] > 0.1 * weight.max() and n not in self.devices]
        if branches:
            return (
                f"{' and '.join(map(repr, branches))}: a loop of ideal sources or capacitors with no resistance in it "
                "(a short across an ideal source); give one of them a series resistance"
            )
        return self._floats(max(self.nodes, key=lambda n: weight[self.nodes[n]]))

    def _floats(self, node: str) -> str:
        near = ", ".join(repr(name) for name, (_, plus, minus) in self.parts.items() if node in (plus, minus))
        return f"node {node!r} floats: only {near} reach it; give it a resistance to somewhere"


def _reached(begin: set[str], bonds: list[tuple[str, str]]) -> set[str]:
    """The nodes that pairs of nodes tie to those in `begin`."""
    reached = set(begin)
    while edge := {node for bond in bonds if not reached.isdisjoint(bond) for node in bond} - reached:
        reached |= edge
    return reached

"""What all switch patterns of a network share: its nodes, its state, its sources, its unswitched equations."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from .parts import Capacitor, Condition, CurrentSource, Device, Inductor, Resistor, VoltageSource

_ONE = np.ones(1)
_OWN_AMPS_WEIGHT = 1000
"""A device's margin of its own current counts a thousandfold, since a nanoampere through 1 GΩ is a volt."""


class Layout:
    """The unknowns of a network (node voltages, then currents of sources, capacitors, devices) and its fixed matrices.

    `parts` maps a name to (part, plus node, minus node); `ground` is the node at zero volts.
    The equations are ``matrix · unknowns = of_state · state + of_drive · drives``, the devices' own laws left empty
    (a device's current is an unknown of its own: as a difference of voltages it would drown in rounding). `slopes` turns the unknowns into the derivative of the state.
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
        self.omega = 2 * np.pi * np.array(self.hertz)
        self.turning = 1j * self.omega
        self.shortest_period_s = 1 / self.hertz[-1] if self.hertz else 1 / 60
        self.instant = 1e-9 * self.shortest_period_s
        self._check_connected()
        self.spans = {name: self._span(plus, minus) for name, (_, plus, minus) in parts.items()}
        self.device_spans = np.array([self.spans[n] for n in self.devices]).reshape(len(self.devices), self.size)
        self.device_rows = np.arange(self.size - len(self.devices), self.size)
        self._units, self._state_units = np.eye(self.size), np.eye(len(self.state))
        self._margins: dict[tuple[str, str], tuple] = {}
        self.sizes = self._sizes()
        self.slopes = self._slopes()
        self.matrix, self.of_state, self.of_drive = self._fixed_equations()
        self.islands = self._islands()
        self.held = np.array([held for _, held, _ in self.islands]).reshape(len(self.islands), len(self.state))

    def _names_of(self, *kinds: type) -> list[str]:
        return [name for name, (part, _, _) in self.parts.items() if isinstance(part, kinds)]

    def _swings(self, name: str) -> bool:
        part = self.parts[name][0]
        return getattr(part, "volts_peak", 0.0) != 0 or getattr(part, "amps_peak", 0.0) != 0

    def _check_connected(self) -> None:
        reached = _reached({self.ground}, [(plus, minus) for _, plus, minus in self.parts.values()])
        for name, (_, plus, minus) in self.parts.items():
            for node in (plus, minus):
                if node not in reached:
                    raise ValueError(f"node {node!r} of part {name!r} floats: nothing joins it to {self.ground!r}")

    @cached_property
    def start(self) -> np.ndarray:
        """State in which the parts say they begin, shape (states,)."""
        caps = [self.parts[n][0].initial_volts for n in self.capacitors]
        return np.array(caps + [self.parts[n][0].initial_amps for n in self.inductors], dtype=float)

    def _span(self, plus: str, minus: str) -> np.ndarray:
        """Row that turns the unknowns into the voltage from `plus` to `minus`, shape (size,)."""
        row = np.zeros(self.size)
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != self.ground:
                row[self.nodes[node]] += sign
        return row

    def _sizes(self) -> np.ndarray:
        """Farads of the capacitors, then henries of the inductors, shape (states,)."""
        caps = [self.parts[n][0].farad for n in self.capacitors]
        return np.array(caps + [self.parts[n][0].henry for n in self.inductors], dtype=float)

    def _slopes(self) -> np.ndarray:
        """Rows that turn the unknowns into the derivative of the state, shape (states, size)."""
        rows = np.zeros((len(self.state), self.size))
        for name in self.capacitors:
            rows[self.state[name], self.branches[name]] = 1.0
        for name in self.inductors:
            rows[self.state[name]] = self.spans[name]
        return rows / self.sizes[:, None]

    def _fixed_equations(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        matrix = np.zeros((self.size, self.size))
        of_state = np.zeros((self.size, len(self.state)))
        of_drive = np.zeros((self.size, 1 + len(self.hertz)), dtype=complex)
        for name, (part, _, _) in self.parts.items():
            span = self.spans[name]
            if isinstance(part, Resistor):
                matrix += np.outer(span, span) / part.ohm
            elif isinstance(part, Inductor):
                of_state[:, self.state[name]] -= span
            elif isinstance(part, CurrentSource):
                of_drive -= np.outer(span, self.phasors(name))
            elif name in self.branches:
                row = self.branches[name]
                matrix[:, row] += span
                if isinstance(part, Device):
                    continue
                matrix[row] += span
                if isinstance(part, Capacitor):
                    of_state[row, self.state[name]] = 1.0
                else:
                    of_drive[row] = self.phasors(name)
        return matrix, of_state, of_drive

    def _islands(self) -> list[tuple[int, np.ndarray, np.ndarray]]:
        """Groups of nodes that inductors (and current sources) alone hold: the currents into each add up to zero.

        For each its first node's row, and that sum as rows over the state and over the drives.
        """
        bonds = [(p, m) for part, p, m in self.parts.values() if not isinstance(part, Inductor | CurrentSource)]
        loose, out = set(self.nodes) - _reached({self.ground}, bonds), []
        while loose:
            group = _reached({min(loose, key=self.nodes.__getitem__)}, bonds)
            rows = sorted(self.nodes[node] for node in group)
            held, driven = self.of_state[rows].sum(axis=0), self.of_drive[rows].sum(axis=0)
            if not held.any():
                raise ValueError(self._floats(min(group, key=self.nodes.__getitem__)))
            out.append((rows[0], held, driven))
            loose -= group
        return out

    def check_balance(self, seconds: float, x: np.ndarray) -> None:
        """Raise a ValueError where inductors that alone hold a node do not begin with currents that add up to zero."""
        for _, held, driven in self.islands:
            amps = np.concatenate([held * x, (driven * self.drives(seconds)).real])
            if abs(amps.sum()) > 1e-9 + 1e-6 * np.abs(amps).max():
                names = " and ".join(repr(n) for n in self.inductors if held[self.state[n]])
                raise ValueError(
                    f"nothing but {names} holds a node, so the currents they begin with must add up to zero there"
                )

    def given(self, seconds: float, x: np.ndarray) -> np.ndarray:
        """What a piece begins from: the state `x`, then cos ωt and sin ωt of each frequency, then 1."""
        turns = self.omega * seconds
        return np.concatenate([x, np.cos(turns), np.sin(turns), _ONE])

    def drives(self, seconds: float) -> np.ndarray:
        """1, and exp(jωt) of each frequency."""
        return np.concatenate([_ONE, np.exp(self.turning * seconds)])

    def phasors(self, name: str) -> np.ndarray:
        """A source's drive as [dc, one complex amplitude a frequency], the real part of X·exp(jωt)."""
        part = self.parts[name][0]
        volts = isinstance(part, VoltageSource)
        drive = np.zeros(1 + len(self.hertz), dtype=complex)
        drive[0] = part.dc_volts if volts else part.dc_amps
        if self._swings(name):
            peak = part.volts_peak if volts else part.amps_peak
            drive[1 + self.hertz.index(part.hertz)] = -1j * peak * np.exp(1j * np.deg2rad(part.degrees))
        return drive

    def margins(self, name: str, mode: str) -> tuple[list[tuple[str, int]], tuple]:
        """The exits of a device's mode, each (to, count of conditions), and all their margins as rows (see `probes`)."""
        if (name, mode) not in self._margins:
            exits = self.parts[name][0].exits.get(mode, ())
            rows = [self._margin(name, condition) for way in exits for condition in way.conditions]
            table = tuple(map(np.array, zip(*rows, strict=True))) if rows else self.probes([])
            self._margins[name, mode] = [(way.to, len(way.conditions)) for way in exits], table
        return self._margins[name, mode]

    def _margin(self, name: str, condition: Condition) -> tuple:
        rows = self.probes([(condition.quantity, condition.part or name)])
        own_amps = condition.quantity == "amps" and condition.part is None
        sign = condition.sign * (_OWN_AMPS_WEIGHT if own_amps else 1)
        unknowns, state, drive = (sign * row[0] for row in rows)
        drive[0] -= sign * condition.threshold
        return unknowns, state, drive

    def probes(self, quantities: Sequence[tuple[str, str]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Quantities as rows over the unknowns, over the state and over the drives, each (quantities, …)."""
        tables = (
            np.zeros((len(quantities), self.size)),
            np.zeros((len(quantities), len(self.state))),
            np.zeros((len(quantities), 1 + len(self.hertz)), dtype=complex),
        )
        for k, (quantity, name) in enumerate(quantities):
            for table, row in zip(tables, self._probe(quantity, name), strict=True):
                if row is not None:
                    table[k] = row
        return tables

    def _probe(self, quantity: str, name: str) -> tuple:
        """A quantity as rows (of unknowns, of state, of drives); None where a row is all zeros.

        `quantity` is "volts" or "amps" of the part `name`, or "node" for the voltage of the node `name`.
        """
        if quantity == "node":
            return self._span(name, self.ground), None, None
        if quantity == "volts":
            return self.spans[name], None, None
        part = self.parts[name][0]
        if isinstance(part, Inductor):
            return None, self._state_units[self.state[name]], None
        if isinstance(part, CurrentSource):
            return None, None, self.phasors(name)
        if name in self.branches:
            return self._units[self.branches[name]], None, None
        return self.spans[name] / part.ohm, None, None

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
    near: dict[str, set[str]] = {}
    for plus, minus in bonds:
        near.setdefault(plus, set()).add(minus)
        near.setdefault(minus, set()).add(plus)
    reached, edge = set(begin), set(begin)
    while edge:
        edge = set().union(*(near.get(node, set()) for node in edge)) - reached
        reached |= edge
    return reached

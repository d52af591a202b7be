"""From a list of parts to the state equations of one switch pattern, and their exact solution.

Capacitor voltages and inductor currents are the state. With capacitors standing as voltage sources and
inductors as current sources, what remains is resistive: one matrix inverse (modified nodal analysis) gives
every node voltage and current, hence the derivative of the state, and its eigen-decomposition the solution.
"""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from .parts import Capacitor, Condition, CurrentSource, Device, Inductor, Law, Resistor, VoltageSource

__all__ = ["Layout", "Pattern", "Piece"]

_SINGULAR = 1e14


class Layout:
    """What all patterns of a network share: its nodes, its state, its sources' frequencies, its rows.

    `parts` maps a name to (part, plus node, minus node); `ground` is the node at zero volts.
    """

    def __init__(self, parts: dict, ground: str):
        self.parts, self.ground = parts, ground
        names = dict.fromkeys(node for _, plus, minus in parts.values() for node in (plus, minus))
        self.nodes = {node: k for k, node in enumerate(n for n in names if n != ground)}
        of = self._names_of
        self.capacitors, self.inductors, self.devices = of(Capacitor), of(Inductor), of(Device)
        self.state = {name: k for k, name in enumerate(self.capacitors + self.inductors)}
        branches = of(VoltageSource, Capacitor, Resistor, Device)
        self.branches = {name: len(self.nodes) + k for k, name in enumerate(branches)}
        self.size = len(self.nodes) + len(self.branches)
        self.hertz = sorted({self.parts[n][0].hertz for n in of(VoltageSource, CurrentSource) if self._swings(n)})
        self.omega = 2 * np.pi * np.array(self.hertz)
        self._check_connected()

    def _names_of(self, *kinds: type) -> list[str]:
        return [name for name, (part, _, _) in self.parts.items() if isinstance(part, kinds)]

    def _swings(self, name: str) -> bool:
        part = self.parts[name][0]
        return getattr(part, "volts_peak", 0.0) != 0 or getattr(part, "amps_peak", 0.0) != 0

    def _check_connected(self) -> None:
        reached, grew = {self.ground}, True
        while grew:
            ends = [{plus, minus} for _, plus, minus in self.parts.values()]
            new = set().union(*(pair for pair in ends if pair & reached)) - reached
            grew, reached = bool(new), reached | new
        for name, (_, plus, minus) in self.parts.items():
            for node in (plus, minus):
                if node not in reached:
                    raise ValueError(f"node {node!r} of part {name!r} floats: nothing joins it to {self.ground!r}")

    @cached_property
    def start(self) -> np.ndarray:
        """State in which the parts say they begin, shape (states,)."""
        caps = [self.parts[n][0].initial_volts for n in self.capacitors]
        return np.array(caps + [self.parts[n][0].initial_amps for n in self.inductors], dtype=float)

    def span(self, name: str) -> np.ndarray:
        """Row that turns the unknowns into the voltage across part `name`, shape (size,)."""
        row = np.zeros(self.size)
        _, plus, minus = self.parts[name]
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != self.ground:
                row[self.nodes[node]] += sign
        return row

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


class Pattern:
    """The network in one combination of modes: ``x' = A·x + B·s(t)`` and rows for every quantity.

    Parameters
    ----------
    layout : Layout
    modes : sequence of str, the mode of each of `layout.devices`
    """

    def __init__(self, layout: Layout, modes: Sequence[str]):
        self.layout, self.modes = layout, tuple(modes)
        self.held = np.zeros((0, len(layout.state)))
        self.laws = {n: layout.parts[n][0].laws[m] for n, m in zip(layout.devices, modes, strict=True)}
        unknowns_of_state, unknowns_of_drive = self._resistive_solution()
        self._of_state, self._of_drive = unknowns_of_state, unknowns_of_drive
        self._solve_state()
        self._watch()
        self.asked: dict[tuple, Rows] = {}

    def _resistive_solution(self) -> tuple[np.ndarray, np.ndarray]:
        """Node voltages and branch currents as (size, states) of the state and (size, drives) of the sources."""
        lay = self.layout
        matrix = np.zeros((lay.size, lay.size))
        of_state = np.zeros((lay.size, len(lay.state)))
        of_drive = np.zeros((lay.size, 1 + len(lay.hertz)), dtype=complex)
        for name, (part, _, _) in lay.parts.items():
            span = lay.span(name)
            if isinstance(part, Inductor):
                of_state[:, lay.state[name]] -= span
            elif isinstance(part, CurrentSource):
                of_drive -= np.outer(span, lay.phasors(name))
            else:
                row = lay.branches[name]
                matrix[:, row] += span
                self._branch_row(name, part, span, matrix[row], of_state[row], of_drive[row])
        return self._invert(matrix, of_state, of_drive)

    def _branch_row(self, name, part, span, matrix, of_state, of_drive) -> None:
        """One branch's own law, with its current as an unknown: no current is the difference of two large numbers."""
        lay = self.layout
        if isinstance(part, Resistor | Device):
            law = self.laws.get(name) or Law(1 / part.ohm)
            by_volts = law.siemens > 1e-6
            scale = 1 / law.siemens if by_volts else 1.0
            matrix += law.siemens * scale * span
            matrix[lay.branches[name]] = -scale
            of_drive[0] = -law.offset_amps * scale
        else:
            matrix += span
            if isinstance(part, Capacitor):
                of_state[lay.state[name]] = 1.0
            else:
                of_drive[:] = lay.phasors(name)

    def _invert(self, matrix, of_state, of_drive):
        rows = _inverse_of_largest(matrix, axis=1)
        columns = _inverse_of_largest(matrix * rows[:, None], axis=0)
        scaled = matrix * columns * rows[:, None]
        left, size, right = np.linalg.svd(scaled)
        lost = size * _SINGULAR < size[:1]
        kept = np.where(lost, 0, 1 / np.where(lost, 1, size))
        if lost.any():
            inverse = (right.T * kept) @ left.T
            unknowns = (
                columns[:, None] * (inverse @ (rows[:, None] * of_state)),
                columns[:, None] * (inverse @ (rows[:, None] * of_drive)),
            )
            return self._hang_islands(
                left[:, lost] * rows[:, None], right.T[:, lost] * columns[:, None], of_state, of_drive, unknowns
            )
        return columns[:, None] * np.linalg.solve(scaled, rows[:, None] * of_state), columns[:, None] * np.linalg.solve(
            scaled, rows[:, None] * of_drive
        )

    def _hang_islands(self, sums, null, of_state, of_drive, unknowns):
        """Place the nodes that inductors alone hold: the sum of their currents stays zero, so its slope does too."""
        held = sums.T @ of_state
        if len(self.layout.inductors) == 0 or np.abs(held).max(axis=1).min() < 1e-9 * np.abs(sums).max():
            raise ValueError(self._what_is_impossible(np.abs(sums[:, 0])))
        self.held = held
        slopes = held @ self._state_rows()
        turns = np.concatenate([[0.0], 1j * self.layout.omega])
        shift = np.linalg.inv(slopes @ null)
        to_state = unknowns[0] - null @ shift @ (slopes @ unknowns[0])
        return to_state, unknowns[1] - null @ shift @ (slopes @ unknowns[1] + sums.T @ of_drive * turns)

    def _state_rows(self) -> np.ndarray:
        """Rows that turn the unknowns into the derivative of the state, shape (states, size)."""
        lay = self.layout
        rows = [np.eye(lay.size)[lay.branches[n]] / lay.parts[n][0].farad for n in lay.capacitors]
        rows += [lay.span(n) / lay.parts[n][0].henry for n in lay.inductors]
        return np.array(rows).reshape(len(lay.state), lay.size)

    def _what_is_impossible(self, weight: np.ndarray) -> str:
        ideal = VoltageSource | Capacitor
        branches = [n for n, row in self.layout.branches.items() if weight[row] > 0.1 * weight.max()]
        branches = [n for n in branches if isinstance(self.layout.parts[n][0], ideal)]
        if branches:
            return (
                f"{' and '.join(map(repr, branches))}: a loop of ideal sources or capacitors with no resistance in it "
                "(a short across an ideal source); give one of them a series resistance"
            )
        node = max(self.layout.nodes, key=lambda n: weight[self.layout.nodes[n]])
        near = [name for name, (_, plus, minus) in self.layout.parts.items() if node in (plus, minus)]
        return f"node {node!r} floats: only {', '.join(map(repr, near))} reach it; give it a resistance to somewhere"

    def _solve_state(self) -> None:
        lay = self.layout
        rows = self._state_rows()
        self.rate, self.drive = rows @ self._of_state, rows @ self._of_drive
        self.modes_rate, self.vectors = np.linalg.eig(self.rate) if len(rows) else (np.zeros(0), np.zeros((0, 0)))
        self.vectors = self.vectors.astype(complex)
        self.vectors_inverse = np.linalg.inv(self.vectors)
        self.still = np.abs(self.modes_rate) < 1e-9
        identity = np.eye(len(lay.state))
        forced = [np.linalg.solve(1j * w * identity - self.rate, self.drive[:, 1 + k]) for k, w in enumerate(lay.omega)]
        self.forced = np.array(forced, dtype=complex).T.reshape(len(lay.state), len(lay.omega))
        push = self.vectors_inverse @ self.drive[:, 0]
        self.drift = np.where(self.still, push, 0)
        self.rest = np.where(self.still, 0, -push / np.where(self.still, 1, self.modes_rate))

    def row(self, quantity: str, name: str) -> tuple[np.ndarray, np.ndarray]:
        """A quantity ("volts" or "amps" of part `name`) as rows over the state and over the drives."""
        lay = self.layout
        part = lay.parts[name][0]
        if quantity == "amps" and isinstance(part, Inductor):
            return np.eye(len(lay.state))[lay.state[name]], np.zeros(1 + len(lay.hertz), dtype=complex)
        if quantity == "amps" and isinstance(part, CurrentSource):
            return np.zeros(len(lay.state)), lay.phasors(name)
        if quantity == "amps" and name in lay.branches:
            return self._of_state[lay.branches[name]], self._of_drive[lay.branches[name]]
        span = lay.span(name)
        return span @ self._of_state, span @ self._of_drive

    def node_row(self, node: str) -> tuple[np.ndarray, np.ndarray]:
        """A node's voltage to ground, as `row` gives it."""
        if node == self.layout.ground:
            return np.zeros(len(self.layout.state)), np.zeros(1 + len(self.layout.hertz), dtype=complex)
        k = self.layout.nodes[node]
        return self._of_state[k], self._of_drive[k]

    def _watch(self) -> None:
        """Lay the margins of all conditions of all exits out as rows; `exits` says which belong together."""
        rows, drives, self.exits = [], [], []
        for name, mode in zip(self.layout.devices, self.modes, strict=True):
            for way in self.layout.parts[name][0].exits.get(mode, ()):
                first = len(rows)
                for condition in way.conditions:
                    of_state, of_drive = self._margin(name, condition)
                    rows.append(of_state)
                    drives.append(of_drive)
                self.exits.append((name, way.to, slice(first, len(rows))))
        self.watch = Rows(
            self,
            np.array(rows).reshape(len(rows), len(self.layout.state)),
            np.array(drives, dtype=complex).reshape(len(rows), 1 + len(self.layout.hertz)),
        )

    def _margin(self, name: str, condition: Condition) -> tuple[np.ndarray, np.ndarray]:
        of_state, of_drive = self.row(condition.quantity, condition.part or name)
        of_drive = condition.sign * of_drive
        of_drive[0] -= condition.sign * condition.threshold
        return condition.sign * of_state, of_drive


def _inverse_of_largest(matrix: np.ndarray, axis: int) -> np.ndarray:
    largest = np.abs(matrix).max(axis=axis, initial=0.0)
    return 1 / np.where(largest > 0, largest, 1.0)


class Rows:
    """Several linear quantities of one pattern, ready to be evaluated on its solution."""

    def __init__(self, pattern: Pattern, of_state: np.ndarray, of_drive: np.ndarray):
        self.of_state, self.of_drive = of_state, of_drive
        self.of_modes = of_state @ pattern.vectors
        self.of_forced = of_drive[:, 1:] + of_state @ pattern.forced
        self.constant = of_drive[:, 0].real


class Piece:
    """The exact solution of one pattern from `begin` on, from the state `x0`."""

    def __init__(self, pattern: Pattern, begin: float, x0: np.ndarray):
        self.pattern, self.begin = pattern, begin
        forced_now = (pattern.forced * np.exp(1j * pattern.layout.omega * begin)).real.sum(axis=1)
        self.free = pattern.vectors_inverse @ (x0 - forced_now) - pattern.rest
        self._size = np.abs(pattern.vectors_inverse) @ (np.abs(x0) + np.abs(forced_now)) + np.abs(pattern.rest)
        self.end = begin

    @cached_property
    def slack(self) -> np.ndarray:
        """What rounding can do to each watched margin, shape (conditions,): large only where 1 GΩ meets an inductance."""
        return 1e-9 + 1e-14 * (np.abs(self.pattern.watch.of_modes) @ self._size)

    def waves(self, after: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The time functions at `after` seconds from `begin`: decays (modes, n), turns (frequencies, n), after."""
        decays = np.exp(np.outer(self.pattern.modes_rate, after))
        turns = np.exp(1j * np.outer(self.pattern.layout.omega, after))
        return decays, turns, after

    def values(self, rows: Rows, waves: tuple) -> np.ndarray:
        """The quantities `rows` at the instants that `waves` was made for, shape (rows, n)."""
        decays, turns, after = waves
        pattern = self.pattern
        out = (rows.of_modes * self.free) @ decays
        out += (rows.of_forced * np.exp(1j * pattern.layout.omega * self.begin)) @ turns
        out += (rows.of_modes @ pattern.rest + rows.constant)[:, None]
        if pattern.still.any():
            out += np.outer(rows.of_modes @ pattern.drift, after)
        return out.real

    def state(self, after: float) -> np.ndarray:
        """The state `after` seconds from `begin`, shape (states,)."""
        pattern = self.pattern
        inner = np.exp(pattern.modes_rate * after) * self.free + pattern.rest + pattern.drift * after
        turned = pattern.forced * np.exp(1j * pattern.layout.omega * (self.begin + after))
        return (pattern.vectors @ inner).real + turned.real.sum(axis=1)

    def drive_slope(self, after: float) -> np.ndarray:
        """Derivative of the drives s(t) in complex form, [0, jω·exp(jωt)…]."""
        omega = self.pattern.layout.omega
        return np.concatenate([[0.0], 1j * omega * np.exp(1j * omega * (self.begin + after))])

    def slope(self, after: float, x: np.ndarray) -> np.ndarray:
        """Derivative of the state where it is `x`."""
        pattern = self.pattern
        s = np.concatenate([[1.0], np.exp(1j * pattern.layout.omega * (self.begin + after))])
        return pattern.rate @ x + (pattern.drive @ s).real

"""What all switch patterns of a network share: its nodes, its state, its sources, its unswitched equations."""

from cmath import rect
from collections.abc import Iterable
from dataclasses import astuple
from functools import cache
from math import cos, pi, radians, sin

import numpy as np

from .parts import Capacitor, Condition, CurrentSource, Device, Inductor, Resistor, VoltageSource

_OWN_AMPS_WEIGHT = 1000
"""A device's margin of its own current counts a thousandfold, since a nanoampere through 1 GΩ is a volt."""


class Layout:
    """The unknowns of a network (node voltages, then currents of sources, capacitors, devices) and its fixed matrices.

    `parts` maps a name to (part, plus node, minus node); `ground` is the node at zero volts.
    What is *given* at an instant is the state, then cos ωt and sin ωt of each frequency, then 1. Every equation and
    every quantity is a row over the unknowns, then over what is given; `equations` has those that add up to zero,
    without the devices' own laws (a device's current is an unknown of its own: as a difference of voltages it would
    drown in rounding). `slopes` turns the unknowns into the derivative of the state, `turned` what is given into
    exp(jωt) of each frequency, then 1, and `spin` into its own derivative, that of the state left zero.
    """

    def __init__(self, parts: dict, ground: str):
        self.parts, self.ground = parts, ground
        self._check_connected()

        def of(kind: type) -> list[str]:
            return [name for name, (part, _, _) in parts.items() if isinstance(part, kind)]

        # ---- the unknowns and the state
        names = dict.fromkeys(node for _, *ends in parts.values() for node in ends if node != ground)
        self.nodes = {node: k for k, node in enumerate(names)}
        self.capacitors, self.inductors, self.devices = of(Capacitor), of(Inductor), of(Device)
        self.state = {name: k for k, name in enumerate(self.capacitors + self.inductors)}
        with_law = of(VoltageSource) + self.capacitors
        self.branches = {name: k for k, name in enumerate(with_law + self.devices, start=len(self.nodes))}
        self.size = len(self.nodes) + len(self.branches)
        self.sizes, self.start = np.array([astuple(parts[n][0]) for n in self.state], dtype=float).reshape(-1, 2).T
        self.energy_root = np.sqrt(self.sizes)

        # ---- the sources and what is given
        drives = {n: (parts[n][0].dc_volts, parts[n][0].volts_peak) for n in of(VoltageSource)}
        drives |= {n: (parts[n][0].dc_amps, parts[n][0].amps_peak) for n in of(CurrentSource)}
        self.hertz = sorted({parts[name][0].hertz for name, (_, peak) in drives.items() if peak})
        self.omegas = [2 * pi * hertz for hertz in self.hertz]
        self.shortest_period_s = 1 / max(self.hertz, default=60)
        self.instant = 1e-9 * self.shortest_period_s
        self.first_instants = np.array([[0.0], [self.instant], [100 * self.instant]])
        states, turns = len(self.state), len(self.hertz)
        self.units = np.eye(self.size + states + 2 * turns + 1)
        self.given_units = self.units[self.size :, self.size :]
        cosines, sines = self.given_units[states : states + turns], self.given_units[states + turns : -1]
        self.turned = np.concatenate([cosines + 1j * sines, self.given_units[-1:]])
        self.turned_back = self.turned.conj().T
        self.turning = np.array([*(1j * omega for omega in self.omegas), 0j])
        self.spin = (self.turned_back * self.turning).dot(self.turned).real

        # ---- every quantity as a row; `fixed` is what a source drives, or the state of a capacitor or an inductor
        at = {node: self.units[k] for node, k in self.nodes.items()} | {ground: np.zeros(len(self.units))}
        volts = {name: at[plus] - at[minus] for name, (_, plus, minus) in parts.items()}
        fixed = {name: self.units[self.size + k] for name, k in self.state.items()}
        fixed |= {name: self._drive(parts[name][0], *drive) for name, drive in drives.items()}
        amps = fixed | {name: self.units[row] for name, row in self.branches.items()}
        amps |= {name: volts[name] / parts[name][0].ohm for name in of(Resistor)}
        self.quantities = {"node": at, "volts": volts, "amps": {name: amps[name] for name in parts}}
        self.margins, self.probes = cache(self._margins_of), cache(self._probes_of)
        slopes = [amps[name] for name in self.capacitors] + [volts[name] for name in self.inductors]
        self.slopes = self.table(slopes)[:, : self.size] / self.sizes[:, None]

        # ---- the equations: Kirchhoff's sum of the currents out of each node, then the law of each branch
        out_of_nodes = self.table(volts.values())[:, : len(self.nodes)].T
        kirchhoff = out_of_nodes @ self.table(self.quantities["amps"].values())
        self.equations = np.concatenate([kirchhoff, self.table(volts[name] - fixed[name] for name in with_law)])
        self.islands = self._islands()
        self.symmetric = not (self.islands or (self.capacitors and self.inductors))
        largest = np.abs(self.equations[:, : self.size]).max(axis=1, initial=0.0)
        self.scale = np.concatenate([1 / np.sqrt(np.where(largest > 0, largest, 1.0)), np.ones(len(self.devices))])
        """Factor of each equation and its unknown that brings conductances and voltages near 1; a device's law is."""
        self.columns = np.concatenate([self.scale, np.ones(len(self.given_units))])
        """Turns a row over the unknowns and what is given into one over the scaled unknowns."""
        self.scaled_equations = self.equations * self.columns * self.scale[: len(self.equations), None]
        self.law_rows = [self._laws_of(name) for name in self.devices]

    def _check_connected(self) -> None:
        reached = _reached({self.ground}, [(plus, minus) for _, plus, minus in self.parts.values()])
        for name, (_, *ends) in self.parts.items():
            if loose := [node for node in ends if node not in reached]:
                raise ValueError(f"node {loose[0]!r} of part {name!r} floats: nothing joins it to {self.ground!r}")

    def _drive(self, source: VoltageSource | CurrentSource, constant: float, peak: float) -> np.ndarray:
        """What a source drives, V or A, as a row."""
        row = constant * self.units[-1]
        if peak:
            row[self.size :] += (rect(peak, radians(source.degrees)) * self.turned[self.hertz.index(source.hertz)]).imag
        return row

    def _laws_of(self, name: str) -> dict[str, np.ndarray]:
        """For each mode of a device its law as a scaled row that is zero, in a table of its own, one for like laws.

        Its largest entry is near 1.
        """
        laws, rows = self.parts[name][0].laws, {}
        for law in set(laws.values()):
            row = law.siemens * self.probe("volts", name) - self.probe("amps", name) + law.offset_amps * self.units[-1]
            rows[law] = row[None] / max(1.0, law.siemens) * self.columns
        return {mode: rows[law] for mode, law in laws.items()}

    def _islands(self) -> list[tuple[int, np.ndarray]]:
        """Groups of nodes that inductors (and current sources) alone hold: the currents into each add up to zero.

        For each its first node's row, and that sum over what is given.
        """
        bonds = [(p, m) for part, p, m in self.parts.values() if not isinstance(part, Inductor | CurrentSource)]
        reached, out = _reached({self.ground}, bonds), []
        for node, row in self.nodes.items():
            if node not in reached:
                group = _reached({node}, bonds)
                reached |= group
                held = self.equations[sorted(self.nodes[each] for each in group), self.size :].sum(axis=0)
                if not held[: len(self.state)].any():
                    raise ValueError(self._floats(node))
                out.append((row, held))
        return out

    def check_balance(self, seconds: float, x: np.ndarray) -> None:
        """Raise a ValueError where inductors that alone hold a node do not begin with currents that add up to zero."""
        for _, held in self.islands:
            amps = held * self.given(seconds, x)
            if abs(amps.sum()) > 1e-9 + 1e-6 * np.abs(amps).max():
                names = " and ".join(repr(name) for name, k in self.state.items() if held[k])
                raise ValueError(
                    f"nothing but {names} holds a node, so the currents they begin with must add up to zero there"
                )

    def given(self, seconds: float, x: np.ndarray) -> np.ndarray:
        """What a piece begins from: the state `x`, then cos ωt and sin ωt of each frequency, then 1."""
        turns = [omega * seconds for omega in self.omegas]
        return np.array([*x.tolist(), *map(cos, turns), *map(sin, turns), 1.0])

    def driven(self, times: np.ndarray) -> np.ndarray:
        """The sources' waves at `times`: cos ωt and −sin ωt of each frequency in turn, then 1 and 0, shape (…, n)."""
        angles = np.multiply.outer(self.omegas, times)
        out = np.zeros((2 * len(angles) + 2, len(times)))
        np.cos(angles, out[:-2:2])
        np.sin(-angles, out[1:-2:2])
        out[-2] = 1.0
        return out

    def _margins_of(self, name: str, mode: str) -> list[tuple[str, np.ndarray]]:
        """The exits of a device's mode, each (to, margins of its conditions as rows)."""
        exits = self.parts[name][0].exits.get(mode, ())
        return [(way.to, self.table(self._margin(name, each) for each in way.conditions)) for way in exits]

    def _margin(self, name: str, condition: Condition) -> np.ndarray:
        own_amps = condition.quantity == "amps" and condition.part is None
        sign = condition.sign * (_OWN_AMPS_WEIGHT if own_amps else 1)
        return sign * (self.probe(condition.quantity, condition.part or name) - condition.threshold * self.units[-1])

    def table(self, rows: Iterable[np.ndarray]) -> np.ndarray:
        """Rows as a table, which may be empty."""
        return np.array([*rows]).reshape(-1, len(self.units))

    def _probes_of(self, quantities: tuple[tuple[str, str], ...]) -> np.ndarray:
        """Several quantities as a table of rows; a ValueError where there is no such part or node."""
        return self.table(self.probe(*each) for each in quantities)

    def probe(self, quantity: str, name: str) -> np.ndarray:
        """A quantity as a row: "volts" or "amps" of the part `name`, or "node" for the voltage of the node `name`."""
        known = self.quantities[quantity]
        if name not in known:
            what = "node" if quantity == "node" else "part"
            raise ValueError(f"the network has no {what} {name!r}; it has {', '.join(map(repr, known))}")
        return known[name]

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

"""The periodic steady state of a network, found by Newton's method on the state at one instant."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from .pieces import Piece
from .solve import Modes, SettleError, Walker

_MOST_LAPS = 80
_MOST_HALVINGS = 14
_CLOSED = 1e-9
"""Volts and amperes, or that part of the largest, to which a steady state closes."""
_NEAR = 1e-7
"""The same for its distance from the true one, which is far more where it dies away slowly."""


def periodic(walker: Walker, begin: float, period: float) -> tuple[list[Piece], np.ndarray]:
    """The pieces of one `period` from `begin` that lead back to the same state, and that state.

    The sensitivity of a lap to its first state is that of each piece, times the jump that the shifted instant of an
    event makes (M. A. Aizerman and F. R. Gantmakher's "saltation matrix", Q. J. Mech. Appl. Math. 11, 1958, from
    memory). It sets out from what the sources make of the network while no device has switched; its own steady state
    is all that a linear network needs. A step that makes the gap wider is halved; where that does not help, the circuit
    is left to run a while.
    """
    modes = walker.first_modes()
    x = walker.pattern(modes).swing(begin)
    lap = _Lap(walker, begin, period, x, modes)
    for _ in range(_MOST_LAPS):
        if any(piece.pattern.resonates for piece in lap.pieces):
            raise SettleError("no steady state: nothing damps the network, and a source drives it at its own frequency")
        if lap.closes():
            return lap.pieces, lap.reached
        lap = _next_lap(lap)
    raise SettleError(f"no steady state with a period of {period:g} s found; its state still moves by {lap.gap}")


def _next_lap(lap: "_Lap") -> "_Lap":
    """Newton's step, halved while it leads to a wider gap beyond the goal; from its far side Newton comes in safely.

    (A filter capacitor set a little too high loses millivolts in a lap, which gives a slope that leads far too low.)
    """
    step, beyond = lap.newton_step(), None
    for halvings in range(_MOST_HALVINGS):
        new = lap.again(lap.x + step / 2**halvings)
        if new.size < lap.size * (1 - 0.1 / 2**halvings) or new.closes():
            return new
        if not lap.is_passed_by(new, step):
            break
        beyond = new
    return beyond or lap.again(lap.reached)


class _Lap:
    """One period from the state `x`: its pieces, where they led, and how that depends on `x`."""

    def __init__(
        self, walker: Walker, begin: float, period: float, x: np.ndarray, modes: Modes, before: Sequence[Piece] = ()
    ):
        self.walker, self.begin, self.period, self.x, self.modes = walker, begin, period, x, modes
        self.pieces = list(walker.pieces(begin, begin + period, x, modes, before))
        self.reached, self.end_modes = walker.last
        self.gap = self.reached - x
        self.size = float(np.sqrt(walker.layout.sizes @ self.gap**2))

    def again(self, x: np.ndarray) -> "_Lap":
        """A lap from another state, with the modes in which this one ended."""
        return _Lap(self.walker, self.begin, self.period, x, self.end_modes, self.pieces)

    @cached_property
    def scale(self) -> float:
        """The largest part of the state at any event, or 1."""
        return max(1.0, *(np.abs(piece.given[: len(self.x)]).max() for piece in self.pieces))

    @cached_property
    def jacobian(self) -> np.ndarray:
        """Derivative of the state reached by the first one, shape (states, states)."""
        first, *others = self.pieces
        jacobian, before = first.pattern.flow(first.growth), first
        for piece in others:
            jacobian = piece.pattern.flow(piece.growth).dot(_jumped(jacobian, before, piece))
            before = piece
        return jacobian

    def closes(self) -> bool:
        if self.end_modes != self.modes or not len(self.x):
            return self.end_modes == self.modes
        gap = np.abs(self.gap).max() / self.scale
        return gap < 1e-13 or (gap < _CLOSED and np.abs(self.newton_step()).max() < _NEAR * self.scale)

    def is_passed_by(self, other: "_Lap", step: np.ndarray) -> bool:
        """Whether `other`, which lies on along `step`, drifts back."""
        weights = self.walker.layout.sizes * step
        return (weights @ self.gap) * (weights @ other.gap) < 0

    def newton_step(self) -> np.ndarray:
        """The change of `x` that would close the gap if the lap were linear; what cannot change it stays as it is."""
        root = self.walker.layout.energy_root
        matrix = (np.eye(len(self.x)) - self.jacobian) * root[:, None] / root
        if self.walker.layout.islands:
            held = self.walker.layout.held / root
            matrix += held.T @ held / (held**2).sum(axis=1).max(initial=1e-300)
        return np.linalg.lstsq(matrix, root * self.gap, rcond=1e-11)[0] / root


def _jumped(jacobian: np.ndarray, before: Piece, after: Piece) -> np.ndarray:
    """A jacobian with what a small shift of the event between two pieces does to the state after it."""
    old, row, states = before.pattern, before.event.row, len(jacobian)
    if row < 0 or old.motion is after.pattern.motion:
        return jacobian
    moves, watch = old.motion.dot(after.given), old.watch_given[row]
    rate = watch.dot(moves)
    if rate <= 0:
        return jacobian
    kink = (after.pattern.motion[:states].dot(after.given) - moves[:states]) / rate
    return jacobian + kink[:, None] * watch[:states].dot(jacobian)

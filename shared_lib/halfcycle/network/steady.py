"""The periodic steady state of a network, found by Newton's method on the state at one instant."""

from functools import cached_property
from itertools import pairwise

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
    lap = _Lap(walker, begin, begin + period, walker.pattern(modes).swing(begin), modes, known=[])
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
    step, beyond = lap.newton_step, None
    along = lap.walker.layout.sizes * step
    for halvings in range(_MOST_HALVINGS):
        new = lap.again(lap.x + step / 2**halvings)
        if new.size < lap.size * (1 - 0.1 / 2**halvings) or new.closes():
            return new
        if not (along @ lap.gap) * (along @ new.gap) < 0:  # it does not drift back
            break
        beyond = new
    return beyond or lap.again(lap.reached)


class _Lap:
    """One period from the state `x`: its pieces, where they led, and how that depends on `x`.

    `known` are the pieces of a lap next to it.
    """

    def __init__(self, walker: Walker, begin: float, end: float, x: np.ndarray, modes: Modes, known: list[Piece]):
        self.walker, self.begin, self.end, self.x, self.modes = walker, begin, end, x, modes
        self.pieces = list(walker.pieces(begin, end, x, modes, known))
        self.reached, self.end_modes = walker.last
        self.gap = self.reached - x
        self.size = float(np.sqrt(walker.layout.sizes @ self.gap**2))

    def again(self, x: np.ndarray) -> "_Lap":
        """A lap from another state, with the modes in which this one ended."""
        return _Lap(self.walker, self.begin, self.end, x, self.end_modes, self.pieces)

    def jacobian(self) -> np.ndarray:
        """Derivative of the state reached by the first one, shape (states, states)."""
        first = self.pieces[0]
        jacobian = first.pattern.flow(first.growth)
        for before, after in pairwise(self.pieces):
            jacobian = after.pattern.flow(after.growth).dot(_jumped(jacobian, before, after))
        return jacobian

    def closes(self) -> bool:
        """Whether it leads back to where it set out, measured by the largest part of the state at any event, or 1."""
        if self.end_modes != self.modes:
            return False
        scale = np.abs([piece.given[: len(self.x)] for piece in self.pieces]).max(initial=1.0)
        gap = np.abs(self.gap).max(initial=0.0) / scale
        return gap < 1e-13 or (gap < _CLOSED and np.abs(self.newton_step).max() < _NEAR * scale)

    @cached_property
    def newton_step(self) -> np.ndarray:
        """The change of `x` that would close the gap if the lap were linear; what cannot change it stays as it is."""
        layout, states = self.walker.layout, len(self.x)
        root = layout.energy_root
        matrix = (np.eye(states) - self.jacobian()) * root[:, None] / root
        if layout.islands:
            held = np.array([amps[:states] for _, amps in layout.islands]) / root
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

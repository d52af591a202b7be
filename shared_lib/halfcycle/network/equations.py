"""The equations of one switch pattern, and their solution as a sum of exponentials and sines.

Capacitor voltages and inductor currents are the state. With capacitors standing as voltage sources and
inductors as current sources, what remains is resistive: one matrix inverse (modified nodal analysis) gives
every node voltage and current, hence the derivative of the state, and its eigen-decomposition the solution
(L. O. Chua and P. M. Lin, "Computer-Aided Analysis of Electronic Circuits", 1975, chapters 4 and 8, from memory).
Tables of a few rows are multiplied by `dot` here and beside: on those, `@` takes twice as long.
"""

from collections.abc import Sequence

import numpy as np

from .eigen import eigen
from .layout import Layout

_SINGULAR = 1e13
_NUDGE = 1e-9
"""Relative change of C and L that gives a critically damped network its missing eigenvector."""
_SLOW = 1e-3
"""Rates below this, 1/s, are followed as growth from where they are, not as decay to a far resting point."""

_NONE = 1e-200
"""Stands for a rate of zero, by which can be divided."""


def spread(weights: np.ndarray, amplitudes: np.ndarray) -> np.ndarray:
    """Real coefficients over a table of waves (see `Pattern.waves`), shape (quantities, 2 · waves).

    `weights` are several quantities of one pattern over its complex waves, shape (quantities, waves).
    """
    return np.ascontiguousarray(weights * amplitudes).view(float)


class Pattern:
    """The network in one combination of modes: ``given' = motion · given`` (see `Layout`), solved.

    Every quantity is the real part of a weighted sum of waves: exp(λt) for each eigenvalue (one of each conjugate
    pair), exp(jωt) for each frequency, 1, and (exp(λt) − 1)/λ for each eigenvalue near zero, with t from the
    beginning of a piece.

    Parameters
    ----------
    layout : Layout
    modes : sequence of str, the mode of each of `layout.devices`
    laws : sequence of the modes' laws, as rows of the equations
    twin : Pattern, if one is known with the same laws under other modes
    """

    def __init__(self, layout: Layout, modes: Sequence[str], laws: Sequence[np.ndarray], twin: "Pattern | None" = None):
        if twin is not None:
            self.__dict__.update(twin.__dict__)
        else:
            self._solve(layout, laws)
        self.modes = tuple(modes)
        self._watch()

    def _solve(self, layout: Layout, laws: Sequence[np.ndarray]) -> None:
        """All that hangs on the laws alone, not on what they are called or how they are left."""
        self.layout, self.laws = layout, laws
        self._decompose()
        self.resonates = self.detuning < 100 * _NUDGE
        """Whether a source drives the network at its own frequency with nothing to damp it."""
        self._lay_out_waves()
        self.asked: dict[tuple, np.ndarray] = {}
        self.grids: dict[int, object] = {}
        self._first_waves = self.waves_at(layout.first_instants)
        turning = len(self.rates) + len(layout.omegas)
        self.exponents = [(rate.real, rate.imag) for rate in self._exponents[:turning].tolist()]
        self._ringing = [k for k in range(len(self.rates)) if self.exponents[k][1]]

    # ---- node voltages and branch currents from what is given

    def _of_given(self, slopes: np.ndarray) -> np.ndarray:
        """Table that turns what is given into the unknowns, and into itself."""
        lay, size = self.layout, self.layout.size
        table = np.concatenate([lay.scaled_equations, *self.laws])
        for row, held in lay.islands:  # one of Kirchhoff's sums says nothing there; that it stays zero places the nodes
            given = held[size:]
            table[row] = lay.scaled(np.concatenate([given[: len(lay.state)] @ slopes, given @ lay.spin]))
            table[row] /= np.abs(table[row, :size]).max()
        return np.concatenate([self._solved(table[:, :size], table[:, size:]), lay.given_units])

    def _solved(self, matrix: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """``matrix⁻¹ · −rest``, with a step of refinement: entries lie nine decades apart. A ValueError where there is none."""
        try:
            inverse = np.linalg.inv(matrix)
        except np.linalg.LinAlgError:
            inverse = np.full_like(matrix, np.inf)
        scale = self.layout.scale
        if not np.abs(inverse).max(initial=0.0) * len(matrix) < _SINGULAR:
            left = np.linalg.svd(matrix)[0]
            raise ValueError(self.layout.what_is_impossible(np.abs(left[:, -1] * scale)))
        found = inverse @ rest
        found += inverse @ (rest - matrix @ found)
        return found * -scale[:, None]

    # ---- the state's own motion

    def _decompose(self) -> None:
        """Eigenvalues, right and left vectors; C and L are nudged where a vector is missing or a source resonates."""
        lay = self.layout
        for nudge in (0.0, _NUDGE):
            slopes = lay.slopes * (1 + nudge * np.arange(1, len(lay.state) + 1))[:, None] if nudge else lay.slopes
            self.of_given = self._of_given(slopes)
            self.motion = lay.spin.copy()
            self.motion[: len(lay.state)] = slopes.dot(self.of_given[: lay.size])
            rate = self.motion[: len(lay.state), : len(lay.state)]
            self.rates, self.right, self.left = eigen(rate, lay.energy_root, lay.symmetric)
            self.detuning = self._detuning()
            if self.left is not None and self._participation() < 1e5 and self.detuning > _NUDGE:
                return

    def _participation(self) -> float:
        """How far the eigenvectors are from missing one: 1 where they stand well apart, without bound where not."""
        return np.abs(self.left * self.right.T).max(initial=0.0)

    def _detuning(self) -> float:
        """Distance of the nearest eigenvalue to a source's frequency, relative to it."""
        return min([1.0, *(abs(1j - rate / omega) for omega in self.layout.omegas for rate in self.rates.tolist())])

    def _lay_out_waves(self) -> None:
        """Tie the sources' waves to the state; keep one of each conjugate pair of eigenvalues, fast ones first.

        Makes the matrices from what is given at a piece's beginning to the amplitudes of its waves, and from the waves
        to what is given.
        """
        lay, states, rates = self.layout, len(self.layout.state), self.rates.tolist()
        push = self.left.dot(self.motion[:states].dot(lay.turned_back))
        detunings = lay.turning - self.rates[:, None]
        if slow := [k for k in range(states) if abs(rates[k]) < _SLOW]:
            detunings[slow, -1] = np.inf
        swings = self.right.dot(push / detunings)
        keep = sorted((k for k in range(states) if rates[k].imag >= 0), key=lambda k: -abs(rates[k].real))
        self.rates, self.left, self.right = self.rates.take(keep), self.left.take(keep, 0), self.right.take(keep, 1)
        if len(keep) < states:
            self.right = self.right * np.where(self.rates.imag, 2.0, 1.0)
        own = self.left.dot(lay.given_units[:states] - swings.dot(lay.turned).real)
        self.to_amplitudes = np.concatenate([own, lay.turned])
        self.of_waves = np.zeros(self.to_amplitudes.shape[::-1], dtype=complex)
        self.of_waves[:states, : len(keep)] = self.right
        self.of_waves[:states, len(keep) :] = swings
        self.of_waves[states:, len(keep) :] = lay.turned_back[states:]
        self._exponents = np.concatenate([self.rates, lay.turning])
        self.slow = [k for k, old in enumerate(keep) if old in slow]
        if slow:
            self._lay_out_growths(push[[keep[k] for k in self.slow], -1])

    def _lay_out_growths(self, push: np.ndarray) -> None:
        """A wave more for each slow rate, which what is constant pushes."""
        more, states = len(self.slow), len(self.layout.state)
        rates = self.rates[self.slow].real
        self.slow_rates, self.slow_push = np.where(np.abs(rates) < _NONE, _NONE, rates), push
        growths = np.zeros((self.layout.given_size, more))
        growths[:states] = (self.right[:, self.slow] * self.slow_push).real
        self.to_amplitudes = np.concatenate([self.to_amplitudes, self.layout.turned[[-1] * more]])
        self.of_waves = np.concatenate([self.of_waves, growths], axis=1)
        self._exponents = np.concatenate([self._exponents, np.zeros(more)])

    # ---- quantities

    def rows(self, quantities: tuple[tuple[str, str], ...]) -> np.ndarray:
        """Several quantities ("volts", "amps" or "node", name) as weights over the waves, shape (quantities, waves)."""
        if quantities not in self.asked:
            self.asked[quantities] = self.layout.probes(quantities).dot(self.of_given).dot(self.of_waves)
        return self.asked[quantities]

    def _watch(self) -> None:
        """Lay the margins of all conditions of all exits out as rows; `exits` says which belong together."""
        self.exits, tables, first = [], [self.layout.table(())], 0
        for k, name in enumerate(self.layout.devices):
            ways, rows = self.layout.margins(name, self.modes[k])
            for to, count in ways:
                self.exits.append((k, to, slice(first, first + count)))
                first += count
            tables.append(rows)
        self.watch_given = np.concatenate(tables).dot(self.of_given)
        self.watch = self.watch_given.dot(self.of_waves)
        self._starts = None if len(self.exits) == first else np.array([rows.start for _, _, rows in self.exits])
        early = (self.watch * self._first_waves[:, None]).reshape(-1, self.watch.shape[1])
        self.first_margins = np.ascontiguousarray(early.dot(self.to_amplitudes).real)
        """The margins at a piece's beginning, an instant and a hundred instants on, by what is given there."""

    def least_margins(self, margins: np.ndarray) -> np.ndarray:
        """The least margin of each exit from the margins of all conditions, which lie along the last axis."""
        return margins if self._starts is None else np.minimum.reduceat(margins, self._starts, -1)

    # ---- waves

    def waves(self, after: np.ndarray, driven: np.ndarray, still: bool = False) -> np.ndarray:
        """The waves at `after` seconds from a piece's beginning, real and minus imaginary, shape (2 · waves, n).

        `driven` are the sources' (see `Layout.driven`), counted from whenever; if `still`, those that fade are left at zero.
        """
        modes = len(self.rates)
        out = np.zeros((2 * len(self._exponents), len(after)))
        out[2 * modes : 2 * modes + len(driven)] = driven
        if not still:
            np.exp(self._exponents.real[:modes, None] * after, out[: 2 * modes : 2])
            for k in self._ringing:
                angle = self.exponents[k][1] * after
                out[2 * k + 1] = -out[2 * k] * np.sin(angle)
                out[2 * k] *= np.cos(angle)
        if self.slow:
            out[-2 * len(self.slow) :: 2] = self._growth(after[:, None]).T
        return out

    def waves_at(self, after: float | np.ndarray) -> np.ndarray:
        """The waves at one instant, or at a column of several, complex, shape (…, waves)."""
        out = np.exp(self._exponents * after)
        if self.slow:
            out[..., -len(self.slow) :] = self._growth(after)
        return out

    def shift(self, seconds: float) -> tuple[np.ndarray, np.ndarray]:
        """Factor and summand that turn the amplitudes at a beginning into those of one `seconds` later."""
        summand = np.zeros(len(self._exponents), dtype=complex)
        if self.slow:
            summand[self.slow] = self.slow_push * self._growth(seconds)
        return np.exp(self._exponents * seconds), summand

    def _growth(self, after: float | np.ndarray) -> np.ndarray:
        return np.expm1(self.slow_rates * after) / self.slow_rates

    def swing(self, seconds: float) -> np.ndarray:
        """The state that the sources alone keep up, at `seconds`; the parts' own beginning where nothing damps it."""
        if self.resonates:
            return self.layout.start
        states, modes, turned = len(self.layout.state), len(self.rates), self.layout.turned
        waves = turned @ self.layout.given(seconds, self.layout.start)
        return (self.of_waves[:states, modes : modes + len(turned)] @ waves).real

    def flow(self, waves: np.ndarray) -> np.ndarray:
        """Derivative of the state by the one at a piece's beginning, from the waves since then, shape (states, states)."""
        own = waves[: len(self.rates)]
        return (self.right * (own if self._ringing else own.real)).dot(self.left).real

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
            self.layout = layout
            self._decompose(laws)
            self._lay_out_waves()
            self.grids: dict[int, object] = {}
            self.asked: dict[tuple, np.ndarray] = {}
        self.modes = modes
        self._watch()

    # ---- node voltages and branch currents from what is given

    def _of_given(self, laws: Sequence[np.ndarray], slopes: np.ndarray) -> np.ndarray:
        """Table that turns what is given into the unknowns, and into itself; a ValueError where there is none.

        The unknowns are ``matrix⁻¹ · −rest``, with a step of refinement: entries lie nine decades apart.
        """
        lay, size = self.layout, self.layout.size
        table = np.concatenate([lay.scaled_equations, *laws])
        for row, held in lay.islands:  # one of Kirchhoff's sums says nothing there; that it stays zero places the nodes
            table[row] = np.concatenate([held[: len(lay.state)] @ slopes, held @ lay.spin]) * lay.columns
            table[row] /= np.abs(table[row, :size]).max()
        matrix, rest = table[:, :size], table[:, size:]
        try:
            inverse = np.linalg.inv(matrix)
        except np.linalg.LinAlgError:
            inverse = np.full_like(matrix, np.inf)
        if not np.abs(inverse).max(initial=0.0) * len(matrix) < _SINGULAR:
            left = np.linalg.svd(matrix)[0]
            raise ValueError(lay.what_is_impossible(np.abs(left[:, -1] * lay.scale)))
        found = inverse @ rest
        found += inverse @ (rest - matrix @ found)
        return np.concatenate([found * -lay.scale[:, None], lay.given_units])

    # ---- the state's own motion

    def _decompose(self, laws: Sequence[np.ndarray]) -> None:
        """Eigenvalues, right and left vectors; C and L are nudged where a vector is missing or a source resonates.

        What a left and its right vector have in common is 1 where they stand well apart, without bound where one is
        missing; the detuning is the distance of the nearest eigenvalue to a source's frequency, relative to it.
        """
        lay, states = self.layout, len(self.layout.state)
        for nudge in (0.0, _NUDGE):
            slopes = lay.slopes * (1 + nudge * np.arange(1, states + 1))[:, None] if nudge else lay.slopes
            self.of_given = self._of_given(laws, slopes)
            self.motion = np.concatenate([slopes.dot(self.of_given[: lay.size]), lay.spin[states:]])
            self.rates, self.right, self.left = eigen(self.motion[:states, :states], lay.energy_root, lay.symmetric)
            detuning = min([1.0, *(abs(1j - rate / omega) for omega in lay.omegas for rate in self.rates.tolist())])
            whole = self.left is not None and np.abs(self.left * self.right.T).max(initial=0.0) < 1e5
            if whole and detuning > _NUDGE:
                break
        self.resonates = detuning < 100 * _NUDGE
        """Whether a source drives the network at its own frequency with nothing to damp it."""

    def _lay_out_waves(self) -> None:
        """Tie the sources' waves to the state; keep one of each conjugate pair of eigenvalues, fast ones first.

        Makes the matrices from what is given at a piece's beginning to the amplitudes of its waves, real and imaginary
        in turn, and from the waves to what is given; each slow rate has a wave more, which what is constant pushes.
        """
        lay, states, rates = self.layout, len(self.layout.state), self.rates.tolist()
        push = self.left.dot(self.motion[:states].dot(lay.turned_back))
        detunings = lay.turning - self.rates[:, None]
        if slow := [k for k in range(states) if abs(rates[k]) < _SLOW]:
            detunings[slow, -1] = np.inf
        swings = self.right.dot(push / detunings)
        self.swings = swings.dot(lay.turned).real
        """Table that turns what is given into the state that the sources alone keep up."""
        keep = sorted((k for k in range(states) if rates[k].imag >= 0), key=lambda k: -abs(rates[k].real))
        self.rates, self.left, self.right = self.rates.take(keep), self.left.take(keep, 0), self.right.take(keep, 1)
        if len(keep) < states:
            self.right = self.right * np.where(self.rates.imag, 2.0, 1.0)
        self.slow = [k for k, old in enumerate(keep) if old in slow]
        own = self.left.dot(lay.given_units[:states] - self.swings)
        to_amplitudes = np.concatenate([own, lay.turned, *[lay.turned[-1:]] * len(self.slow)])
        self.to_amplitudes = to_amplitudes.T.copy().view(float)
        self.of_waves = np.zeros(to_amplitudes.shape[::-1], dtype=complex)
        turning = len(keep) + len(lay.turning)
        self.of_waves[:, len(keep) : turning] = lay.turned_back
        self.of_waves[:states, :turning] = np.concatenate([self.right, swings], axis=1)
        if slow:
            real = self.rates[self.slow].real
            self.slow_rates = np.where(np.abs(real) < _NONE, _NONE, real)
            self.slow_push = push.take(keep, 0)[self.slow, -1]
            self.of_waves[:states, turning:] = self.right[:, self.slow] * self.slow_push
        self.state_of_waves = self.of_waves[:states].conj().view(float)
        self._exponents = np.concatenate([self.rates, lay.turning, np.zeros(len(self.slow))])
        self.exponents = self._exponents[: turning - 1].tolist()
        self._ringing = [k for k, rate in enumerate(self.rates.tolist()) if rate.imag]

    # ---- quantities

    def rows(self, quantities: tuple[tuple[str, str], ...]) -> np.ndarray:
        """Several quantities ("volts", "amps" or "node", name) as weights over the waves, shape (quantities, waves)."""
        if quantities not in self.asked:
            self.asked[quantities] = self.layout.probes(quantities).dot(self.of_given).dot(self.of_waves)
        return self.asked[quantities]

    def _watch(self) -> None:
        """Lay the margins of all conditions of all exits out as rows; `exits` says which belong together."""
        self.exits, tables, first = [], [self.layout.table(())], 0
        for k, ways in enumerate(map(self.layout.margins, self.layout.devices, self.modes)):
            for to, rows in ways:
                self.exits.append((k, to, slice(first, first + len(rows))))
                first += len(rows)
                tables.append(rows)
        self.watch_given = np.concatenate(tables).dot(self.of_given)
        self.watch = self.watch_given.dot(self.of_waves)
        self._starts = None if len(self.exits) == first else np.array([rows.start for _, _, rows in self.exits])
        early = (self.watch * self.waves_at(self.layout.first_instants)[:, None]).reshape(-1, self.watch.shape[1])
        self.early_margins = early.conj().view(float).dot(self.to_amplitudes.T)
        """The margins at any moment, an instant and a hundred instants on, by what is given then."""

    def least_margins(self, margins: np.ndarray) -> np.ndarray:
        """The least margin of each exit from the margins of all conditions, which lie along the last axis."""
        return margins if self._starts is None else np.minimum.reduceat(margins, self._starts, -1)

    # ---- waves

    def waves(self, after: np.ndarray, driven: np.ndarray, still: bool = False) -> np.ndarray:
        """The waves at `after` seconds from a piece's beginning, real and minus imaginary, shape (2 · waves, n).

        `driven` are the sources' (see `Layout.driven`), counted from whenever; if `still`, those that fade stay zero.
        """
        modes = len(self.rates)
        out = np.zeros((2 * len(self._exponents), len(after)))
        out[2 * modes : 2 * modes + len(driven)] = driven
        if not still:
            np.exp(self._exponents.real[:modes, None] * after, out[: 2 * modes : 2])
            for k in self._ringing:
                angle = self.exponents[k].imag * after
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
        lay = self.layout
        return lay.start if self.resonates else self.swings.dot(lay.given(seconds, lay.start))

    def flow(self, waves: np.ndarray) -> np.ndarray:
        """Derivative of the state by the one at a piece's beginning, from the waves since then: (states, states)."""
        own = waves[: len(self.rates)]
        return (self.right * (own if self._ringing else own.real)).dot(self.left).real

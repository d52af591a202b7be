"""The equations of one switch pattern, and their solution as a sum of exponentials and sines.

Capacitor voltages and inductor currents are the state. With capacitors standing as voltage sources and
inductors as current sources, what remains is resistive: one matrix inverse (modified nodal analysis) gives
every node voltage and current, hence the derivative of the state, and its eigen-decomposition the solution
(L. O. Chua and P. M. Lin, "Computer-Aided Analysis of Electronic Circuits", 1975, chapters 4 and 8, from memory).
"""

from collections.abc import Sequence

import numpy as np

from .eigen import eigen
from .layout import Layout
from .parts import Law

_SINGULAR = 1e13
_NUDGE = 1e-9
"""Relative change of C and L that gives a critically damped network its missing eigenvector."""
_SLOW = 1e-3
"""Rates below this, 1/s, are followed as growth from where they are, not as decay to a far resting point."""


def spread(weights: np.ndarray, amplitudes: np.ndarray) -> np.ndarray:
    """Real coefficients over a table of waves (see `Pattern.waves`), shape (quantities, 2 · waves).

    `weights` are several quantities of one pattern over its complex waves, shape (quantities, waves).
    """
    return np.ascontiguousarray(weights * amplitudes).view(float)


class Pattern:
    """The network in one combination of modes: ``x' = rate·x + drive·s(t)``, solved.

    Every quantity is the real part of a weighted sum of waves: exp(λt) for each eigenvalue (one of each conjugate
    pair), exp(jωt) for each frequency, 1, and (exp(λt) − 1)/λ for each eigenvalue near zero, with t from the
    beginning of a piece.

    Parameters
    ----------
    layout : Layout
    modes : sequence of str, the mode of each of `layout.devices`
    laws : sequence of Law, those of the modes
    twin : Pattern, if one is known with the same laws under other modes
    """

    def __init__(self, layout: Layout, modes: Sequence[str], laws: Sequence[Law], twin: "Pattern | None" = None):
        if twin is not None:
            self.__dict__.update(twin.__dict__)
        else:
            self._solve(layout, laws)
        self.modes = tuple(modes)
        self._watch()

    def _solve(self, layout: Layout, laws: Sequence[Law]) -> None:
        """All that hangs on the laws alone, not on what they are called or how they are left."""
        self.layout, self.laws = layout, laws
        self._decompose()
        self.resonates = self.detuning < 100 * _NUDGE
        """Whether a source drives the network at its own frequency with nothing to damp it."""
        self._lay_out_waves()
        steady, growing = self.right @ self.rest, self.right[:, self.slow] * self.slow_push
        self.state_rows = np.concatenate([self.right, self.forced, steady[:, None], growing], axis=1)
        self.asked: dict[tuple, np.ndarray] = {}
        self.grids: dict[int, object] = {}
        self._first_waves = self.waves(np.array([0.0, layout.instant, 100 * layout.instant])).view(complex).conj()
        self.exponents = [
            (rate.real, rate.imag) for rate in self._exponents[: len(self.rates) + len(layout.omega)].tolist()
        ]
        self.decay_rates = np.abs(self.rates.real).tolist()

    # ---- node voltages and branch currents from the state and the sources

    def _resistive_solution(self, slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        lay = self.layout
        matrix, of_state, of_drive = lay.matrix.copy(), lay.of_state, lay.of_drive.copy()
        siemens, offset_amps = np.array([(law.siemens, law.offset_amps) for law in self.laws]).reshape(-1, 2).T
        rows, scale = lay.device_rows, 1 / np.maximum(1.0, siemens)
        matrix[rows] = (siemens * scale)[:, None] * lay.device_spans
        matrix[rows, rows] = -scale
        of_drive[rows, 0] = -offset_amps * scale
        if lay.islands:
            of_state = of_state.copy()
            self._hang_islands(slopes, matrix, of_state, of_drive)
        inverse = self._inverse(matrix)
        return inverse @ of_state, inverse @ of_drive

    def _hang_islands(self, slopes, matrix, of_state, of_drive) -> None:
        """Where inductors alone hold some nodes, one of Kirchhoff's sums says nothing; that it stays zero places them."""
        turns = np.concatenate([[0.0], 1j * self.layout.omega])
        for row, held, driven in self.layout.islands:
            matrix[row], of_state[row], of_drive[row] = held @ slopes, 0.0, -driven * turns

    def _inverse(self, matrix: np.ndarray) -> np.ndarray:
        """The inverse, with a step of refinement: its entries lie nine decades apart. A ValueError where there is none."""
        largest = np.abs(matrix).max(axis=1, initial=0.0)
        scale = 1 / np.sqrt(np.where(largest > 0, largest, 1.0))
        scaled = matrix * scale * scale[:, None]
        try:
            inverse = np.linalg.inv(scaled)
        except np.linalg.LinAlgError:
            inverse = np.full_like(matrix, np.inf)
        if not np.abs(inverse).max(initial=0.0) * len(matrix) < _SINGULAR:
            left = np.linalg.svd(scaled)[0]
            raise ValueError(self.layout.what_is_impossible(np.abs(left[:, -1] * scale)))
        return (2 * inverse - inverse @ (scaled @ inverse)) * scale * scale[:, None]

    # ---- the state's own motion

    def _decompose(self) -> None:
        """Eigenvalues, right and left vectors; C and L are nudged where a vector is missing or a source resonates."""
        lay = self.layout
        for nudge in (0.0, _NUDGE):
            slopes = lay.slopes * (1 + nudge * np.arange(1, len(lay.state) + 1))[:, None]
            self.of_state, self.of_drive = self._resistive_solution(slopes)
            self.rate, self.drive = slopes @ self.of_state, slopes @ self.of_drive
            self.rates, self.right, self.left = eigen(self.rate, np.sqrt(lay.sizes))
            self.detuning = self._detuning()
            if self.left is not None and self._participation() < 1e5 and self.detuning > _NUDGE:
                return

    def _participation(self) -> float:
        """How far the eigenvectors are from missing one: 1 where they stand well apart, without bound where not."""
        return np.abs(self.left * self.right.T).max(initial=0.0)

    def _detuning(self) -> float:
        """Distance of the nearest eigenvalue to a source's frequency, relative to it."""
        omega = self.layout.omega[:, None]
        return np.min(np.abs(1j - self.rates / omega), initial=1.0)

    def _lay_out_waves(self) -> None:
        """Tie the sources' waves to the state; keep one of each conjugate pair of eigenvalues, fast ones first."""
        push = self.left @ self.drive
        self.forced = self.right @ (push[:, 1:] / (self.layout.turning - self.rates[:, None]))
        keep = (self.rates.imag >= 0).nonzero()[0]
        keep = keep[np.argsort(-np.abs(self.rates.real[keep]), kind="stable")]
        self.rates, self.left, push = self.rates[keep], self.left[keep], push[keep, 0]
        self.right = self.right[:, keep] * np.where(self.rates.imag > 0, 2.0, 1.0)
        self.slow = (np.abs(self.rates) < _SLOW).nonzero()[0]
        self.slow_rates, self.slow_push = self.rates[self.slow].real, push[self.slow]
        self.rest = -push / np.where(self.rates == 0, 1, self.rates)
        self.rest[self.slow] = 0
        self._find_amplitudes()

    def _find_amplitudes(self) -> None:
        """Matrix from (state, cos ωt, sin ωt, 1) at a piece's beginning to the amplitudes of its waves."""
        states, modes, turns = len(self.drive), len(self.rates), len(self.layout.omega)
        self.waves_count = modes + turns + 1 + len(self.slow)
        self._exponents = np.zeros(self.waves_count, dtype=complex)
        self._exponents[:modes], self._exponents[modes : modes + turns] = self.rates, self.layout.turning
        self._swinging = self._exponents.imag.nonzero()[0]
        self._swing_omega = self._exponents.imag[self._swinging]
        out = np.zeros((self.waves_count, states + 2 * turns + 1), dtype=complex)
        out[:modes, :states] = self.left
        out[:modes, states : states + turns] = -self.left @ self.forced.real
        out[:modes, states + turns : -1] = self.left @ self.forced.imag
        out[:modes, -1] = -self.rest
        turn = np.arange(turns)
        out[modes + turn, states + turn] = 1
        out[modes + turn, states + turns + turn] = 1j
        out[modes + turns :, -1] = 1
        self.to_amplitudes = out

    # ---- quantities

    def rows(self, quantities: Sequence[tuple[str, str]]) -> np.ndarray:
        """Several quantities ("volts", "amps" or "node", name) as weights over the waves, shape (quantities, waves)."""
        return self._combine(*self.layout.probes(quantities))[2]

    def _combine(self, of_unknowns, of_state, of_drive) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Rows over unknowns, state and drives as rows over the state, over the drives, and over the waves."""
        of_state = of_state + of_unknowns @ self.of_state
        of_drive = of_drive + of_unknowns @ self.of_drive
        weights = of_state @ self.state_rows
        turns, constant = len(self.rates), len(self.rates) + len(self.layout.hertz)
        weights[:, turns:constant] += of_drive[:, 1:]
        weights[:, constant] += of_drive[:, 0]
        return of_state, of_drive, weights

    def _watch(self) -> None:
        """Lay the margins of all conditions of all exits out as rows; `exits` says which belong together."""
        self.exits, probed, first = [], [], 0
        for k, name in enumerate(self.layout.devices):
            ways, rows = self.layout.margins(name, self.modes[k])
            for to, count in ways:
                self.exits.append((k, to, slice(first, first + count)))
                first += count
            probed.append(rows)
        tables = map(np.concatenate, zip(*probed, strict=True)) if probed else self.layout.probes([])
        self.watch_state, self.watch_drive, self.watch = self._combine(*tables)
        self.first_rows = np.array([rows.start for _, _, rows in self.exits], dtype=int)
        self.simple = first == len(self.exits)
        first_weights = self.watch * self._first_waves[:, None]
        table = first_weights.reshape(-1, self.waves_count) @ self.to_amplitudes
        self.first_margins = np.ascontiguousarray(table.real)
        """The margins at a piece's beginning, an instant and a hundred instants on, by what is given there."""

    # ---- waves

    def waves(self, after: np.ndarray) -> np.ndarray:
        """The waves at `after` seconds from a piece's beginning, real and imaginary, shape (n, 2 · waves)."""
        modes, turns = len(self.rates), len(self.layout.omega)
        after = np.reshape(after, (-1, 1))
        out = np.zeros((len(after), self.waves_count, 2))
        if modes:
            out[:, :modes, 0] = np.exp(after * self.rates.real)
        out[:, modes:, 0] = 1.0
        swinging = self._swinging
        if len(swinging):
            angle = after * self._swing_omega
            size = out[:, swinging, 0]
            out[:, swinging, 1] = -size * np.sin(angle)
            out[:, swinging, 0] = size * np.cos(angle)
        if len(self.slow):
            out[:, modes + turns + 1 :, 0] = self._growth(after)
        return out.reshape(len(after), 2 * self.waves_count)

    def waves_at(self, after: float) -> np.ndarray:
        """The waves at one instant, complex, shape (waves,)."""
        out = np.exp(self._exponents * after)
        if len(self.slow):
            out[-len(self.slow) :] = self._growth(np.array([after]))
        return out

    def shift(self, seconds: float) -> tuple[np.ndarray, np.ndarray]:
        """Factor and summand that turn the amplitudes at a beginning into those of one `seconds` later."""
        summand = np.zeros(self.waves_count, dtype=complex)
        summand[self.slow] = self.slow_push * self._growth(np.array([seconds]))
        return np.exp(self._exponents * seconds), summand

    def least_margins(self, margins: np.ndarray) -> np.ndarray:
        """The least margin of each exit from the margins of all conditions, which lie along the last axis."""
        return margins if self.simple else np.minimum.reduceat(margins, self.first_rows, axis=-1)

    def _growth(self, after: np.ndarray) -> np.ndarray:
        rates = np.where(np.abs(self.slow_rates) < 1e-200, 1e-200, self.slow_rates)
        return np.expm1(after * rates) / rates

    def swing(self, seconds: float) -> np.ndarray:
        """The state that the sources alone keep up, at `seconds`; the parts' own beginning where nothing damps it."""
        if self.resonates:
            return self.layout.start
        return (self.forced @ self.layout.drives(seconds)[1:] + self.right @ self.rest).real

    def flow(self, waves: np.ndarray) -> np.ndarray:
        """Derivative of the state by the one at a piece's beginning, from the waves since then, shape (states, states)."""
        return ((self.right * waves[: len(self.rates)]) @ self.left).real

    def slope(self, drives: np.ndarray, x: np.ndarray) -> np.ndarray:
        """Derivative of the state by time where it is `x`."""
        return self.rate @ x + (self.drive @ drives).real

    def margin_slope(self, row: int, drives: np.ndarray, x_slope: np.ndarray) -> float:
        """Derivative of one watched margin by time, where the state moves by `x_slope`."""
        turning = self.layout.turning * drives[1:]
        return float(self.watch_state[row] @ x_slope + (self.watch_drive[row, 1:] @ turning).real)

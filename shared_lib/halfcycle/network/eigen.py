"""Eigenvalues and vectors of a network's motion, whose rates may lie twenty decades apart."""

import numpy as np

_STIFF = 1e6
"""Ratio of rates from which the slow ones are found by themselves."""
_STANDING = 3e-8
"""Rates below this, 1/s, may be rounding: their time constant is a year."""


def eigen(rate: np.ndarray, root: np.ndarray, symmetric: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """Eigenvalues, right vectors as columns and left vectors as rows (None where there are too few), of ``rate``.

    Found in units of the square root of energy, `root`, in which it may be known to be symmetric.
    """
    try:
        rates, right, left = _graded(rate * root[:, None] / root, symmetric)
    except np.linalg.LinAlgError:
        return np.zeros(len(rate), dtype=complex), np.zeros_like(rate), None
    return rates.astype(complex), right / root[:, None], left * root


def _graded(matrix: np.ndarray, symmetric: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Eigenvalues, right and left vectors of a real matrix whose eigenvalues may lie twenty decades apart.

    The plain decomposition keeps no digit of a rate that is 10^16 times slower than the fastest. So the fastest are
    split off, the space of the others is turned until it is theirs alone, and they are decomposed among themselves
    (block diagonalisation: G. H. Golub and C. F. Van Loan, "Matrix Computations", chapter 7, from memory).
    """
    if len(matrix) < 2:
        return matrix.ravel(), np.ones_like(matrix), np.ones_like(matrix)
    rates, right = np.linalg.eigh(matrix) if symmetric else np.linalg.eig(matrix)
    sizes = np.abs(rates).tolist()
    if max(sizes) < _STANDING and np.abs(matrix).max() < _STANDING:
        return _standing(rates, right)
    if min(sizes) * _STIFF >= max(sizes):
        return rates, right, right.T if symmetric else np.linalg.inv(right)
    fast_right, fast_left = _fast_space(rates, right), _fast_space(*np.linalg.eig(matrix.T))
    count = fast_right.shape[1]
    basis = np.concatenate([fast_right, np.linalg.qr(fast_left, mode="complete")[0][:, count:]], axis=1)
    dual = np.linalg.inv(basis)
    for _ in range(2):  # each time the two spaces see less of each other through the matrix
        seen = dual.dot(matrix.dot(basis))
        inverse = np.linalg.inv(seen[:count, :count])
        turn = np.zeros_like(seen)
        turn[:count, count:] = -inverse.dot(seen[:count, count:])
        turn[count:, :count] = seen[count:, :count].dot(inverse)
        basis, dual = basis + basis.dot(turn), dual - turn.dot(dual)
    fast_rates, fast_right, fast_left = _graded(dual[:count].dot(matrix.dot(basis[:, :count])))
    slow_rates, slow_right, slow_left = _graded(dual[count:].dot(matrix.dot(basis[:, count:])))
    right = np.concatenate([basis[:, :count].dot(fast_right), basis[:, count:].dot(slow_right)], axis=1)
    left = np.concatenate([fast_left.dot(dual[:count]), slow_left.dot(dual[count:])])
    return np.concatenate([fast_rates, slow_rates]), right, left


def _standing(rates: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same for rates of a year's time constant: none at all where rounding has left them no proper vectors."""
    left = np.linalg.pinv(right)
    if np.abs(left * right.T).max(initial=0.0) < 1e3 and np.allclose(left @ right, np.eye(len(rates)), atol=1e-9):
        return rates, right, left
    return np.zeros(len(rates)), np.eye(len(rates)), np.eye(len(rates))


def _fast_space(rates: np.ndarray, vectors: np.ndarray) -> np.ndarray:
    """Real columns that span the eigenvectors of the fastest rates: of a pair the real and the imaginary part."""
    fast = np.abs(rates) * _STIFF > np.abs(rates).max()
    return np.concatenate([vectors[:, fast & (rates.imag >= 0)].real, vectors[:, fast & (rates.imag > 0)].imag], axis=1)

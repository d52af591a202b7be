"""What item analysis says of a lesson: difficulty, discrimination and consistency, each with an interval.

Rows are learners, columns are items. Sources (from memory): the point-biserial correlation, Lord and Novick,
"Statistical Theories of Mental Test Scores" (1968), section 15.5; an item against the rest of its test, Henrysson,
Psychometrika 28 (1963), 211-218; alpha, Cronbach, Psychometrika 16 (1951), 297-334; percentile intervals by resampling
the learners, Efron and Tibshirani, "An Introduction to the Bootstrap" (1993), chapter 13.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["RESAMPLES", "TOO_FEW", "Figure", "alpha", "difficulties", "discriminations"]

RESAMPLES = 2000
TOO_FEW = 30
"""Fewer learners than this and the page warns: the standard error of a correlation is then 0.19 and more (about
1/sqrt(n - 1), Fisher 1921, from memory)."""
_LEAST = 3
_BEGIN = 19510900  # every report on the same marks draws the same samples
_PERCENTILES = (2.5, 97.5)
_UNDEFINED_SHARE = 0.05
_NOTHING = 1e-12


@dataclass(frozen=True)
class Figure:
    """A value with its 95 % interval; None where it is not defined (nobody differs) or too few samples define it."""

    value: float | None
    low: float | None = None
    high: float | None = None


def difficulties(points, most) -> list[Figure]:
    """Mean share of the points of each item, 1 when everyone has them all (``points``: learners × items, ``most``: items).

    >>> [figure.value for figure in difficulties([[2, 0], [1, 0]], [2, 1])]
    [0.75, 0.0]
    """
    shares = _matrix(points) / np.asarray(most, float)
    return _figures(lambda weights: weights @ shares / weights.sum(1, keepdims=True), shares)


def discriminations(right, points) -> list[Figure]:
    """Point-biserial correlation of each item (``right``: 0 or 1) with the points of the other items of its lesson.

    >>> [round(figure.value, 6) for figure in discriminations([[1, 1], [1, 1], [0, 0], [0, 0]], [[2, 2], [2, 2], [0, 0], [0, 0]])]
    [1.0, 1.0]
    """
    points = _matrix(points)
    rest = points.sum(1, keepdims=True) - points
    return _figures(lambda weights: _correlations(_matrix(right), rest, weights), points)


def alpha(points) -> Figure:
    """Cronbach's alpha of a lesson from ``points`` (learners × items).

    >>> alpha([[1, 1], [2, 2], [3, 3]]).value
    1.0
    """
    points = _matrix(points)
    if points.shape[1] < 2:
        return Figure(None)
    (found,) = _figures(lambda weights: _alphas(points, weights)[:, None], points)
    return found


def _matrix(values) -> np.ndarray:
    found = np.asarray(values, float)
    return found if found.ndim == 2 else found.reshape(len(found), -1)


def _figures(reckon, table: np.ndarray) -> list[Figure]:
    """``reckon`` of the learners as they are and of resamples of them; it takes how often each learner counts."""
    learners = len(table)
    if not learners:
        return [Figure(None)] * table.shape[1]
    values = reckon(np.ones((1, learners)))[0]
    if learners < _LEAST:
        return [Figure(_plain(value)) for value in values]
    draws = np.random.default_rng(_BEGIN).multinomial(learners, [1 / learners] * learners, RESAMPLES)
    return [_figure(value, sampled) for value, sampled in zip(values, reckon(draws.astype(float)).T, strict=True)]


def _figure(value: float, sampled: np.ndarray) -> Figure:
    defined = sampled[np.isfinite(sampled)]
    if not np.isfinite(value) or len(defined) < (1 - _UNDEFINED_SHARE) * len(sampled):
        return Figure(_plain(value))
    return Figure(_plain(value), *map(float, np.percentile(defined, _PERCENTILES)))


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _means(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    return weights @ values / weights.sum(1, keepdims=True)


def _variances(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    centred = values - values.mean(0)
    found = _means(centred**2, weights) - _means(centred, weights) ** 2
    return np.where(found > _NOTHING, found, 0.0)


def _correlations(first: np.ndarray, second: np.ndarray, weights: np.ndarray) -> np.ndarray:
    one, other = first - first.mean(0), second - second.mean(0)
    together = _means(one * other, weights) - _means(one, weights) * _means(other, weights)
    with np.errstate(divide="ignore", invalid="ignore"):
        return together / np.sqrt(_variances(one, weights) * _variances(other, weights))


def _alphas(points: np.ndarray, weights: np.ndarray) -> np.ndarray:
    items = points.shape[1]
    total = _variances(points.sum(1, keepdims=True), weights)[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return items / (items - 1) * (1 - _variances(points, weights).sum(1) / total)

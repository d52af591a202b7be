"""Item analysis against other people's programs and published figures.

Point-biserial: SciPy. Alpha: the worked example of Bland and Altman, BMJ 314 (1997) 572 (summary figures from memory), the
identity with Kuder and Richardson's formula 20 (Psychometrika 2 (1937), 151-160), and intervals against Feldt's exact ones
(Psychometrika 30 (1965), 357-370, from memory).
"""

import numpy as np
import pytest
from scipy import stats

from autograde.reports.statistics import alpha, difficulties, discriminations


def answers(learners, items, skill=1.0, begin=1):
    """Right or not, by learners of different skill."""
    draws = np.random.default_rng(begin)
    strength = skill * draws.normal(size=(learners, 1))
    return (strength + draws.normal(size=(learners, items)) > 0).astype(float)


@pytest.mark.parametrize("begin", range(5))
def test_discrimination_is_scipy_s_point_biserial_of_an_item_with_the_rest(begin):
    right = answers(40, 6, begin=begin)
    points = right * np.array([1, 2, 2, 3, 1, 4]) + 0.5 * (1 - right) * answers(40, 6, begin=begin + 100)
    for column, found in enumerate(discriminations(right, points)):
        rest = np.delete(points, column, axis=1).sum(axis=1)
        assert found.value == pytest.approx(stats.pointbiserialr(right[:, column], rest).statistic, abs=1e-12)
        assert found.low < found.value < found.high


def test_difficulty_is_the_mean_share():
    points = answers(25, 4) * 3
    for column, found in enumerate(difficulties(points, [3] * 4)):
        assert found.value == pytest.approx(points[:, column].mean() / 3) and found.low <= found.value <= found.high


def test_alpha_of_the_published_example():
    """Bland and Altman 1997, table 2: ten items, variances that add up to 11.16, variance of the total 77.44, alpha 0.95."""
    draws = np.random.default_rng(2)
    common, own = (draws.normal(size=shape) for shape in ((4000, 1), (4000, 10)))
    together = (77.44 - 11.16) / 90  # the covariance of two items that those two figures ask for
    points = np.sqrt(together) * common + np.sqrt(1.116 - together) * own
    points -= points.mean(0)
    covariance = np.full((10, 10), together) + np.diag([1.116 - together] * 10)
    exactly = points @ np.linalg.inv(np.linalg.cholesky(np.cov(points.T))).T @ np.linalg.cholesky(covariance).T
    assert np.var(exactly, axis=0, ddof=1).sum() == pytest.approx(11.16)
    assert np.var(exactly.sum(1), ddof=1) == pytest.approx(77.44)
    assert round(alpha(exactly).value, 2) == 0.95


def test_alpha_of_right_and_wrong_is_formula_20():
    right = answers(60, 8)
    shares = right.mean(0)
    formula_20 = 8 / 7 * (1 - (shares * (1 - shares)).sum() / right.sum(1).var())
    assert alpha(right).value == pytest.approx(formula_20, abs=1e-12)


@pytest.mark.parametrize("begin", range(4))
def test_the_interval_of_alpha_agrees_with_the_exact_one_for_normal_scores(begin):
    draws = np.random.default_rng(begin)
    learners, items = 300, 10
    found = alpha(draws.normal(size=(learners, 1)) + draws.normal(size=(learners, items)))
    first, second = learners - 1, (learners - 1) * (items - 1)
    low, high = (1 - (1 - found.value) * stats.f.ppf(share, first, second) for share in (0.975, 0.025))
    assert (found.low, found.high) == (pytest.approx(low, abs=0.012), pytest.approx(high, abs=0.012))


def test_intervals_hold_what_is_true_as_often_as_they_say():
    """Over 200 cohorts of 40 the true alpha (here 10/11) lies inside in 95 % give or take four standard errors of a percentile interval."""
    draws = np.random.default_rng(7)
    inside = 0
    for _ in range(200):
        found = alpha(draws.normal(size=(40, 1)) + draws.normal(size=(40, 10)))
        inside += found.low <= 10 / 11 <= found.high
    assert 0.87 <= inside / 200 <= 0.995


def test_the_same_marks_always_have_the_same_interval():
    assert alpha(answers(30, 5)) == alpha(answers(30, 5))


def test_the_small_and_the_empty_have_no_figure_rather_than_a_wrong_one():
    assert discriminations([[1, 1]] * 9, [[2, 2]] * 9)[0].value is None, "nobody differs"
    assert alpha([[1.0]] * 5).value is None and alpha([[2, 1]] * 5).value is None
    assert alpha([[1, 0], [0, 1]]).low is None and discriminations(np.zeros((0, 2)), np.zeros((0, 2)))[1].value is None
    one_right = [[1, 1]] + [[0, 0]] * 9
    assert discriminations(one_right, one_right)[0].low is None, "a third of the samples holds nobody who is right"

"""The table of numbers from outside, and the preferred series as the standard lists them."""

import math

import pytest

from halfcycle import constants
from halfcycle.constants import CLASS_2, CONSTANTS, PREFERRED, next_preferred

# IEC 60063, typed here a second time from the published lists (not from our module).
E12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]
E24 = [1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1]  # fmt: skip


@pytest.mark.parametrize(("series", "published"), [("E12", E12), ("E24", E24)])
def test_series_are_the_published_lists(series, published):
    assert list(PREFERRED[series]) == published


@pytest.mark.parametrize(("series", "published"), [("E12", E12), ("E24", E24)])
@pytest.mark.parametrize("decade", [1e-6, 1e-3, 1.0, 100.0])
def test_a_preferred_value_stays_and_the_slightest_excess_moves_up(series, published, decade):
    for value, above in zip(published, [*published[1:], 10.0], strict=True):
        assert next_preferred(value * decade, series) == pytest.approx(value * decade)
        assert next_preferred(value * decade * 1.001, series) == pytest.approx(above * decade)


def test_next_preferred_is_written_without_rounding_dust():
    assert next_preferred(95e-6) == 100e-6
    assert next_preferred(999.9999999999) == 1000.0


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
def test_next_preferred_refuses_what_has_no_next(value):
    with pytest.raises(ValueError, match="preferred one must be a positive number"):
        next_preferred(value)


def test_unknown_series_is_named():
    with pytest.raises(ValueError, match="'E13'"):
        next_preferred(1.0, "E13")


def test_class_2_limits():
    """NEC chapter 9 table 11(A), over 20 to 30 V ac, 2017 text; 30 V by UL 1585."""
    assert float(CLASS_2["inherently limited, largest current"]) == 8.0
    assert float(CLASS_2["not inherently limited, largest output"]) == 250.0
    assert float(CLASS_2["not inherently limited, largest current × volts"]) == 1000.0
    assert float(CLASS_2["overcurrent protection × volts"]) == 100.0
    assert float(CLASS_2["nameplate"]) == float(constants.CLASS_2_NAMEPLATE_VA) == 100.0
    assert float(CLASS_2["largest secondary"]) == 30.0
    assert float(CLASS_2["non-sinusoidal ac peak"]) == pytest.approx(30.0 * math.sqrt(2), rel=0.001)


def test_every_number_names_its_source():
    assert all(constant.source for constant in (*CONSTANTS.values(), *CLASS_2.values()))


def test_form_factor_is_the_published_one():
    """Published as 1.11072 (the scaling of an average-responding meter)."""
    assert float(CONSTANTS["form factor of a sine"]) == pytest.approx(1.11072, abs=5e-6)

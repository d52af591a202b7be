"""The transformer: its nameplate, its limit cases, and its peak against quadrature of a sine."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from halfcycle import Supply

RATINGS = {"volt_amperes": st.floats(5, 500), "volts_rms": st.floats(5, 250), "regulation": st.floats(0, 0.5)}


def test_twenty_four_volts():
    """24 V rms is 33.9 V peak, and 30 V rms is 42.4 V peak (published beside the class 2 table)."""
    assert Supply(24.0).volts_peak == pytest.approx(33.9, abs=0.05)
    assert Supply(30.0).volts_peak == pytest.approx(42.4, abs=0.05)
    assert Supply(hertz=50.0).period_s == 0.02


def test_peak_gives_back_the_rms_by_quadrature():
    peak = Supply(24.0).volts_peak
    square, _ = quad(lambda angle: (peak * math.sin(angle)) ** 2, 0, 2 * math.pi)
    assert math.sqrt(square / (2 * math.pi)) == pytest.approx(24.0, rel=1e-9)


@given(**RATINGS)
def test_rated_load_gives_rated_voltage_and_regulation_its_definition(volt_amperes, volts_rms, regulation):
    """Regulation = (no-load − full-load)/full-load. The rated load draws VA/V and must leave the nameplate's volts."""
    supply = Supply.from_rating(volt_amperes, volts_rms, regulation)
    rated_amps = volt_amperes / volts_rms
    assert supply.volts_rms - rated_amps * supply.resistance_ohm == pytest.approx(volts_rms)
    assert (supply.volts_rms - volts_rms) / volts_rms == pytest.approx(regulation, abs=1e-12)


def test_no_regulation_is_a_stiff_source():
    assert Supply.from_rating(40, regulation=0.0) == Supply(24.0)


def test_the_rest_is_passed_on():
    supply = Supply.from_rating(40, hertz=50.0, leakage_henry=1e-3)
    assert (supply.hertz, supply.leakage_henry) == (50.0, 1e-3)


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"volts_rms": 0}, "volts_rms"),
        ({"volts_rms": math.nan}, "volts_rms"),
        ({"hertz": 0}, "hertz"),
        ({"resistance_ohm": -0.1}, "resistance_ohm"),
        ({"leakage_henry": math.inf}, "leakage_henry"),
    ],
)
def test_a_range_error_names_the_quantity(options, named):
    with pytest.raises(ValueError, match=f"^{named} must be"):
        Supply(**options)


@pytest.mark.parametrize(
    ("options", "named"),
    [({"volt_amperes": 0}, "volt_amperes"), ({"regulation": -0.1}, "regulation"), ({"volts_rms": -24}, "volts_rms")],
)
def test_a_nameplate_error_names_the_quantity(options, named):
    with pytest.raises(ValueError, match=f"^{named} must be"):
        Supply.from_rating(**{"volt_amperes": 40, **options})

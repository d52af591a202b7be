"""A part whose value cannot be is refused in one sentence that names it, wherever in the library it is written."""

import pytest

from halfcycle import Supply, Wire, rectify, spike_bus, steer
from halfcycle.network import CurrentPulses, Diode, ExponentialDiode, Switch
from halfcycle.optotriac import Coil, Opto, Snubber, switch_coil
from halfcycle.spikes import Actuator, Filter

SUPPLY = Supply(24.0, resistance_ohm=1.2)
BAD = (0.0, -1.0, float("nan"), float("inf"), "5")


@pytest.mark.parametrize("value", BAD)
@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda v: Supply(v), "volts_rms"),
        (lambda v: Supply(24.0, hertz=v), "hertz"),
        (lambda v: Supply.from_rating(v), "volt_amperes"),
        (lambda v: Coil(ohm=v), "ohm of a coil"),
        (lambda v: Coil(henry=v), "henry of a coil"),
        (lambda v: Coil(pull_in_amps=v), "pull_in_amps of a coil"),
        (lambda v: Snubber(farad=v), "farad of a snubber"),
        (lambda v: Opto(trigger_amps=v), "trigger_amps of an optoisolator"),
        (lambda v: Opto(on_ohm=v), "on_ohm of an optoisolator"),
        (lambda v: Actuator(supercap_farad=v), "supercap_farad of an actuator"),
        (lambda v: Actuator(pulse_s=v), "pulse_s of an actuator"),
        (lambda v: Diode(on_ohm=v), "of a diode"),
        (lambda v: ExponentialDiode(saturation_amps=v), "saturation_amps of a diode"),
        (lambda v: Switch(on_ohm=v), "of a switch"),
        (lambda v: CurrentPulses(amps=v), "amps of current pulses"),
        (lambda v: CurrentPulses(compliance_volts=v), "compliance_volts of current pulses"),
        (lambda v: rectify(SUPPLY, load_ohm=v), "'load'"),
        (lambda v: spike_bus(SUPPLY, bus_load_ohm=v), "'bus load'"),
        (lambda v: spike_bus(SUPPLY, line_farad=v), "'line'"),
        (lambda v: spike_bus(SUPPLY, store_volts=v), "stored voltage"),
        (lambda v: switch_coil(SUPPLY, led_resistor_ohm=v), "'LED resistor'"),
        (lambda v: steer(SUPPLY, True, False, wire_ohm=v), "'wire'"),
        (lambda v: steer(SUPPLY, True, False, meter_ohm=v), "'meter'"),
    ],
)
def test_a_value_that_must_be_positive(make, named, value):
    with pytest.raises(ValueError, match=f"{named}.* must be a positive number, not"):
        make(value)


@pytest.mark.parametrize("value", [-1e-9, float("nan"), float("-inf")])
@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda v: Supply(24.0, resistance_ohm=v), "resistance_ohm"),
        (lambda v: Supply(24.0, leakage_henry=v), "leakage_henry"),
        (lambda v: Supply.from_rating(40.0, regulation=v), "regulation"),
        (lambda v: Filter("snubber", farad=v), "farad of a filter"),
        (lambda v: Opto(led_drop_volts=v), "led_drop_volts of an optoisolator"),
        (lambda v: Diode(drop_volts=v), "drop_volts of a diode"),
        (lambda v: Wire(18, v), "length_ft"),
    ],
)
def test_a_value_that_may_be_zero(make, named, value):
    with pytest.raises(ValueError, match=f"{named}.* must be"):
        make(value)


def test_a_capacitor_straight_across_an_ideal_source_names_both():
    with pytest.raises(ValueError, match=r"'secondary' and 'line'.*short across an ideal source"):
        spike_bus(Supply(24.0))


def test_an_unknown_word_is_named():
    with pytest.raises(ValueError, match=r"feed of an LED.*'moonlight'"):
        switch_coil(SUPPLY, feed="moonlight")
    with pytest.raises(ValueError, match="'roof'"):
        Filter("roof")


def test_a_run_too_long_for_memory_says_so_before_it_begins():
    with pytest.raises(ValueError, match="200,000"):
        rectify(SUPPLY, load_ohm=200.0, cycles=300_000)

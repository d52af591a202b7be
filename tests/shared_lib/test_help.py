"""A newcomer's `help(...)` on each public name gives units, errors, a source and a worked example."""

import doctest
import re

import pytest

import halfcycle
from halfcycle import Diode, Supply, Waveform, Wire, meters, rectify, spike_bus, steer
from halfcycle.network import ExponentialDiode, Network
from halfcycle.optotriac import Coil, Opto, Snubber, switch_coil
from halfcycle.rectifier import Rectified, SteadyRectified
from halfcycle.spikes import Actuator, Filter

METERS = [getattr(meters, n) for n in ("dc", "ac_rms", "true_rms", "average_responding", "peak", "peak_to_peak")]
PARTS = [Supply, Supply.from_rating, Wire, Diode, ExponentialDiode, Opto, Coil, Snubber, Actuator, Filter]
CIRCUITS = [rectify, steer, spike_bus, switch_coil]
UNIT = re.compile(r"\b(V|Ω|H|F|A|Hz|s|VA|ft|ohm|volts?|reading|unit)\b")


def name_of(thing) -> str:
    return thing.__qualname__


@pytest.mark.parametrize("thing", [*PARTS, *CIRCUITS, *METERS, Network, Waveform], ids=name_of)
def test_help_has_units_and_an_example_that_runs(thing):
    assert UNIT.search(thing.__doc__ if thing not in METERS else meters.__doc__ + thing.__doc__)
    examples = doctest.DocTestParser().get_examples(thing.__doc__)
    assert examples
    assert any(example.want for example in examples), "an example shows what comes out"


@pytest.mark.parametrize("thing", [*PARTS, *CIRCUITS, Network, Waveform], ids=name_of)
def test_help_says_what_is_refused(thing):
    assert re.search(r"Errors|Raises", thing.__doc__)
    assert "ValueError" in thing.__doc__


@pytest.mark.parametrize("thing", [*PARTS, *CIRCUITS], ids=name_of)
def test_help_says_where_its_facts_are_from(thing):
    assert re.search(r"Source|from memory|no source|closed form|by definition", thing.__doc__)


@pytest.mark.parametrize("name", ["load_volts", "source_amps", "diode_amps", "diode_volts"])
@pytest.mark.parametrize("solved", [Rectified, SteadyRectified])
def test_every_waveform_of_a_rectifier_says_its_unit(solved, name):
    assert re.search(r", [VA]", getattr(solved, name).__doc__)


def test_the_names_that_stay_are_there():
    assert {"Diode", "Supply", "Waveform", "Wire", "meters", "rectify", "spike_bus", "steer"} <= set(halfcycle.__all__)
    assert "loop" in Wire.loop_ohm.__doc__ or "out and back" in Wire.loop_ohm.__doc__
    assert ">>>" in Rectified.steady.__doc__

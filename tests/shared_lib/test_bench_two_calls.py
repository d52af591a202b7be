"""The bench of two calls: its readings are the library's in every state and fault, and its words say what they say."""

import html
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest

from halfcycle import Supply, Wire, meters, steer
from halfcycle.benches import bench, two_calls, two_calls_words
from halfcycle.optotriac import Coil, Opto
from halfcycle.steering import FAULTS

START = two_calls.start()
CALLS = list(product((False, True), repeat=2))
OUTPUTS = {
    (False, False): "both outputs are off",
    (True, False): "output A is on, B is off",
    (False, True): "output B is on, A is off",
    (True, True): "both outputs are on",
}


def reading(state, words):
    return next(r for r in state.readings if r.words.startswith(words))


@pytest.mark.parametrize("fault", [None, *FAULTS])
@pytest.mark.parametrize("calls", CALLS)
def test_readings_are_the_solver_s_and_the_meters(calls, fault):
    now = replace(START, call_a=calls[0], call_b=calls[1], fault=fault or "")
    solved, state = (
        steer(Supply.from_rating(40), *calls, wire_ohm=Wire(18, 100).one_way_ohm, fault=fault),
        two_calls.state(now),
    )
    dc, ac = reading(state, "Conductor, dc"), reading(state, "Conductor, ac")
    assert dc.value == pytest.approx(meters.dc(solved.shared_volts), rel=1e-3, abs=1e-3)
    assert ac.value == pytest.approx(meters.ac_rms(solved.shared_volts), rel=1e-3, abs=1e-3)
    assert ac.besides.value == pytest.approx(meters.average_responding(solved.shared_volts), rel=1e-3, abs=1e-3)
    hottest = 0.0
    for call, amps in (("A", solved.led_a_amps), ("B", solved.led_b_amps)):
        led, output = reading(state, f"LED {call}"), solved.output(call)
        assert led.value == pytest.approx(meters.dc(amps), rel=1e-3, abs=5e-5)
        assert led.besides.value == pytest.approx(amps.values.max(), rel=1e-3, abs=5e-5)
        coil = reading(state, f"Output {call} is {'on' if output.pulled_in else 'off'}, coil")
        assert coil.value == pytest.approx(output.coil_rms_amps, rel=1e-3, abs=5e-5)
        assert coil.besides.value == pytest.approx(meters.dc(output.coil_amps), rel=1e-3, abs=5e-5)
        hottest = max(hottest, meters.true_rms(amps) ** 2 * 820.0)
    assert reading(state, "LED resistor, heat").value == pytest.approx(hottest, rel=1e-3, abs=1e-6)
    assert OUTPUTS[solved.outputs] in state.sentence


def test_the_field_test_tells_all_four_states_apart_by_two_meters():
    # by the drawing: a half sine of one sign has a mean of peak/pi, and no call leaves nothing (common practice, no source)
    peak = 26.4 * 2**0.5
    expected = {(False, False): (0, 0), (True, False): (1, 0.386), (False, True): (-1, 0.386), (True, True): (0, 0.707)}
    for calls, (sign, share) in expected.items():
        state = two_calls.state(replace(START, call_a=calls[0], call_b=calls[1]))
        assert reading(state, "Conductor, dc").value == pytest.approx(sign * peak / np.pi, rel=0.06, abs=0.01), calls
        assert reading(state, "Conductor, ac").value == pytest.approx(share * peak, rel=0.04, abs=0.01), calls


def test_the_led_is_what_a_half_sine_gives_through_its_resistor():
    """The peak by hand: open-circuit peak less the three drops, over everything in series, the coil's share left out."""
    state = two_calls.state(replace(START, coil_ohm=1e6, coil_henry=0.01))
    ohm = 1.44 + 0.1 + 0.05 + START.wire_ohm + 820 + 0.05 + 4 + 0.01
    expected = (26.4 * 2**0.5 - 0.7 - 0.7 - 1.2) / ohm
    assert reading(state, "LED A").besides.value == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("calls", CALLS)
@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0, 285.0, 360.0])
def test_what_conducts_in_the_picture_is_what_conducts_in_the_solution(calls, degrees):
    now = replace(START, call_a=calls[0], call_b=calls[1], moment_degrees=degrees)
    solved, at = (
        steer(Supply.from_rating(40), *calls, wire_ohm=now.wire_ohm, samples_per_cycle=1000),
        round(degrees / 0.36),
    )
    lit = [c for c, amps in (("A", solved.led_a_amps), ("B", solved.led_b_amps)) if amps.values[at] > 1e-4]
    drawn = html.unescape(two_calls.state(now).wiring_svg)
    words = " and ".join(f"LED {call}" for call in lit) or "no LED"
    assert f"At {degrees:g}°: {words} carries current." in drawn


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_has_its_own_drawing_and_its_own_sentence(fault):
    well, ill = replace(START, call_b=True), replace(START, call_b=True, fault=fault)
    plain, faulty = two_calls.state(well), two_calls.state(ill)

    def shapes(svg):
        return [
            ET.tostring(node) for node in ET.fromstring(svg).iter() if not node.tag.endswith(("svg", "text", "tspan"))
        ]

    assert shapes(plain.wiring_svg) != shapes(faulty.wiring_svg)
    assert f"fault: {fault}" in faulty.wiring_svg
    others = {two_calls.state(replace(ill, fault=other)).sentence for other in FAULTS if other != fault}
    assert faulty.sentence not in others | {plain.sentence}


@pytest.mark.parametrize("fault", ["diode B open", "diode B shorted", "diode B reversed", "LED B open"])
def test_a_fault_in_a_path_that_is_not_called_is_said_to_wait(fault):
    alone = two_calls.state(replace(START, fault=fault), START)
    assert "does not show until call B closes" in alone.sentence
    assert two_calls.numbers(alone.settings).on == two_calls.numbers(START).on == (True, False)


def test_an_led_that_gets_too_little_leaves_its_output_off_and_says_why():
    faint = two_calls.state(replace(START, led_resistor_ohm=8200.0), START)
    assert "too little to trigger its output at 5.00" in faint.sentence and "both outputs are off" in faint.sentence
    assert not two_calls.numbers(faint.settings).on[0]


@pytest.mark.parametrize(
    ("changes", "danger", "words"),
    [
        ({"led_resistor_ohm": 470.0}, True, "Not in the field"),
        ({"volt_amperes": 2.0}, True, "overheats"),
        ({"fault": "diode A shorted"}, False, "nobody called for"),
        ({"fault": "diode A reversed"}, False, "nobody called for"),
        ({"fault": "common lost"}, False, "still live"),
        ({}, False, "quarter-watt"),
        ({"led_resistor_ohm": 1500.0}, False, "prove it dead"),
    ],
)
def test_settings_that_bite_say_so(changes, danger, words):
    state = two_calls.state(replace(START, **changes))
    assert state.danger is danger and words in state.caution


def test_the_meter_that_is_chosen_is_the_one_in_the_picture():
    for meter, dial, words in (("dc", "dc meter", "dc"), ("ac", "ac meter", "ac"), ("low", "ac meter", "ac")):
        state = two_calls.state(replace(START, meter=meter))
        assert f"{dial} on the conductor: {reading(state, f'Conductor, {words}').text}" in html.unescape(
            state.wiring_svg
        )


def test_a_meter_of_low_input_resistance_draws_a_phantom_down():
    open_diode = replace(START, fault="diode A open")
    high = two_calls.numbers(replace(open_diode, meter="ac")).ac_volts
    low = two_calls.numbers(replace(open_diode, meter="low")).ac_volts
    assert high > 0.1 and low < 0.01
    said = two_calls.state(replace(open_diode, meter="low"), replace(open_diode, meter="ac")).sentence
    assert "low input resistance" in said and "goes from" in said


def test_extremes_of_all_controls_are_solved():
    ends = [(control.choices[0], control.choices[-1]) for control in two_calls.CONTROLS if control.name != "fault"]
    names = [control.name for control in two_calls.CONTROLS if control.name != "fault"]
    for choice in product(*ends):
        found = two_calls.numbers(replace(START, **dict(zip(names, choice, strict=True))))
        assert abs(found.dc_volts) <= 37.4 and 0 <= found.ac_volts <= 26.5 and max(found.led_peak_amps) < 0.1


def test_a_learner_s_own_values_are_where_it_begins():
    own = SimpleNamespace(
        volt_amperes=50,
        volts_rms=25.6,
        resistance_ohm=1.1,
        led_resistor_ohm=910,
        led_drop_volts=1.15,
        wire_ohm=2.2,
        coil_ohm=120,
    )
    begun = two_calls.start(own)
    assert (begun.volt_amperes, begun.volts_rms, begun.resistance_ohm, begun.led_resistor_ohm) == (50, 25.6, 1.1, 910)
    solved = steer(
        Supply(25.6, resistance_ohm=1.1), True, False,
        opto=Opto(led_drop_volts=1.15), led_resistor_ohm=910, wire_ohm=2.2, coil=Coil(120, 0.9),
    )  # fmt: skip
    assert two_calls.numbers(begun).led_amps[0] == pytest.approx(meters.dc(solved.led_a_amps), rel=1e-3)
    assert 910.0 in [value for _, value in bench("two_calls", own)._sliders["led_resistor_ohm"].options]


def test_every_fault_of_the_library_is_in_words():
    assert set(two_calls_words._FAULTS) == set(FAULTS)
    assert next(c for c in two_calls.CONTROLS if c.name == "fault").choices == ("", *FAULTS)


def test_the_scope_shows_b_downwards_and_marks_both_peaks():
    now = replace(START, call_b=True)
    svg = html.unescape(two_calls.state(now).scope_svg)
    for call in "AB":
        assert f"{call} {reading(two_calls.state(now), f'LED {call}').besides.text}" in svg
    assert two_calls.traces(now)[3].wave.values.min() == pytest.approx(
        -two_calls.numbers(now).led_peak_amps[1], rel=1e-6
    )

"""Marking by hand-made keys: every verdict, every edge of the tolerance, and that `mark` never does anything but return."""

import math
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autograde import marking
from autograde.evidence import MIME, read_slip
from autograde.marking import Key, Trap, fits, fits_other, load, mark, roads
from autograde.neighbours import _Rights
from halfcycle.variants import circuit


@dataclass(frozen=True)
class Own:
    """Stands in for a circuit."""

    learner: str
    volts: float


KEY = Key(
    "90-peak", "V", 2, lambda c: c.volts * 2**0.5, lambda c: math.hypot(c.volts, c.volts), "√2", "triangle", "Peak"
)
TRAPS = (
    Trap("rms-for-peak", lambda c: c.volts, "That is the rms.", "Peak"),
    Trap("peak-to-peak-for-peak", lambda c: c.volts * 2 * 2**0.5, "That is from crest to trough.", "Peak", share=0.5),
)
TABLE = Key("90-table", "table", 3, lambda c: (0, 1, 1, 0), lambda c: (0, 1, 1, 0), "by hand", "by rule", "Tables")
AMARA = Own("amara", 24.0)


def _mark(value, unit="V", key=KEY):
    return mark({"item": key.item, "value": value, "unit": unit}, key, TRAPS if key is KEY else (), AMARA)


@pytest.mark.parametrize(
    ("value", "verdict", "points"),
    [
        (33.941, "right", 2.0),
        (34, "right", 2.0),
        (33.941 * 1.0099, "right", 2.0),
        (33.941 * 0.9901, "right", 2.0),
        (33.941 * 1.0102, "wrong", 0.0),
        (33.941 * 0.9898, "wrong", 0.0),
        (24, "trap:rms-for-peak", 0.5),
        (67.88, "trap:peak-to-peak-for-peak", 1.0),
        (-33.94, "polarity", 0.5),
        (33940, "scale:1000", 0.5),
        (0.03394, "scale:0.001", 0.5),
        (33.94e6, "scale:1000000", 0.5),
        (33.94e-6, "scale:0.000001", 0.5),
        (0, "wrong", 0.0),
        (None, "no answer", 0.0),
        (True, "wrong", 0.0),
        ("33.9", "wrong", 0.0),
        (math.nan, "wrong", 0.0),
        (math.inf, "wrong", 0.0),
        (10**400, "wrong", 0.0),
        ([33.9], "wrong", 0.0),
    ],
)
def test_verdicts(value, verdict, points):
    given_mark = _mark(value)
    assert (given_mark.verdict, given_mark.points) == (verdict, points)


def test_nothing_handed_in_is_no_answer():
    assert mark(None, KEY, TRAPS, AMARA).verdict == "no answer"


def test_a_slip_of_another_item_is_no_answer():
    assert mark({"item": "90-other", "value": 33.94, "unit": "V"}, KEY, TRAPS, AMARA).verdict == "no answer"


def test_another_unit_is_not_paid_even_with_the_right_number():
    assert (_mark(33.94, "A").verdict, _mark(33.94, "A").points) == ("wrong unit", 0.0)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ([0, 1, 1, 0], "right"),
        ((0, 1, 1, 0), "right"),
        ([0.0, 1.0, 1.0, 0.0], "right"),
        ([1, 0, 0, 1], "wrong"),
        ([0, 1, 1], "wrong"),
        ([0, 1, 1, 0, 0], "wrong"),
        (0, "wrong"),
        ([0, True, 1, 0], "wrong"),
    ],
)
def test_a_table_is_right_only_as_a_whole(value, verdict):
    assert _mark(value, "table", TABLE).verdict == verdict


def test_a_quantity_without_a_unit_has_no_scale():
    plain = Key("90-crest", "", 1, lambda c: 1.414, lambda c: 1.414, "", "", "Crest")
    assert [road.verdict for road in roads(plain, (), AMARA)] == ["right", "polarity"]


def test_an_absolute_tolerance_makes_a_zero_answerable():
    zero = Key("90-mean", "V", 1, lambda c: 0.0, lambda c: 0.0, "", "", "Mean", abs_tol=0.05)
    assert fits(0.04, 0.0, zero)
    assert not fits(0.06, 0.0, zero)
    assert [road.verdict for road in roads(zero, (), AMARA)] == ["right"]


def test_the_wider_of_two_tolerances_counts():
    both = Key("90-both", "V", 1, lambda c: 10.0, lambda c: 10.0, "", "", "", rel_tol=0.01, abs_tol=0.5)
    assert fits(10.4, 10.0, both)


def test_right_goes_before_a_trap_of_the_same_value():
    same = (Trap("same", lambda c: KEY.first(c), "never", "Peak"),)
    assert mark({"item": "90-peak", "value": 33.94, "unit": "V"}, KEY, same, AMARA).verdict == "right"


@given(st.floats(allow_nan=True, allow_infinity=True) | st.integers() | st.text() | st.none() | st.booleans())
def test_whatever_is_handed_in_gets_a_mark_within_the_points(value):
    given_mark = _mark(value)
    assert 0.0 <= given_mark.points <= KEY.points
    assert isinstance(given_mark.points, float)


@given(st.floats(min_value=1e-9, max_value=1e9), st.floats(min_value=0.98, max_value=1.02))
def test_full_points_only_within_the_tolerance(volts, factor):
    own = Own("x", volts)
    given_mark = mark({"item": "90-peak", "value": KEY.first(own) * factor, "unit": "V"}, KEY, TRAPS, own)
    assert (given_mark.points == 2.0) == (abs(KEY.first(own) * factor - KEY.first(own)) <= 0.01 * KEY.first(own))


def test_hints_name_no_value():
    for road in roads(KEY, TRAPS, AMARA)[1:]:
        assert not any(sign.isdigit() for sign in road.hint), road.hint


def test_an_answer_that_fits_a_neighbour_is_named():
    others = [Own("bo", 26.0), AMARA, Own("cy", 24.0), Own("di", 26.1)]
    slip = {"item": "90-peak", "value": 36.8, "unit": "V"}
    assert fits_other(slip, KEY, AMARA, others) == ("bo", "di")


@pytest.mark.parametrize("lesson", ["01", "02", "09"])
def test_whoever_is_near_in_order_is_whoever_fits_among_all(lesson):
    keys, _ = load(lesson)
    everyone = [circuit("half-cycle", lesson, f"p{number}") for number in range(60)]
    for item, key in keys.items():
        rights = _Rights(key, everyone)
        for at, one in enumerate(everyone):
            value = key.first(everyone[at - 1])
            value = [*value] if key.unit == "table" else value * (1, 1 + key.rel_tol, 1 - key.rel_tol, -1)[at % 4]
            slip = {"item": item, "value": value, "unit": key.unit}
            assert fits_other(slip, key, one, rights.near(value)) == fits_other(slip, key, one, everyone)
        assert rights.near(None) == rights.near("5 V") == []


def test_a_right_answer_fits_nobody_else():
    slip = {"item": "90-peak", "value": 33.94, "unit": "V"}
    assert fits_other(slip, KEY, AMARA, [Own("bo", 24.1)]) == ()
    assert fits_other(None, KEY, AMARA, [Own("bo", 24.1)]) == ()


def test_a_lesson_without_a_key_is_one_sentence():
    with pytest.raises(LookupError, match="no answer key"):
        load("88")
    with pytest.raises(ValueError, match="two digits"):
        load("ohm")


def test_a_trap_without_a_key_is_refused(monkeypatch):
    room = {"keys": type("K", (), {"KEYS": (KEY,)}), "traps": type("T", (), {"TRAPS": {"90-peek": TRAPS}})}
    monkeypatch.setattr(marking, "_module", lambda name: room[name.split(".")[1]])
    with pytest.raises(ValueError, match="90-peek"):
        load("90")


def test_two_keys_of_one_name_are_refused(monkeypatch):
    room = {"keys": type("K", (), {"KEYS": (KEY, KEY)}), "traps": type("T", (), {"TRAPS": {}})}
    monkeypatch.setattr(marking, "_module", lambda name: room[name.split(".")[1]])
    with pytest.raises(ValueError, match="same item"):
        load("90")


def _output(**slip):
    return {"output_type": "display_data", "data": {MIME: slip}}


def test_one_slip_counts():
    assert read_slip([_output(item="a", value=2, unit="V")], "a") == ({"item": "a", "value": 2.0, "unit": "V"}, "")


def test_two_slips_count_as_none_and_call_a_person():
    slip, trouble = read_slip([_output(item="a", value=2, unit="V")] * 2, "a")
    assert slip is None
    assert "2 times" in trouble


def test_slips_of_other_items_are_not_looked_at():
    assert read_slip([_output(item="b", value=2, unit="V")], "a") == (None, "")


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, -math.inf, True, "2", {"value": 2}, [], [2.0], [[1]], [1] * 65, [True], 10**400, None],
)
def test_what_is_no_plain_number_or_table_is_no_answer(value):
    slip, trouble = read_slip([_output(item="a", value=value, unit="V")], "a")
    assert slip["value"] is None
    assert not trouble


@pytest.mark.parametrize("output", [None, 1, {}, {"data": None}, {"data": {MIME: "x"}}, {"data": {MIME: {"item": 1}}}])
def test_what_is_no_slip_is_passed_over(output):
    assert read_slip([output], "a") == (None, "")


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(json_values, json_values)
def test_no_evidence_can_stop_the_reading(value, unit):
    slip, _ = read_slip([_output(item="a", value=value, unit=unit)], "a")
    assert slip["value"] is None or isinstance(slip["value"], float | list)

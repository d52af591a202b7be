"""Practice is checked at once: right, not yet with the hint that fits, or what to do about a wrong kind of answer."""

import pytest

from halfcycle.practice import check


@pytest.fixture
def said(capsys):
    def say(value, **options):
        check(value, **{"right": 33.94, "unit": "V", **options})
        return capsys.readouterr().out.strip()

    return say


def test_right_within_the_tolerance_and_not_outside(said):
    assert said(33.94) == "Right: 33.94 V."
    assert said(33.94 * 1.0099).startswith("Right: ")
    assert said(33.94 * 1.012).startswith("Not yet: ")
    assert said(33.94 * 1.012, tolerance=0.02).startswith("Right: ")


def test_the_hint_of_the_slip_that_was_made(said):
    hints = {24: "That is the rms value.", 67.88: "That is peak to peak."}
    assert said(24.1, hints=hints) == "Not yet: 24.1 V. That is the rms value."
    assert "peak to peak" in said(67.9, hints=hints)
    assert "worked example" in said(50, hints=hints)


def test_zeros_prefixes_and_signs_are_told_apart(said):
    for factor in (1e3, 1e-3, 1e6, 1e-6):
        assert "prefix" in said(33.94 * factor)
    assert "sign" in said(-33.94)
    assert "prefix" not in said(339.4)


def test_a_right_answer_of_zero_has_no_scale_and_no_sign(said):
    assert said(0, right=0) == "Right: 0 V."
    assert "worked example" in said(5, right=0)
    assert said(0, right=3).startswith("Not yet: ")


@pytest.mark.parametrize("value", [..., None, "33.94 V", (33, 94), float("nan"), True, [33.94], max, 1j])
def test_a_wrong_kind_is_explained_as_hand_in_explains_it(said, value, capsys):
    from halfcycle.slips import hand_in

    here = said(value)
    hand_in("03-peak", value, "V")
    assert here.startswith("No answer yet: ")
    assert here.removeprefix("No answer yet: ") in capsys.readouterr().out


def test_tables(said):
    table = {"right": [0, 1, 1, 0], "unit": "table", "hints": {(1, 0, 0, 1): "The polarity is exchanged."}}
    assert said([0, 1, 1, 0], **table) == "Right: [0, 1, 1, 0]."
    assert said([1, 0, 0, 1], **table) == "Not yet: [1, 0, 0, 1]. The polarity is exchanged."
    assert said([1, 1, 1, 1], **table).startswith("Not yet: ")
    assert said(5, **table).startswith("No answer yet: ")

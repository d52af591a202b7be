"""Whose circuit: the same on every computer, different for every learner, never mixed up between two people."""

import copy
import hashlib
import json
import pickle
import sys
import types

import pytest

from halfcycle import variants
from halfcycle.variants import Circuit, Draw, circuit, lesson_number, lessons, who

LESSONS = lessons()


def index(course, lesson, learner, name, attempt, count):
    """The rule of the draw, written out once more: SHA-256 as one big-endian number, remainder of the list's length."""
    digest = hashlib.sha256(f"{course}|{lesson}|{learner}|{name}|{attempt}".encode()).hexdigest()
    return int(digest, 16) % count


def plant(monkeypatch, **content):
    """A lesson 99 for one test."""
    module = types.ModuleType("halfcycle.variants.lesson_99")
    vars(module).update(content)
    monkeypatch.setitem(sys.modules, module.__name__, module)


@pytest.mark.parametrize("learner", ["guest", "ana", "zoë.müller"])
@pytest.mark.parametrize("lesson", LESSONS)
def test_draws_follow_the_written_rule(lesson, learner):
    spec = variants._spec(lesson)
    drawn = circuit("half-cycle", lesson, learner).values()

    def attempt_values(attempt):
        return {
            name: draw.choices[index("half-cycle", lesson, learner, name, attempt, len(draw.choices))]
            for name, draw in spec.DRAWS.items()
        }

    accept = getattr(spec, "accept", lambda values: True)
    first = next(values for values in map(attempt_values, range(1000)) if accept(values))
    assert {name: drawn[name] for name in first} == first


def test_draws_are_pinned(monkeypatch):
    """Worked out beforehand with sha256sum and bc: printf 'fennel|99|ana|volts|0' | sha256sum, remainder of 100 (97 for ohm)."""
    plant(monkeypatch, DRAWS={"volts": Draw(tuple(range(100)), "V", "a"), "ohm": Draw(tuple(range(97)), "Ω", "b")})
    own = circuit("fennel", "99", "ana")
    assert (own.volts, own.ohm) == (55, 74)


@pytest.mark.parametrize("lesson", LESSONS)
def test_at_least_500_circuits_among_2000_learners(lesson):
    assert len({circuit("half-cycle", lesson, f"learner-{number}") for number in range(2000)}) >= 500


@pytest.mark.parametrize("lesson", LESSONS)
def test_every_choice_is_drawn_by_somebody(lesson):
    """A choice that `accept` always turns away would only pretend to be there."""
    drawn = [circuit("half-cycle", lesson, f"learner-{number}").values() for number in range(2000)]
    for name, draw in variants._spec(lesson).DRAWS.items():
        assert {values[name] for values in drawn} == set(draw.choices), name


@pytest.mark.parametrize("lesson", LESSONS)
def test_rows_have_words_plain_numbers_and_units(lesson):
    own = circuit("half-cycle", lesson, "ana")
    assert len(own.rows()) == len(own.values()) > 0
    for words, value, unit in own.rows():
        assert words and isinstance(unit, str) and type(value) in (int, float)
    assert len({words for words, _, _ in own.rows()}) == len(own.rows())


def test_equal_by_values_whoever_it_belongs_to():
    entries = (("volts", 24, "V", "supply"),)
    assert Circuit("a", "01", "ana", entries) == Circuit("b", "01", "ben", entries)
    assert Circuit("a", "01", "ana", entries) != Circuit("a", "03", "ana", entries)
    assert hash(Circuit("a", "01", "ana", entries)) == hash(Circuit("b", "01", "ben", entries))


def test_a_circuit_survives_pickle_and_copy_and_stays_as_it_is():
    own = circuit("half-cycle", LESSONS[0], "ana")
    assert pickle.loads(pickle.dumps(own)) == copy.deepcopy(own) == own
    with pytest.raises(AttributeError):
        own.lesson = "99"
    with pytest.raises(AttributeError, match="has no value 'nonsense'"):
        _ = own.nonsense


def test_one_person_under_two_spellings_of_an_accent_has_one_circuit():
    """U+00EB against e + U+0308: file systems disagree on which they keep."""
    assert circuit("half-cycle", LESSONS[0], "zo\u00eb") == circuit("half-cycle", LESSONS[0], "zoe\u0308 ")


def test_folder_name_and_number_are_the_same_lesson():
    assert lesson_number("05_a_capacitor_behind_the_diode") == lesson_number("05") == "05"
    for wrong in ("5", "", "five", "٠١_x"):
        with pytest.raises(ValueError, match="two digits"):
            lesson_number(wrong)


def test_an_unknown_lesson_says_which_there_are():
    with pytest.raises(LookupError, match=r"no lesson 98 .*" + LESSONS[0]):
        circuit("half-cycle", "98", "ana")


def test_limits_that_no_draw_meets_end_in_a_sentence(monkeypatch):
    plant(monkeypatch, DRAWS={"volts": Draw((1, 2), "V", "a")}, accept=lambda values: values["volts"] > 2)
    with pytest.raises(ValueError, match="do not fit together"):
        circuit("half-cycle", "99", "ana")


@pytest.mark.parametrize("name", ["lesson", "rows", "learner", "_private"])
def test_a_value_may_not_hide_an_attribute(monkeypatch, name):
    plant(monkeypatch, DRAWS={name: Draw((1, 2), "V", "a")})
    with pytest.raises(ValueError, match="taken"):
        circuit("half-cycle", "99", "ana")


def test_a_derived_value_may_not_replace_a_drawn_one(monkeypatch):
    plant(monkeypatch, DRAWS={"volts": Draw((1,), "V", "a")}, derived=lambda values: {"volts": (2, "V", "b")})
    with pytest.raises(ValueError, match="taken"):
        circuit("half-cycle", "99", "ana")


def test_who_by_default_by_file_and_by_environment(tmp_path, monkeypatch):
    (tmp_path / "lesson").mkdir()
    monkeypatch.chdir(tmp_path / "lesson")
    assert who() == ("half-cycle", "guest")
    (tmp_path / ".halfcycle.json").write_text(json.dumps({"course": "autumn", "learner": "ana"}))
    assert who() == ("autumn", "ana")
    monkeypatch.setenv("HALFCYCLE_LEARNER", "ben")
    assert who() == ("autumn", "ben")
    monkeypatch.setenv("HALFCYCLE_COURSE", "spring")
    assert who() == ("spring", "ben")


@pytest.mark.parametrize("content", ["", "{", "[]", "3", '"ana"', "\x00"])
def test_a_broken_who_file_is_named_with_its_mend(tmp_path, monkeypatch, content):
    (tmp_path / ".halfcycle.json").write_text(content)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ValueError, match=r"\.halfcycle\.json .* Delete that file"):
        who()
    monkeypatch.setenv("HALFCYCLE_COURSE", "autumn")
    monkeypatch.setenv("HALFCYCLE_LEARNER", "ana")
    assert who() == ("autumn", "ana")  # the grading room does not even look at it

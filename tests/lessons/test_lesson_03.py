"""Lesson 03: its circuits, its two keys, its traps and its notebook, held against each other and against SciPy."""

import itertools
import json
import math
import re
from collections import Counter
from pathlib import Path

import pytest
from scipy.integrate import quad, solve_ivp

from autograde import marking
from halfcycle import meters
from halfcycle.benches import rectifier
from halfcycle.variants import Circuit, circuit, lesson_03
from halfcycle.workbook import one_diode

NOTEBOOK = Path(__file__).parents[2] / "lessons" / "03_one_diode" / "03_one_diode.ipynb"
KEYS, TRAPS = marking.load("03")
ROADS_AGREE = 2e-4
BOOK = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
CELLS = {cell["id"]: cell for cell in BOOK["cells"]}
SOURCES = {name: "".join(cell["source"]) for name, cell in CELLS.items()}
HEADINGS = {
    line.lstrip("# ").strip() for text in SOURCES.values() for line in text.splitlines() if line.startswith("#")
}


def drawn(volts_rms, drop_volts, load_ohm=100, coil_ohm=160):
    values = (volts_rms, drop_volts, load_ohm, coil_ohm)
    entries = tuple((name, value, "", "") for name, value in zip(lesson_03.DRAWS, values, strict=True))
    return Circuit("half-cycle", "03", "anyone", entries)


def every_wave():
    """All the waves that can be drawn: the two resistances only scale amperes and watts."""
    pairs = itertools.product(lesson_03.DRAWS["volts_rms"].choices, lesson_03.DRAWS["drop_volts"].choices)
    return [drawn(volts, drop) for volts, drop in pairs]


def some(count):
    return [circuit("half-cycle", "03", f"apprentice-{number}") for number in range(count)]


def taught(c):
    """The lesson's formulas with the lesson's rounded factors, as an apprentice types them, every step to two decimals."""
    peak = round(1.414 * c.volts_rms, 2)
    mean, rms = round(0.318 * peak - 0.5 * c.drop_volts, 2), round(0.5 * peak - 0.64 * c.drop_volts, 2)
    return {
        "03-load-peak": peak - c.drop_volts,
        "03-dc": mean,
        "03-true-rms": rms,
        "03-ac-rms": math.sqrt(rms**2 - mean**2),
        "03-average-meter": 1.11 * mean,
        "03-inverse": peak,
        "03-inverse-capacitor": 2 * peak - c.drop_volts,
        "03-power": rms**2 / c.load_ohm,
        "03-power-share": 100 * (rms / c.volts_rms) ** 2,
        "03-coil": 1000 * (0.318 * peak - c.drop_volts) / c.coil_ohm,
        "03-winding-dc": mean / c.load_ohm,
    }


# The circuits.


def test_circuits_are_many_and_of_preferred_resistances():
    """E24 of IEC 60063."""
    assert len({one.entries for one in some(2000)}) > 1900
    e24 = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}
    for name in ("load_ohm", "coil_ohm"):
        assert all(ohm in e24 or (ohm % 10 == 0 and ohm // 10 in e24) for ohm in lesson_03.DRAWS[name].choices)


# The keys.


@pytest.mark.parametrize("item", KEYS)
def test_two_roads_lead_to_the_same_answer(item):
    for one in some(500):
        assert KEYS[item].second(one) == pytest.approx(KEYS[item].first(one), rel=ROADS_AGREE), one


@pytest.mark.parametrize("item", KEYS)
def test_what_the_lesson_teaches_is_well_inside_the_tolerance_for_every_wave(item):
    for one in every_wave():
        assert taught(one)[item] == pytest.approx(KEYS[item].first(one), rel=0.5 * KEYS[item].rel_tol), one.values()


def test_mean_and_rms_against_quadrature():
    """scipy.integrate.quad of the wave behind a threshold: neither our closed form nor our solver."""
    for c in every_wave()[::17]:
        peak = c.volts_rms * math.sqrt(2)

        def hump(x, peak=peak, drop=c.drop_volts):
            return max(0.0, peak * math.sin(x) - drop)

        mean = quad(hump, 0, math.pi, limit=300)[0] / (2 * math.pi)
        square = quad(lambda x, hump=hump: hump(x) ** 2, 0, math.pi, limit=300)[0] / (2 * math.pi)
        assert KEYS["03-dc"].first(c) == pytest.approx(mean, rel=1e-7)
        assert KEYS["03-true-rms"].first(c) == pytest.approx(math.sqrt(square), rel=1e-7)
        assert KEYS["03-ac-rms"].first(c) == pytest.approx(math.sqrt(square - mean**2), rel=1e-7)
        flipped = quad(lambda x, hump=hump, mean=mean: abs(hump(x) - mean), 0, math.pi, limit=300)[0] + math.pi * mean
        blocked = {trap.name: trap for trap in TRAPS["03-average-meter"]}["dc-blocked-for-dc-passed"].value(c)
        assert blocked == pytest.approx(math.pi / math.sqrt(8) * flipped / (2 * math.pi), rel=1e-5)


def test_without_a_drop_the_keys_are_the_published_factors():
    """Published table of meter readings, half wave of amplitude 1: mean 0.31831, rms 0.5, ac 0.38559, averaging 0.35355."""
    c = drawn(math.sqrt(0.5), 1e-9)
    expected = {"03-dc": 0.31831, "03-true-rms": 0.5, "03-ac-rms": 0.38559, "03-average-meter": 0.35355}
    for item, figure in expected.items():
        assert KEYS[item].first(c) == pytest.approx(figure, abs=6e-6)


@pytest.mark.parametrize("coil_seconds", [0.006, 0.05])
def test_the_coil_current_against_scipy_whatever_the_inductance(coil_seconds):
    """solve_ivp (SciPy) through forty time constants of the coil, both diodes written as one clamp."""
    c = drawn(24.0, 0.9, coil_ohm=160)
    peak, turn = c.volts_rms * math.sqrt(2), 2 * math.pi * 60

    def slope(seconds, amps):
        volts = max(peak * math.sin(turn * seconds) - c.drop_volts, -c.drop_volts)
        return (volts - amps[0] * c.coil_ohm) / (c.coil_ohm * coil_seconds)

    def charge(seconds, state):
        return [slope(seconds, state), state[0]]

    settle = math.ceil(40 * coil_seconds * 60) / 60
    begin = solve_ivp(charge, (0, settle), [0.06, 0.0], rtol=1e-7, atol=1e-10, max_step=5e-4).y[:, -1]
    end = solve_ivp(charge, (settle, settle + 1 / 60), begin, rtol=1e-9, atol=1e-12, max_step=1e-4).y[:, -1]
    assert begin[0] > 0
    assert KEYS["03-coil"].first(c) == pytest.approx(1000 * 60 * (end[1] - begin[1]), rel=1e-3)


# The traps.


@pytest.mark.parametrize("item", KEYS)
def test_no_wrong_road_comes_near_another_for_any_wave(item):
    for one in every_wave():
        for left, right in itertools.combinations(marking.roads(KEYS[item], TRAPS[item], one), 2):
            apart = abs(left.value - right.value) / max(abs(left.value), abs(right.value))
            assert apart > 1.1 * KEYS[item].rel_tol, (left.verdict, right.verdict, one.values())


@pytest.mark.parametrize("item", KEYS)
def test_every_trap_is_recognised_by_name_when_typed_to_four_figures(item):
    for one in some(100):
        for trap in TRAPS[item]:
            slip = {"item": item, "value": float(f"{trap.value(one):.4g}"), "unit": KEYS[item].unit}
            found = marking.mark(slip, KEYS[item], TRAPS[item], one)
            assert found.verdict == f"trap:{trap.name}"
            assert 0 < found.points < KEYS[item].points


def test_there_are_enough_traps_and_each_item_has_some():
    names = Counter(trap.name for traps in TRAPS.values() for trap in traps)
    assert len(names) >= 8
    assert all(len(TRAPS[item]) >= 3 for item in KEYS)
    wanted = {"full-wave-on-half-wave", "rms-divided-by-two", "drop-forgotten", "ac-meter-believed", "one-peak-inverse"}
    assert wanted <= set(names)


def test_hints_name_a_cause_and_no_value_and_point_to_a_heading_of_the_notebook():
    for key in KEYS.values():
        assert key.section in HEADINGS, key.section
        for trap in TRAPS[key.item]:
            assert not re.search(r"\d", trap.hint), trap.hint
            assert trap.hint.endswith(".") and trap.section in HEADINGS


# The notebook.


def solution(item):
    return SOURCES[f"{item}-answer"].split("### BEGIN SOLUTION\n")[1].split("\n### END SOLUTION")[0]


@pytest.mark.parametrize("item", KEYS)
def test_the_notebooks_solution_earns_full_marks_for_other_learners(item):
    for one in some(12):
        room = {"circuit": one, "meters": meters, "heater": one_diode.heater, "relay": one_diode.relay}
        exec(solution(item), room)
        variable = re.match(r"(\w+) = ", solution(item))[1]
        slip = {"item": item, "value": float(room[variable]), "unit": KEYS[item].unit}
        assert marking.mark(slip, KEYS[item], TRAPS[item], one).verdict == "right"


def test_each_graded_item_has_its_question_its_answer_cell_and_its_locked_cell():
    graded = {n: c["metadata"]["nbgrader"] for n, c in CELLS.items() if c["metadata"].get("nbgrader", {}).get("grade")}
    assert list(graded) == list(KEYS)
    for item, key in KEYS.items():
        answer = CELLS[f"{item}-answer"]["metadata"]["nbgrader"]
        assert graded[item]["points"] == key.points and graded[item]["locked"] and graded[item]["grade_id"] == item
        assert answer["solution"] and not answer["locked"] and answer["grade_id"] == f"{item}-answer"
        variable = re.search(r"^(\w+) = \.\.\.$", SOURCES[f"{item}-answer"], re.MULTILINE)[1]
        assert SOURCES[item] == f'hand_in("{item}", {variable}, "{key.unit}")'
        stated = "1 point" if key.points == 1 else f"{key.points} points"
        assert SOURCES[f"{item}-question"].startswith(f"### {item}: ") and f"({stated})" in SOURCES[f"{item}-question"]


def test_the_tolerance_that_a_question_states_is_the_one_that_marks():
    assert "within 1 %" in SOURCES["03-graded"]
    for item, key in KEYS.items():
        stated = re.search(r"within ([\d.]+) %", SOURCES[f"{item}-question"])
        assert key.rel_tol == pytest.approx(float(stated[1]) / 100 if stated else 0.01)


def test_the_source_is_clean():
    assert [path.name for path in NOTEBOOK.parent.iterdir() if not path.name.startswith(".")] == [NOTEBOOK.name]
    assert len(CELLS) == len(BOOK["cells"])
    for cell in BOOK["cells"]:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == [] and cell["execution_count"] is None
            assert "rel_tol" not in "".join(cell["source"]) and "autograde" not in "".join(cell["source"])


def test_the_worked_example_and_practice_are_nobodys_own_circuit():
    assert not {28, 20} & set(lesson_03.DRAWS["volts_rms"].choices)
    assert not {150, 50} & set(lesson_03.DRAWS["load_ohm"].choices)
    assert not {300} & set(lesson_03.DRAWS["coil_ohm"].choices)


def test_the_pictures_say_what_they_show(capsys):
    one_diode.heater_picture(28, drop_volts=0.75, load_ohm=150)
    one_diode.block_picture(28, drop_volts=0.75, capacitor_farad=470e-6)
    one_diode.relay_picture(28, drop_volts=0.75, coil_ohm=300)
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    for words in ("mean 12.2 V, rms 19.3 V", "blocking 78.4 V", "flywheel diode", "mean 11.9 V, 39.5 mA"):
        assert words in said


def test_figures_that_the_prose_states_without_a_cell():
    """The job's meters on a lightly loaded "24 V" transformer, the coil's volts, the peak inverse with the line 10 % high."""
    one = one_diode.heater(25.0, drop_volts=0.9, load_ohm=100).load_volts
    assert [round(meter(one)) for meter in (meters.ac_rms, meters.true_rms, meters.dc)] == [13, 17, 11]
    assert round(meters.average_responding(one, coupled="ac")) == 13
    assert "about 13 volts" in SOURCES["03-job"] and "about 17" in SOURCES["03-job"] and "about 11" in SOURCES["03-job"]
    assert "about 10 V" in SOURCES["03-relay"] and round(24 * math.sqrt(2) / math.pi - 0.9) == 10
    inverse = [2.2 * math.sqrt(2) * c.volts_rms - c.drop_volts for c in every_wave()]
    assert "between 70 and 85 V" in SOURCES["03-blocks"] and min(inverse) > 70 and max(inverse) < 85


def test_the_bench_shows_the_averaging_meter_that_blocks_dc():
    """The lesson says so, and asks for the other kind."""
    one = some(1)[0]
    shown = rectifier.numbers(rectifier.start(one)).average_volts
    wave = one_diode.heater(one.volts_rms, drop_volts=one.drop_volts, load_ohm=one.load_ohm).load_volts
    assert shown == pytest.approx(meters.average_responding(wave, coupled="ac"), rel=0.02)
    assert abs(shown / KEYS["03-average-meter"].first(one) - 1) > 0.05

"""Lesson 01: its circuits, its two keys, its traps and its notebook, held against each other and against published tables."""

import itertools
import json
import math
import os
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from scipy.integrate import quad

from autograde import marking
from autograde.keys import lesson_01 as keys_01
from halfcycle import Supply, Waveform, Wire, meters
from halfcycle.benches import supply as bench_01
from halfcycle.constants import CLASS_2
from halfcycle.slips import SLIP
from halfcycle.variants import Circuit, circuit, lesson_01
from halfcycle.workbook.one_run import left_volts

NOTEBOOK = Path(__file__).parents[2] / "lessons" / "01_what_24_volts_means" / "01_what_24_volts_means.ipynb"
KEYS, TRAPS = marking.load("01")
ROADS_AGREE = 2e-4
BOOK = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
CELLS = {cell["id"]: cell for cell in BOOK["cells"]}
SOURCES = {name: "".join(cell["source"]) for name, cell in CELLS.items()}
HEADINGS = {
    line.lstrip("# ").strip() for text in SOURCES.values() for line in text.splitlines() if line.startswith("#")
}
# As the lesson's table prints them, Ω per 1,000 ft at 20 °C.
TABLE_OHM = {18: 6.385, 20: 10.15, 22: 16.14}
BOLD = re.compile(r"\*\*(.+?)\*\*")
PLAIN = {
    "meter_volts": 27.0,
    "scope_volts": 68,
    "hertz": 60.0,
    "volt_amperes": 40,
    "regulation_percent": 10,
    "thermostat_va": 3,
    "actuators": 4,
    "actuator_va": 5,
    "relay_va": 7,
    "length_ft": 1000,
    "gauge_awg": 18,
    "celsius": 20,
    "run_amps": 0.5,
    "near_volts": 24.0,
    "coil_ohm": 12,
    "pull_in_volts": 18,
    "nameplate_volts": 25,
    "rated_volts": 24,
}


def plain(**changes):
    """A circuit of round values, for published figures."""
    values = PLAIN | changes
    assert set(values) == {*lesson_01.DRAWS, "rated_volts"}
    return Circuit("half-cycle", "01", "anyone", tuple((name, value, "", "") for name, value in values.items()))


def some(count):
    return [circuit("half-cycle", "01", f"apprentice-{number}") for number in range(count)]


def taught(c):
    """The lesson's steps with its printed table and factors, each result rounded to four figures as on paper."""

    def four(value):
        return float(f"{value:.4g}")

    degrees = four(1 + 0.00393 * (c.celsius - 20))
    loop = four(2 * four(four(TABLE_OHM[c.gauge_awg] * c.length_ft / 1000) * degrees))
    allowed = four((c.near_volts - c.pull_in_volts) / four(c.pull_in_volts / c.coil_ohm))
    foot = four(2 * TABLE_OHM[c.gauge_awg] / 1000 * degrees)
    load = c.thermostat_va + c.actuators * c.actuator_va + c.relay_va
    return {
        "01-peak": 1.414 * c.meter_volts,
        "01-peak-to-peak": 2 * four(1.414 * c.meter_volts),
        "01-rms": c.scope_volts / 2 / 1.414,
        "01-period": four(1000 / c.hertz),
        "01-rated-amps": four(c.volt_amperes / c.rated_volts),
        "01-no-load": four(c.rated_volts * (1 + c.regulation_percent / 100)),
        "01-load-va": load,
        "01-load-percent": four(load / c.volt_amperes) * 100,
        "01-loop": loop,
        "01-far-volts": c.near_volts - four(c.run_amps * loop),
        "01-longest-run": allowed / foot,
        "01-class-2": four(100 / c.nameplate_volts),
    }


# The circuits.


def test_two_thousand_learners_have_two_thousand_circuits():
    assert len({one.entries for one in some(2000)}) > 1990


def test_every_circuit_could_be_built():
    """Nameplate within class 2, no secondary above 30 V rms (NEC chapter 9 table 11(A); UL 1585), E24 coils (IEC 60063)."""
    e24 = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30}
    for one in some(500):
        assert one.volt_amperes <= 100
        assert keys_01.no_load_volts(one) <= 30 and one.nameplate_volts <= 30 and one.scope_volts / math.sqrt(8) < 30.1
        assert one.pull_in_volts < one.near_volts < one.meter_volts < keys_01.no_load_volts(one)
        assert one.coil_ohm in e24


# The keys.


@pytest.mark.parametrize("item", KEYS)
def test_two_roads_lead_to_the_same_answer(item):
    for one in some(500):
        assert KEYS[item].second(one) == pytest.approx(KEYS[item].first(one), rel=ROADS_AGREE), one


@pytest.mark.parametrize("item", KEYS)
def test_what_the_lesson_teaches_is_well_inside_the_tolerance(item):
    for one in some(500):
        assert taught(one)[item] == pytest.approx(KEYS[item].first(one), rel=0.4 * KEYS[item].rel_tol), one.values()


PUBLISHED = [
    # 24 V rms is 33.9 V peak and 30 V rms is 42.4 V peak: published beside the class 2 table.
    ("01-peak", {"meter_volts": 24.0}, 33.9, 0.05),
    ("01-peak", {"meter_volts": 30.0}, 42.4, 0.05),
    # Form factors of a sine: peak to peak 2.828 rms.
    ("01-peak-to-peak", {"meter_volts": 1.0}, 2.828, 0.0005),
    ("01-rms", {"scope_volts": 2.0}, 0.70711, 5e-6),
    # 60 Hz: 16.67 ms, 50 Hz: 20 ms.
    ("01-period", {"hertz": 60.0}, 16.67, 0.005),
    ("01-period", {"hertz": 50.0}, 20.0, 1e-9),
    # NEC chapter 9 table 8, solid uncoated copper at 75 °C, 1,000 ft of both conductors.
    ("01-loop", {"gauge_awg": 18, "celsius": 75}, 2 * 7.77, 0.02),
    ("01-loop", {"gauge_awg": 14, "celsius": 75}, 2 * 3.07, 0.02),
    # The same from ASTM B258 and IEC 60028 at 20 °C, worked out apart from our code.
    ("01-loop", {"gauge_awg": 20, "celsius": 20}, 2 * 10.1526, 1e-3),
    ("01-loop", {"gauge_awg": 22, "celsius": 20}, 2 * 16.1432, 1e-3),
    # 0.5 A through 1,000 ft of 18 AWG at 20 °C and back loses 6.385 V (the table above, Ohm's law).
    ("01-far-volts", {}, 24 - 6.385, 0.001),
    # A quarter of 24 V in the wire and the rest in the coil: the loop is a third of the coil's 12 Ω, at 6.385 Ω per 1,000 ft.
    ("01-longest-run", {}, 4 / (2 * 6.385) * 1000, 0.1),
    # NEC chapter 9 table 11(A): nameplate current 100/V.
    ("01-class-2", {}, 4.0, 1e-9),
]


@pytest.mark.parametrize("item, changes, figure, within", PUBLISHED)
def test_published_worked_examples(item, changes, figure, within):
    assert KEYS[item].first(plain(**changes)) == pytest.approx(figure, abs=within)


def test_rms_from_the_scope_against_quadrature():
    """scipy.integrate.quad of the squared sine."""
    for one in some(20):
        square = quad(lambda turn, one=one: (one.scope_volts / 2 * math.sin(turn)) ** 2, 0, 2 * math.pi)[0]
        assert KEYS["01-rms"].first(one) == pytest.approx(math.sqrt(square / (2 * math.pi)), rel=1e-9)


@pytest.mark.parametrize("degrees", [0, 20, 45, 70, 90])
def test_a_real_coil_is_left_no_less_than_the_lesson_reckons(degrees):
    """The lesson says that a coil which is not a plain resistance loses less: phasors, any angle, the same ohms."""
    for one in some(50):
        coil = one.coil_ohm * complex(math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
        loop = Wire(one.gauge_awg, KEYS["01-longest-run"].first(one), one.celsius).loop_ohm
        left = abs(one.near_volts * coil / (coil + loop))
        assert left >= one.pull_in_volts * (1 - 1e-9)


# The traps.


@pytest.mark.parametrize("item", KEYS)
def test_no_wrong_road_comes_near_another(item):
    for one in some(300):
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
    of_the_map = {"rms-for-peak", "peak-to-peak-for-peak", "va-over-peak", "one-way-length", "regulation-wrong-base"}
    assert {*of_the_map, "percent-slip"} <= set(names)


def test_hints_name_a_cause_and_no_value_and_point_to_a_heading_of_the_notebook():
    for key in KEYS.values():
        assert key.section in HEADINGS, key.section
        for trap in TRAPS[key.item]:
            assert not re.search(r"\d", trap.hint), trap.hint
            assert trap.hint.endswith(".") and trap.section in HEADINGS


# The notebook.


def variable(item):
    return re.search(r"^(\w+) = \.\.\.$", SOURCES[f"{item}-answer"], re.MULTILINE)[1]


def solution(item):
    return SOURCES[f"{item}-answer"].split("### BEGIN SOLUTION\n")[1].split("\n### END SOLUTION")[0]


def test_the_notebooks_solutions_earn_full_marks_for_other_learners_and_not_for_the_next_one():
    tools = {"Supply": Supply, "Waveform": Waveform, "Wire": Wire, "meters": meters, "CLASS_2": CLASS_2}
    learners = some(41)
    for one, neighbour in itertools.pairwise(learners):
        room = {"circuit": one, "left_volts": left_volts, **tools}
        for item in KEYS:
            exec(solution(item), room)
        slips = {item: {"item": item, "value": float(room[variable(item)]), "unit": KEYS[item].unit} for item in KEYS}
        own = {item: marking.mark(slips[item], KEYS[item], TRAPS[item], one) for item in KEYS}
        assert {mark.verdict for mark in own.values()} == {"right"}
        copied = {item: marking.mark(slips[item], KEYS[item], TRAPS[item], neighbour) for item in KEYS}
        assert marking.total(copied) < 0.6 * marking.total(own)


@pytest.mark.parametrize("learner", ["apprentice-1", "Zoë", "guest"])
def test_run_from_top_to_bottom_as_a_learner_it_hands_in_what_is_right(learner, tmp_path):
    (tmp_path / ".halfcycle.json").write_text(
        json.dumps({"course": "half-cycle", "learner": learner}), encoding="utf-8"
    )
    environment = {name: value for name, value in os.environ.items() if not name.startswith("HALFCYCLE_")}
    book = nbformat.read(NOTEBOOK, as_version=4)
    client = NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}})
    client.execute(env=environment)
    slips = [out["data"][SLIP] for cell in book.cells for out in cell.get("outputs", []) if SLIP in out.get("data", {})]
    assert [slip["item"] for slip in slips] == list(KEYS)
    own = circuit("half-cycle", "01", learner)
    for slip in slips:
        assert marking.mark(slip, KEYS[slip["item"]], TRAPS[slip["item"]], own).verdict == "right"
    assert not any(out.output_type == "error" or out.get("name") == "stderr" for out in _outputs(book))


def _outputs(book):
    return [out for cell in book.cells for out in cell.get("outputs", [])]


def test_each_graded_item_has_its_question_its_answer_cell_and_its_locked_cell():
    graded = {n: c["metadata"]["nbgrader"] for n, c in CELLS.items() if c["metadata"].get("nbgrader", {}).get("grade")}
    assert list(graded) == list(KEYS)
    for item, key in KEYS.items():
        answer = CELLS[f"{item}-answer"]["metadata"]["nbgrader"]
        assert graded[item]["points"] == key.points and graded[item]["locked"] and graded[item]["grade_id"] == item
        assert answer["solution"] and not answer["locked"] and answer["grade_id"] == f"{item}-answer"
        assert SOURCES[item] == f'hand_in("{item}", {variable(item)}, "{key.unit}")'
        stated = "1 point" if key.points == 1 else f"{key.points} points"
        assert SOURCES[f"{item}-question"].startswith(f"### {item}: ") and f"({stated})" in SOURCES[f"{item}-question"]


def test_the_stated_tolerance_is_the_one_that_marks():
    """The notebook says 1 %, and half a per cent for one item."""
    assert "within **1 %**" in SOURCES["01-graded"] and "one question says otherwise" in SOURCES["01-graded"]
    for item, key in KEYS.items():
        special = "half a per cent" in SOURCES[f"{item}-question"]
        assert key.rel_tol == (0.005 if special else 0.01) and key.abs_tol == 0


def test_the_notebook_is_plain_and_its_cells_are_named_once():
    assert len(CELLS) == len(BOOK["cells"]) and all(name.startswith("01-") for name in CELLS)
    for cell in BOOK["cells"]:
        assert not cell.get("outputs") and cell.get("execution_count") is None
    assert [path.name for path in NOTEBOOK.parent.iterdir() if not path.name.startswith(".")] == [NOTEBOOK.name]


def test_questions_call_values_by_names_that_the_table_prints():
    printed = {name for name, *_ in circuit("half-cycle", "01", "guest").entries}
    called = {name for item in KEYS for name in re.findall(r"`(\w+)`", SOURCES[f"{item}-question"])}
    assert called == printed


def test_every_practice_item_knows_its_right_answer_and_tells_wrong_ones_apart():
    """Each `check` is run with its right answer and with each value that it has a hint for."""
    for name in (cell for cell in CELLS if cell.startswith("01-practice-") and cell.endswith("-check")):
        seen = []
        room = {"Wire": Wire, "check": lambda value, seen=seen, **options: seen.append(options)}
        exec(SOURCES[name], room | {variable(name.removesuffix("-check")): None})
        (options,) = seen
        values = [options["right"], *options["hints"]]
        for one, other in itertools.combinations(values, 2):
            assert abs(one - other) > 1.1 * options.get("tolerance", 0.01) * max(abs(one), abs(other)), (
                name,
                one,
                other,
            )


def test_a_blank_notebook_hands_in_no_answers(tmp_path):
    """The released form: every solution cut out, run top to bottom without a traceback, each item recorded as blank."""
    book = nbformat.read(NOTEBOOK, as_version=4)
    for cell in book.cells:
        cell.source = re.sub(r"### BEGIN SOLUTION\n.*?### END SOLUTION", "", cell.source, flags=re.DOTALL)
    NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}).execute()
    slips = [out["data"][SLIP] for out in _outputs(book) if SLIP in out.get("data", {})]
    assert [(slip["item"], slip["value"]) for slip in slips] == [(item, None) for item in KEYS]


def test_the_bench_has_what_the_lesson_tells_to_press_and_read():
    """Bold words in the list of things to try are controls, situations or readings of the bench."""
    there = {part.words for part in (*bench_01.CONTROLS, *bench_01.SITUATIONS)} | {"Reset"}
    there |= {reading.words for reading in bench_01.state(bench_01.start()).readings}
    said = {name for line in SOURCES["01-bench"].splitlines() if line[:1].isdigit() for name in BOLD.findall(line)}
    assert len(said) >= 6 and said <= there
    assert set(BOLD.findall(SOURCES["01-longest-thumb"])) & there


def test_the_bench_does_for_every_learner_what_the_lesson_says():
    """“Long thin run” leaves the relay out, and a short run brings it back."""
    for one in some(40):
        settings = bench_01.start(one)
        long_thin = replace(settings, **bench_01.SITUATIONS[1].changes)
        assert not bench_01.pulls_in(long_thin)
        assert bench_01.pulls_in(replace(long_thin, length_ft=10.0))

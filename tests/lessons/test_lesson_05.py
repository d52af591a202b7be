"""Lesson 05: its circuits, its two keys, its traps and its notebook, held against each other and against SciPy."""

import ast
import functools
import itertools
import json
import re
from math import asin, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from autograde import marking
from autograde.keys import lesson_05 as keys_05
from autograde.keys.reservoir import Reservoir
from halfcycle import Supply, meters, rectify
from halfcycle.variants import Circuit, circuit, lesson_05

FOLDER = Path(__file__).parents[2] / "lessons" / "05_a_capacitor_behind_the_diode"
NOTEBOOK = FOLDER / "05_a_capacitor_behind_the_diode.ipynb"
KEYS, TRAPS = marking.load("05")
OF_THE_BENCH = ("volt_amperes", "regulation_percent", "load_ohm", "capacitor_microfarad")
ROADS_AGREE = 5e-4


@functools.cache
def every_core():
    """All rectifiers that can be drawn, the other values taken in turn from their lists."""
    others = {name: itertools.cycle(draw.choices) for name, draw in lesson_05.DRAWS.items() if name not in OF_THE_BENCH}
    found = []
    for values in itertools.product(*(lesson_05.DRAWS[name].choices for name in OF_THE_BENCH)):
        drawn = dict(zip(OF_THE_BENCH, values, strict=True)) | {name: next(turn) for name, turn in others.items()}
        if lesson_05.accept(drawn):
            found.append(_circuit(drawn))
    return found


def _circuit(drawn):
    entries = [(name, value, "", "") for name, value in drawn.items()]
    entries += [(name, value, unit, words) for name, (value, unit, words) in lesson_05.derived(drawn).items()]
    return Circuit("half-cycle", "05", "anyone", tuple(entries))


def some(count):
    return [circuit("half-cycle", "05", f"apprentice-{number}") for number in range(count)]


# The circuits.


def test_two_thousand_learners_have_two_thousand_circuits():
    assert len({one.entries for one in some(2000)}) > 1990


def test_the_source_is_the_transformer_of_lesson_01():
    for one in some(50):
        supply = Supply.from_rating(one.volt_amperes, 24.0, one.regulation_percent / 100)
        assert supply.volts_rms == pytest.approx(one.volts_rms, rel=1e-9)
        assert supply.resistance_ohm == pytest.approx(one.source_ohm, abs=0.005)


def test_capacitors_and_resistors_can_be_bought():
    """IEC 60063, E24 for the resistors, E12 for the capacitors."""
    e24 = sorted([*keys_05.E12, 1.1, 1.3, 1.6, 2.0, 2.4, 3.0, 3.6, 4.3, 5.1, 6.2, 7.5, 9.1])
    for name, series in (("load_ohm", e24), ("bleeder_ohm", keys_05.E12), ("capacitor_microfarad", keys_05.E12)):
        for value in lesson_05.DRAWS[name].choices:
            assert float(f"{value:e}".split("e")[0]) in series, (name, value)


# The keys.


@pytest.mark.parametrize("item", KEYS)
def test_two_roads_lead_to_the_same_answer(item):
    """Twenty times closer than the marking allows; test_keys_twice.py holds them together over 500 circuits."""
    key = KEYS[item]
    for one in some(60):
        assert key.second(one) == pytest.approx(key.first(one), rel=ROADS_AGREE), one


@pytest.mark.parametrize("item", KEYS)
def test_no_wrong_road_comes_near_another_in_any_rectifier_that_can_be_drawn(item):
    key = KEYS[item]
    for one in every_core():
        roads = marking.roads(key, TRAPS[item], one)
        for left, right in itertools.combinations(roads, 2):
            apart = abs(left.value - right.value) / max(abs(left.value), abs(right.value))
            assert apart > 1.01 * key.rel_tol, (left.verdict, right.verdict, one.values())


@pytest.mark.parametrize("pulses, load_ohm, microfarad", [(1, 330.0, 470.0), (1, 150.0, 390.0), (2, 330.0, 220.0)])
def test_the_steady_state_is_where_scipy_settles(pulses, load_ohm, microfarad):
    """solve_ivp (SciPy, LSODA) through thirty cycles of the same law of the diode, by small steps."""
    peak, loop_ohm, drop, farad = 24.0 * sqrt(2), 1.25, 0.7, microfarad * 1e-6

    def amps(seconds, volts):
        source = peak * np.sin(2 * pi * 60 * seconds)
        return np.maximum((abs(source) if pulses == 2 else source) - drop - volts, 0) / loop_ohm

    def slope(seconds, volts):
        return (amps(seconds, volts) - volts / load_ohm) / farad

    seconds = np.linspace(29 / 60, 30 / 60, 4001)
    run = solve_ivp(slope, (0, seconds[-1]), [0.0], "LSODA", seconds, rtol=1e-8, atol=1e-8, max_step=2e-4)
    volts, charging = run.y[0], amps(seconds, run.y[0])
    ours = Reservoir(peak, loop_ohm, drop, load_ohm, farad, pulses=pulses).steady()
    assert ours.mean_volts == pytest.approx(np.trapezoid(volts, seconds) * 60, rel=1e-4)
    assert ours.ripple_volts == pytest.approx(np.ptp(volts), rel=1e-3)
    assert ours.ripple_rms_volts == pytest.approx(volts.std(), rel=2e-3)
    assert ours.diode_peak_amps == pytest.approx(charging.max(), rel=1e-3)
    assert ours.conduction_degrees == pytest.approx(360 * (charging[:-1] > 0).mean() / pulses, abs=0.2)


def test_the_rule_of_thumb_overstates_as_published():
    """8 to 29 % for one diode, 12 to 44 % for four, 1.2 Ω in the loop, 330 Ω and 1 kΩ, mean current (course notes, computed).

    Their capacitors run down to 47 µF, where four diodes come to 43 %; the note's 44 % is met within a point.
    """
    for pulses, least, most in ((1, 8, 29), (2, 12, 44)):
        over = []
        for load_ohm, microfarad in itertools.product((330.0, 1000.0), (47, 100, 220, 470, 1000)):
            ours = Reservoir(24 * sqrt(2), 1.2, 0.7 * pulses, load_ohm, microfarad * 1e-6, pulses=pulses).steady()
            rule = ours.mean_volts / load_ohm / (60 * pulses * microfarad * 1e-6)
            over.append(100 * (rule / ours.ripple_volts - 1))
        assert min(over) == pytest.approx(least, abs=1) and max(over) == pytest.approx(most, abs=1.5)


def test_the_steady_state_meets_the_rule_where_the_rule_is_exact():
    """No resistance to speak of and a huge capacitor: pulses short as a needle, top at peak − drop, ripple I/(fC)."""
    ours = Reservoir(34.0, 1e-5, 0.7, 1000.0, 0.01).steady()
    assert ours.top_volts == pytest.approx(33.3, rel=1e-4)
    assert ours.ripple_volts == pytest.approx(33.3 / 1000 / (60 * 0.01), rel=0.02)
    assert 90 - ours.conduction_degrees < 180 * asin(1 - ours.ripple_volts / 34) / pi + 5


def test_switching_on_at_the_crest_is_the_worst():
    one = circuit("half-cycle", "05", "guest")
    supply, farad = Supply(one.volts_rms, 60.0, one.source_ohm), one.capacitor_microfarad * 1e-6

    def first_peak(degrees):
        run = rectify(supply, load_ohm=one.load_ohm, capacitor_farad=farad, cycles=1, start_degrees=degrees)
        return meters.peak(run.diode_amps)

    peaks = {degrees: first_peak(degrees) for degrees in range(0, 360, 10)}
    assert max(peaks, key=peaks.get) == 90
    assert peaks[90] == pytest.approx(KEYS["05-inrush"].first(one), rel=1e-9)
    assert peaks[0] < 0.9 * peaks[90]


def test_preferred_values_go_up_and_never_down():
    """IEC 60063, E12."""
    assert [keys_05.next_e12(least) for least in (1000, 1000.1, 820, 821, 3.31, 0.99)] == [
        1000,
        1200,
        820,
        1000,
        3.9,
        1.0,
    ]


# Marking and the notebook.


def test_hints_name_causes_and_no_values():
    for traps in TRAPS.values():
        for trap in traps:
            assert not re.search(r"\d", trap.hint), trap.name


def test_there_are_at_least_eight_misconceptions():
    assert len({trap.name for traps in TRAPS.values() for trap in traps}) >= 8


def test_each_planted_misconception_is_found():
    for one in some(100):
        for item, key in KEYS.items():
            for trap in TRAPS[item]:
                slip = {"item": item, "value": float(f"{trap.value(one):.4g}"), "unit": key.unit}
                assert marking.mark(slip, key, TRAPS[item], one).verdict == f"trap:{trap.name}"


@pytest.fixture(scope="module")
def cells():
    return json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]


def _source(cell):
    return "".join(cell["source"])


def test_every_section_named_by_a_key_or_a_trap_is_a_heading(cells):
    text = "\n".join(_source(cell) for cell in cells if cell["cell_type"] == "markdown")
    headings = set(re.findall(r"^#+ (.+)$", text, re.MULTILINE))
    wanted = {key.section for key in KEYS.values()} | {trap.section for traps in TRAPS.values() for trap in traps}
    assert wanted <= headings, wanted - headings


def test_every_key_has_its_graded_cell_with_its_points(cells):
    graded = {cell["id"]: cell for cell in cells if cell["metadata"].get("nbgrader", {}).get("grade")}
    assert set(graded) == set(KEYS)
    for item, cell in graded.items():
        about = cell["metadata"]["nbgrader"]
        assert (about["grade_id"], about["points"], about["locked"]) == (item, KEYS[item].points, True)
        assert re.fullmatch(rf'hand_in\("{item}", (\w+), "{re.escape(KEYS[item].unit)}"\)', _source(cell))
        name = re.search(r", (\w+),", _source(cell)).group(1)
        answer = next(other for other in cells if other["id"] == f"{item}-answer")
        assert f"\n{name} = ...\n### BEGIN SOLUTION\n" in _source(answer)


def test_questions_state_points_and_tolerance_of_their_keys(cells):
    for item, key in KEYS.items():
        question = next(_source(cell) for cell in cells if cell["id"] == f"{item}-question")
        exact = item in ("05-capacitor", "05-working-volts")
        assert ("exactly as it stands" if exact else f"within {100 * key.rel_tol:.0f} %") in question
        assert f"{key.points} point" in question


def test_the_worked_example_takes_no_name_of_the_learners_own_circuit(cells):
    """An apprentice who types `volts_rms` must never silently get the example's value."""
    own = set(circuit("half-cycle", "05", "guest").values())
    for cell in cells:
        if cell["cell_type"] == "code":
            names = {node.id for node in ast.walk(ast.parse(_source(cell))) if isinstance(node, ast.Name)}
            assert not names & own, (cell["id"], names & own)


@pytest.mark.parametrize("learner", ["rosa.quill", "ned.marsh"])
def test_the_solved_notebook_earns_full_points_for_its_learner(learner, monkeypatch, tmp_path):
    import nbformat
    from nbclient import NotebookClient

    monkeypatch.setenv("HALFCYCLE_LEARNER", learner)
    book = nbformat.read(NOTEBOOK, as_version=4)
    NotebookClient(book, timeout=120, resources={"metadata": {"path": str(tmp_path)}}).execute()
    slips = {
        output["data"]["application/vnd.halfcycle.slip+json"]["item"]: output["data"][
            "application/vnd.halfcycle.slip+json"
        ]
        for cell in book.cells
        for output in cell.get("outputs", ())
        if "application/vnd.halfcycle.slip+json" in output.get("data", {})
    }
    own = circuit("half-cycle", "05", learner)
    marks = {item: marking.mark(slips.get(item), key, TRAPS[item], own) for item, key in KEYS.items()}
    assert {item: one.verdict for item, one in marks.items()} == dict.fromkeys(KEYS, "right")

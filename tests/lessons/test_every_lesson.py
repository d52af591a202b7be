"""Every lesson against its keys and traps, and the golden check: its own solutions as 200 learners, and copied by the next.

The solutions are run cell by cell in the names that the notebook's own imports bring; that the notebooks run as a whole
is nbval's part.
"""

import ast
import json
import re
from collections import Counter
from pathlib import Path

import pytest

from autograde import marking
from autograde.marking import TABLE
from halfcycle import variants

LESSONS = Path(__file__).resolve().parents[2] / "lessons"
BOOKS = {path.stem[:2]: path for path in sorted(LESSONS.glob("*/*.ipynb"))}
SOLVED = re.compile(r"### BEGIN SOLUTION\n(.*?)\n### END SOLUTION", re.DOTALL)
LEARNERS = [f"apprentice-{number}" for number in range(200)]
each_lesson = pytest.mark.parametrize("lesson", BOOKS)


def cells(lesson):
    return {
        c["id"]: c | {"source": "".join(c["source"])} for c in json.loads(BOOKS[lesson].read_text("utf-8"))["cells"]
    }


def imported(lesson):
    """The names that the lesson's code cells import, and the functions that they define."""
    sources = [SOLVED.sub("", cell["source"]) for cell in cells(lesson).values() if cell["cell_type"] == "code"]
    parsed = [step for source in sources for step in ast.parse(source).body]
    steps = [
        step for step in parsed if isinstance(step, ast.Import | ast.ImportFrom | ast.FunctionDef) or constant(step)
    ]
    room = {}
    exec(compile(ast.Module(steps, []), lesson, "exec"), room)
    return room


def constant(step):
    """Whether a step names a table for later, in capitals."""
    return isinstance(step, ast.Assign) and all(isinstance(t, ast.Name) and t.id.isupper() for t in step.targets)


def solutions(lesson):
    """For each graded item, its variable and its compiled solution, in the order of the notebook."""
    keys, _ = marking.load(lesson)
    found, sources = {}, cells(lesson)
    for item in keys:
        answer = sources[f"{item}-answer"]["source"]
        name = re.search(r"^(\w+) = \.\.\.$", answer, re.MULTILINE)[1]
        found[item] = name, compile(SOLVED.search(answer)[1], item, "exec")
    return found


def plain(value):
    return [int(entry) for entry in value] if isinstance(value, list | tuple) else float(value)


def answered(lesson, circuit, room, solved):
    """The slips that the lesson's solutions hand in for one circuit."""
    keys, _ = marking.load(lesson)
    room = room | {"circuit": circuit}
    slips = {}
    for item, (name, code) in solved.items():
        exec(code, room)
        slips[item] = {"item": item, "value": plain(room[name]), "unit": keys[item].unit}
    return slips


def alike(keys, one, other):
    """Whether two circuits are so near each other that every answer fits both."""
    return all(marking.fits(key.first(one), key.first(other), key) for key in keys.values())


@each_lesson
def test_solutions_earn_full_marks_for_200_learners_and_not_for_the_next(lesson):
    keys, traps = marking.load(lesson)
    room, solved = imported(lesson), solutions(lesson)
    circuits = [variants.circuit("half-cycle", lesson, learner) for learner in LEARNERS]
    handed = [answered(lesson, circuit, room, solved) for circuit in circuits]
    skipped = 0
    for at, (own, slips) in enumerate(zip(circuits, handed, strict=True)):
        verdicts = {item: marking.mark(slips[item], keys[item], traps[item], own).verdict for item in keys}
        assert set(verdicts.values()) == {"right"}, (own.learner, verdicts)
        following = next(other for other in circuits[at + 1 :] + circuits[:at] if not alike(keys, own, other))
        skipped += following is not circuits[(at + 1) % len(circuits)]
        copied = {item: marking.mark(slips[item], keys[item], traps[item], following) for item in keys}
        assert marking.total(copied) < sum(key.points for key in keys.values()), own.learner
        flagged = [
            item for item in keys if own.learner in marking.fits_other(slips[item], keys[item], following, [own])
        ]
        assert flagged == [item for item in keys if copied[item].verdict != "right"], own.learner
    assert skipped <= 2, "too many neighbours have circuits that cannot be told apart"


@each_lesson
def test_the_notebook_has_the_items_points_and_units_of_the_keys(lesson):
    keys, _ = marking.load(lesson)
    graded = {
        name: cell for name, cell in cells(lesson).items() if cell["metadata"].get("nbgrader", {}).get("grade")
        and not cell["metadata"]["nbgrader"].get("solution")
    }  # fmt: skip
    assert list(graded) == list(keys)
    for item, key in keys.items():
        assert graded[item]["metadata"]["nbgrader"]["points"] == key.points, item
        assert graded[item]["source"].endswith(f', "{key.unit}")'), item


@each_lesson
def test_the_tolerance_that_is_stated_is_the_one_that_marks(lesson):
    keys, _ = marking.load(lesson)
    sources = {name: cell["source"].replace("**", "") for name, cell in cells(lesson).items()}
    head = next(text for name, text in sources.items() if name.endswith("-graded"))
    for item, key in keys.items():
        question = sources[f"{item}-question"]
        if key.unit == TABLE or "exact" in question:
            continue
        stated = re.search(r"within ([\d.]+) %", question) or re.search(r"within ([\d.]+) %", head)
        percent = 0.5 if "half a per cent" in question else float(stated[1]) if stated else None
        absolute = re.search(r"within ([\d.]+) (?!%)\S+", question)
        if absolute and key.abs_tol:
            assert float(absolute[1]) == pytest.approx(key.abs_tol), item
        else:
            assert percent == pytest.approx(100 * key.rel_tol), item


@each_lesson
def test_hints_name_a_cause_no_value_and_a_section_that_is_there(lesson):
    keys, traps = marking.load(lesson)
    lines = [
        line
        for cell in cells(lesson).values()
        if cell["cell_type"] == "markdown"
        for line in cell["source"].splitlines()
    ]
    headings = {line.lstrip("# ").strip() for line in lines if line.startswith("#")}
    for item, key in keys.items():
        assert key.section in headings, (item, key.section)
        for trap in traps[item]:
            assert trap.section in headings, (item, trap.name, trap.section)
            assert not re.search(r"\d", trap.hint) and trap.hint.endswith("."), (item, trap.name)
            assert 0 <= trap.share < 1, (item, trap.name)


@each_lesson
def test_every_trap_is_recognised_by_name_when_typed_to_four_figures(lesson):
    keys, traps = marking.load(lesson)
    for learner in LEARNERS[:60]:
        own = variants.circuit("half-cycle", lesson, learner)
        for item, key in keys.items():
            for trap in traps[item]:
                value = trap.value(own)
                typed = list(value) if key.unit == TABLE else float(f"{value:.4g}")
                mark = marking.mark({"item": item, "value": typed, "unit": key.unit}, key, traps[item], own)
                assert mark.verdict == f"trap:{trap.name}", (learner, item, trap.name, mark.verdict)


def test_the_course_has_80_items_and_60_traps():
    loaded = [marking.load(lesson) for lesson in BOOKS]
    names = Counter(trap.name for _, traps in loaded for ways in traps.values() for trap in ways)
    places = sum(names.values())
    assert sum(len(keys) for keys, _ in loaded) >= 80
    assert len(names) >= 60 and places >= 200, (len(names), places)
    assert list(BOOKS) == [f"{number:02d}" for number in range(11)]

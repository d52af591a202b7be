"""Every misbehaving hand-in of make.py, graded for real behind the fence: no undeserved point, and no deserved one lost."""

import json

import pytest
from lesson import right_answers
from made_course import COURSE, NEIGHBOUR, hand_in_recipe, new_course
from make import RECIPES

from autograde.grading import NOT_GRADED, grade
from autograde.marking import load
from autograde.records import mark_slips, marks_path, read
from halfcycle.variants import circuit

NUMBER = "05"


@pytest.fixture(scope="module")
def graded(tmp_path_factory, needs_fence, short_patience):
    """The course after one `grade` of all recipes: ``(course, lesson, {name: Outcome}, {name: points in the gradebook})``."""
    from autograde.course import gradebook

    course, lesson, released = new_course(tmp_path_factory.mktemp("cohort"), NUMBER, RECIPES)
    for recipe in RECIPES.values():
        hand_in_recipe(course, lesson, released, recipe)
    summary = grade(course)
    assert not summary.strays
    with gradebook(course) as book:
        scores = {one.student.id: one.score for one in book.find_assignment(lesson).submissions}
    return course, lesson, {one.learner: one for one in summary.outcomes}, scores


def test_nobody_is_forgotten(graded):
    _, _, outcomes, _ = graded
    assert set(outcomes) == set(RECIPES)


@pytest.mark.parametrize("name", RECIPES)
def test_pays_what_is_deserved(graded, name):
    course, lesson, outcomes, scores = graded
    recipe, outcome = RECIPES[name], outcomes[name]
    if recipe.pays == "not graded":
        assert outcome.status == NOT_GRADED
        assert not scores.get(name)
        return
    marks = read(marks_path(course, name, lesson))
    items = list(marks["items"].values())
    paid = [one["points"] for one in items]
    full = [one["possible"] for one in items]
    deserved = {"nothing": [0.0] * len(full), "everything": full}
    if recipe.pays == "by value":
        deserved["by value"] = [mark.points for mark in _by_value(lesson, name).values()]
    deserved["before"] = full[: len(full) // 2] + [0.0] * (len(full) - len(full) // 2)
    assert paid == deserved[recipe.pays], [(item, one["verdict"]) for item, one in marks["items"].items()]
    assert scores[name] == outcome.points == sum(paid)


def _by_value(lesson, name):
    """What the right answers of the neighbour are worth for the circuit of ``name``; some are right for both."""
    keys, traps = load(lesson)
    theirs = right_answers(NUMBER, circuit(COURSE, lesson, NEIGHBOUR))
    slips = {item: {"item": item, "value": value, "unit": keys[item].unit} for item, value in theirs.items()}
    marks = mark_slips(slips, keys, traps, circuit(COURSE, lesson, name))
    assert sum(one.points < keys[item].points for item, one in marks.items()) > 0
    return marks


def test_there_are_enough_of_them():
    assert len(RECIPES) >= 60


@pytest.mark.parametrize("name", RECIPES)
def test_one_sentence_is_said(graded, name):
    assert len(graded[2][name].person) <= 1


@pytest.mark.parametrize("name", RECIPES)
def test_asks_for_a_person_where_one_is_needed(graded, name):
    recipe, outcome = RECIPES[name], graded[2][name]
    assert bool(outcome.person) == bool(recipe.person), outcome.person
    assert recipe.person in " ".join(outcome.person)


@pytest.mark.parametrize("name", RECIPES)
def test_leaves_nothing_that_acts_in_a_browser(graded, name):
    course, lesson, _, _ = graded
    path = course / "autograded" / name / lesson / f"{lesson}.ipynb"
    if RECIPES[name].pays == "not graded":
        assert not path.exists()
        return
    nb = json.loads(path.read_text(encoding="utf-8"))
    shown = [cell["source"] for cell in nb["cells"] if cell["cell_type"] == "markdown"]
    outputs = [output for cell in nb["cells"] for output in cell.get("outputs", [])]
    shown += [output["data"].get("text/html", "") for output in outputs if "data" in output]
    kinds = {kind for output in outputs for kind in output.get("data", {})}
    assert kinds <= {"text/plain", "text/html", "image/png", "image/jpeg"}
    assert not [text for text in map("".join, shown) for sign in ("<script", "onerror", "](javascript") if sign in text]
    assert len(json.dumps(outputs)) < 5_000_000


def test_what_is_no_harm_is_still_shown(graded):
    course, lesson, _, _ = graded
    text = (course / "autograded" / "shows_hostile_pages" / lesson / f"{lesson}.ipynb").read_text(encoding="utf-8")
    assert "kept" in text


def test_the_search_for_keys_would_find_them_without_a_fence(tmp_path, short_patience):
    """The recipe is no dummy: where nothing stops it, it is paid."""
    course, lesson, released = new_course(tmp_path, NUMBER, ["looks_for_the_keys"])
    hand_in_recipe(course, lesson, released, RECIPES["looks_for_the_keys"])
    (outcome,) = grade(course, unfenced=True).outcomes
    assert outcome.points == outcome.possible

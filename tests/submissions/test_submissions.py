"""Every misbehaving hand-in of make.py, graded for real behind the fence: no undeserved point, and no deserved one lost."""

import json

import pytest
from made_course import hand_in_recipe, new_course
from make import RECIPES

from autograde.grading import NOT_GRADED, grade
from autograde.records import marks_path, read

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
    deserved["before"] = full[: len(full) // 2] + [0.0] * (len(full) - len(full) // 2)
    assert paid == deserved[recipe.pays], [(item, one["verdict"]) for item, one in marks["items"].items()]
    assert scores[name] == outcome.points == sum(paid)


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

"""A course in a temporary folder, with a lesson made for tests and what its learners handed in."""

import copy
import json
import logging
from dataclasses import replace

import nbformat
from lesson import fill, made_source, right_answers, write
from make import WRONG

from autograde import course as courses
from autograde.fence import Limits
from halfcycle.variants import circuit

__all__ = ["COURSE", "LIMITS", "NEIGHBOUR", "hand_in_recipe", "new_course"]

COURSE = "made-for-tests"
NEIGHBOUR = "is_perfect"
LIMITS = replace(Limits(), cell_seconds=4, notebook_seconds=60, memory_bytes=2 * 2**30)


def new_course(folder, number, learners):
    """Make a course in ``folder`` with lesson ``number`` made from its keys and released; return ``(folder, lesson, released)``."""
    from nbgrader.converters import GenerateAssignment
    from nbgrader.coursedir import CourseDirectory

    course, lesson = folder / "course", f"{number}_made_for_tests"
    write(folder / "lessons" / lesson / f"{lesson}.ipynb", made_source(number))
    course.mkdir()
    (course / "course.json").write_text(f'{{"course": "{COURSE}"}}', encoding="utf-8")
    (course / "roster.csv").write_text(
        "\n".join(["id,first,last", *(f"{one},," for one in learners)]), encoding="utf-8"
    )
    c = courses.config(course)
    c.CourseDirectory.source_directory = str(folder / "lessons")
    c.CourseDirectory.assignment_id = lesson
    logging.getLogger("traitlets").setLevel(logging.ERROR)
    GenerateAssignment(coursedir=CourseDirectory(config=c), config=c).start()
    return course, lesson, nbformat.read(course / "release" / lesson / f"{lesson}.ipynb", as_version=4)


def hand_in_recipe(course, lesson, released, recipe):
    """Put what ``recipe`` makes under ``submitted/`` for the learner of its name."""
    whose = NEIGHBOUR if recipe.pays == "by value" else recipe.name
    right = right_answers(lesson[:2], circuit(COURSE, lesson, whose))
    given = right if recipe.start == "right" else dict.fromkeys(right, WRONG)
    nb = fill(copy.deepcopy(released), given)
    raw = recipe.change(nb, right)
    data = json.dumps(nb).encode() if raw is None else raw
    path = course / "submitted" / recipe.name / lesson / f"{lesson}.ipynb"
    path.parent.mkdir(parents=True)
    (recipe.place or type(path).write_bytes)(path, data)

"""Feedback pages for the learners, through nbgrader's own generate_feedback."""

from __future__ import annotations

import logging
from pathlib import Path

from nbgrader.converters import GenerateFeedback
from nbgrader.converters.base import NbGraderException
from nbgrader.coursedir import CourseDirectory

from autograde import course as courses

__all__ = ["feedback"]


def feedback(course: Path, progress=iter) -> list[str]:
    """Write ``feedback/LEARNER/LESSON/LESSON.html`` for everything that is graded; a sentence for each that could not be."""
    graded = sorted((course / "autograded").glob("*/*/*.ipynb"))
    return [said for path in progress(graded) if (said := _one(course, path.parts[-3], path.parts[-2]))]


def _one(course: Path, learner: str, lesson: str) -> str:
    config = courses.config(course)
    config.GenerateFeedback.force = True
    config.CourseDirectory.student_id, config.CourseDirectory.assignment_id = learner, lesson
    converter = GenerateFeedback(coursedir=CourseDirectory(config=config), config=config)
    converter.log = logging.getLogger("autograde.feedback")
    converter.log.propagate = False
    converter.log.handlers = converter.log.handlers or [logging.NullHandler()]
    try:
        converter.start()
    except (NbGraderException, OSError) as error:
        return f"{learner}, {lesson}: no feedback page could be written ({error or 'it is not in the gradebook'}); grade it again."
    return ""

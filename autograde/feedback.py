"""Feedback pages for the learners, through nbgrader's own generate_feedback.

`LeadWithMarks` is a step of nbgrader's: marks and hints on top, then the graded items alone. `offline` is its hook
after each page: nbgrader's template fetches a formula renderer from the network, which the lessons do not need.
"""

from __future__ import annotations

import logging
import re
from html import escape
from pathlib import Path

from jinja2 import BytecodeCache
from nbconvert.exporters import HTMLExporter
from nbformat.v4 import new_markdown_cell
from nbgrader.converters import GenerateFeedback
from nbgrader.converters.base import NbGraderException
from nbgrader.coursedir import CourseDirectory
from nbgrader.preprocessors import NbGraderPreprocessor

from autograde import course as courses
from autograde.by_hand import hand_marked
from autograde.files import write_whole
from autograde.preprocessors.mark_slips import graded_cells

__all__ = ["LeadWithMarks", "feedback", "offline"]

_FROM_NETWORK = re.compile(r"""<script\b[^>]*\bsrc=["']https?://[^>]*>\s*</script>""", re.IGNORECASE)
_STYLE = """<style>
#toc, .anchor-link, div.prompt, .prompt, .output_prompt { display: none; }
body { padding: 0; } .panel-heading h4 { font-size: 22px; overflow-wrap: anywhere; }
div.nbgrader_cell .panel-heading { height: auto; overflow: hidden; }
div.nbgrader_cell .panel-heading .pull-right a { color: #fff !important; text-decoration: underline; } .text_cell_render a, .own-marks a { text-decoration: underline; }
div.input_area, .highlight, .highlight pre { background: #fff; } .highlight .c1, .highlight .c { color: #2d6161; }
.own-marks { border-collapse: collapse; margin: 0 0 2em; width: 100%; }
.own-marks th, .own-marks td { text-align: left; vertical-align: top; padding: .4em 1em .4em 0; border: 0; background: #fff; }
.own-marks tr { border-bottom: 1px solid #ccc; } .own-marks th, .own-marks .number { white-space: nowrap; font-weight: bold; }
@media (max-width: 40rem) {
  #notebook-container { padding: 0; } .container { padding: 0 6px; } .panel-body { padding: 8px; } pre { white-space: pre-wrap; }
  .own-marks, .own-marks tbody, .own-marks tr, .own-marks td { display: block; } .own-marks thead { display: none; }
  .own-marks tr { padding: .4em 0; } .own-marks tr > * { display: inline-block; padding: 0 1em 0 0; } .own-marks td.said { display: block; }
}
</style>"""


class LeadWithMarks(NbGraderPreprocessor):
    """One table of marks and hints on top, then the graded items and the learner's own cells; the lesson they have already."""

    def preprocess(self, nb, resources):
        """Return the notebook as it is to be shown; the points are those of the gradebook, changes by hand included."""
        graded = graded_cells(nb)
        rows = [_row(item, cell) for item, cell in graded.items()]
        texts = hand_marked(nb)
        waiting = _waiting(resources) if texts else ()
        rows += [_text_row(item, cell, item in waiting) for item, cell in texts.items()]
        for cell in graded.values():
            cell.outputs = [output for output in cell.outputs if output.output_type != "execute_result"]
        nb.cells = [new_markdown_cell(_STYLE + "\n\n" + _table(rows), id="own-marks"), *_shown(nb.cells)]
        return nb, resources


def _shown(cells):
    """The title, every graded item with its question, and the learner's own cells."""
    after = [*cells[1:], None]
    return [
        cell
        for at, (cell, following) in enumerate(zip(cells, after, strict=True))
        if at == 0
        or _is_graded(cell)
        or str(cell.get("id", "")).startswith("own-")
        or (cell.cell_type == "markdown" and following is not None and _is_graded(following))
    ]


def _is_graded(cell) -> bool:
    marking = cell.metadata.get("nbgrader", {})
    return any(marking.get(part) for part in ("grade", "solution", "task"))


def _row(item: str, cell) -> tuple[float, str]:
    """``(share of the points, table row)`` of one graded cell."""
    score, most = float(cell.metadata.nbgrader.get("score") or 0), float(cell.metadata.nbgrader.get("points") or 0)
    lines = _said(cell)
    handed, told = (lines[0], lines[-1]) if len(lines) > 1 else ("", "Not marked yet.")
    handed = "" if handed == "Handed in: nothing." else handed  # what follows says it in words
    by_hand = " Changed by hand." if len(lines) > 1 and not lines[1].startswith(f"{score:g} of ") else ""
    cells = (
        f'<td class="number">{score:g} of {most:g}</td><td class="said">{escape(handed)} {escape(told + by_hand)}</td>'
    )
    return (
        score / most if most else 1.0
    ), f'<tr><th scope="row"><a href="#{escape(item)}">{escape(item)}</a></th>{cells}</tr>'


def _waiting(resources) -> list[str]:
    """The texts of this hand-in that nobody has marked yet."""
    from nbgrader.api import Gradebook

    place = resources["nbgrader"]
    with Gradebook(place["db_url"]) as book:
        grades = book.find_submission_notebook(place["notebook"], place["assignment"], place["student"]).grades
        return [grade.name for grade in grades if grade.needs_manual_grade]


def _text_row(item: str, cell, waits: bool) -> tuple[float, str]:
    """The same of a text: what a person gave for it; their comments stand beside the text."""
    score, most = float(cell.metadata.nbgrader.get("score") or 0), float(cell.metadata.nbgrader.get("points") or 0)
    said = "Your text. It has not been marked yet." if waits else "Your text. What was said to it stands beside it."
    cells = f'<td class="number">{score:g} of {most:g}</td><td class="said">{escape(said)}</td>'
    return score / most, f'<tr><th scope="row"><a href="#{escape(item)}">{escape(item)}</a></th>{cells}</tr>'


def _said(cell) -> list[str]:
    """The lines that the marking left in a graded cell: what was handed in, the points, and why."""
    shown = [output for output in cell.outputs if output.output_type == "display_data"]
    return str(shown[0].data.get("text/plain", "")).splitlines() if shown else []


def _table(rows: list[tuple[float, str]]) -> str:
    """Least points first, for there is the work to do."""
    body = "".join(row for _, row in sorted(rows, key=lambda pair: pair[0]))
    head = "<tr><th>Item</th><th>Points</th><th>What you handed in, and what to look at again</th></tr>"
    return f'<table class="own-marks"><thead>{head}</thead><tbody>{body}</tbody></table>' if rows else ""


def offline(assignment, student, notebooks) -> None:
    """Take out of fresh feedback pages whatever would fetch a script from the network, and say their language (nbgrader's hook after each one)."""
    for graded in map(Path, notebooks):
        learner, lesson, course = graded.parts[-3], graded.parts[-2], graded.parents[3]
        page = course / "feedback" / learner / lesson / f"{graded.stem}.html"
        if page.is_file():
            text = _FROM_NETWORK.sub("", page.read_text(encoding="utf-8"))
            write_whole(page, text.replace("<html>", '<html lang="en">', 1))


def feedback(course: Path, progress=iter) -> list[str]:
    """Write ``feedback/LEARNER/LESSON/LESSON.html`` for everything that is graded; a sentence for each that could not be."""
    graded = sorted((course / "autograded").glob("*/*/*.ipynb"))
    return [said for path in progress(graded) if (said := _one(course, path.parts[-3], path.parts[-2]))]


class _Compiled(BytecodeCache):
    """Jinja's templates, compiled once for all pages: the converter starts anew for every hand-in."""

    def __init__(self):
        self._kept = {}

    def load_bytecode(self, bucket):
        if bucket.key in self._kept:
            bucket.bytecode_from_string(self._kept[bucket.key])

    def dump_bytecode(self, bucket):
        self._kept[bucket.key] = bucket.bytecode_to_string()


class _Pages(HTMLExporter):
    _compiled = _Compiled()

    def _create_environment(self):
        made = super()._create_environment()
        made.bytecode_cache = self._compiled
        return made


def _one(course: Path, learner: str, lesson: str) -> str:
    config = courses.config(course)
    config.GenerateFeedback.force, config.GenerateFeedback.exporter_class = True, _Pages
    config.CourseDirectory.student_id, config.CourseDirectory.assignment_id = learner, lesson
    converter = GenerateFeedback(coursedir=CourseDirectory(config=config), config=config)
    converter.log = logging.getLogger("autograde.feedback")
    converter.log.propagate = False
    converter.log.handlers = converter.log.handlers or [logging.NullHandler()]
    try:
        converter.start()
    except (NbGraderException, OSError):
        return f"{learner}, {lesson}: no feedback page could be written; grade that hand-in again."
    return ""

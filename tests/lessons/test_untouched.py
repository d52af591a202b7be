"""Each released lesson, run from top to bottom in a learner's folder before anything is answered: quiet, and nothing recorded."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from halfcycle import study
from halfcycle.slips import SLIP

BOOKS = sorted((Path(__file__).resolve().parents[2] / "lessons").glob("*/*.ipynb"))


@pytest.fixture(scope="module", params=BOOKS, ids=lambda path: path.stem)
def run(request, tmp_path_factory):
    """The released lesson with its outputs; an error in any cell would end the run here."""
    folder = tmp_path_factory.mktemp("learner") / "study"
    study.prepare(folder, learner="ana")
    path = folder / request.param.stem / request.param.name
    book = nbformat.read(path, as_version=4)
    NotebookClient(book, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    return book


def outputs(book):
    return [(cell, output) for cell in book.cells for output in cell.get("outputs", ())]


def test_nothing_went_wrong_and_nothing_was_said_on_the_side(run):
    assert not [cell.id for cell, output in outputs(run) if output.output_type in {"error", "stream"}]
    assert not [cell.id for cell, output in outputs(run) if "Look again" in output.data.get("text/plain", "")]


def test_every_item_is_handed_in_once_with_no_answer_yet(run):
    marked = [cell for cell in run.cells if cell.metadata.get("nbgrader", {}).get("grade")]
    items = [cell.id for cell in marked if not cell.metadata.nbgrader["solution"]]  # the others are texts for a person
    slips = [(cell.id, output.data[SLIP]) for cell, output in outputs(run) if SLIP in output.data]
    assert [(name, slip["item"], slip["value"]) for name, slip in slips] == [(item, item, None) for item in items]


def test_every_practice_item_waits_for_its_answer(run):
    checks = [cell for cell in run.cells if cell.cell_type == "code" and "\ncheck(" in f"\n{cell.source}"]
    for cell in checks:
        assert [output.data["text/plain"].startswith("No answer yet") for output in cell.outputs] == [True], cell.id


def test_the_first_table_says_whose_circuit_it_is(run):
    first = next(output for _, output in outputs(run))
    assert first.data["text/plain"].startswith("Learner ana, course half-cycle, lesson ")
    assert "<caption" in first.data["text/html"]


def test_everything_that_is_shown_has_words_too(run):
    """A script that only names the sliders shows nothing and says nothing."""
    shown = [(cell, output.data) for cell, output in outputs(run) if "application/javascript" not in output.data]
    assert shown and not [cell.id for cell, data in shown if not data.get("text/plain", "").strip()]

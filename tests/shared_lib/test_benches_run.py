"""A bench in a notebook that is only run, as nbval and the grading room do: no browser, and the same numbers."""

from html import unescape

import nbformat
import pytest
from nbclient import NotebookClient
from nbformat.v4 import new_code_cell, new_notebook

from halfcycle.benches import NAMES, module


@pytest.fixture(scope="module")
def outputs():
    """What each bench leaves behind in a notebook that was run from top to bottom, by name."""
    cells = [new_code_cell("from halfcycle.benches import bench")]
    cells += [new_code_cell(f'bench("{name}")') for name in NAMES]
    book = new_notebook(cells=cells, metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}})
    NotebookClient(book, timeout=120).execute()
    nbformat.validate(book)
    return {name: cell.outputs for name, cell in zip(NAMES, book.cells[1:], strict=True)}


@pytest.mark.parametrize("name", NAMES)
def test_a_bench_that_is_only_run_leaves_a_still_picture_with_the_same_numbers(outputs, name):
    shown = [output.data for output in outputs[name] if output.output_type == "display_data"]
    assert len(shown) == len(outputs[name])  # nothing on the error stream, no traceback
    state = module(name).state(module(name).start())
    html, text = (unescape("".join(data.get(kind, "") for data in shown)) for kind in ("text/html", "text/plain"))
    for reading in state.readings:
        assert reading.text in html and reading.whole in text
    assert state.sentence in html and state.sentence in text
    assert html.count('role="img"') == 2

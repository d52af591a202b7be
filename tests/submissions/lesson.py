"""A small lesson notebook made from a lesson's keys, so that the grading room is tested on every lesson's items alike."""

import json

from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from autograde.marking import load

__all__ = ["fill", "made_source", "right_answers", "variable", "write"]


def made_source(number):
    """Return a source notebook (with solutions to strip) that asks for every item of lesson ``number``."""
    keys, _ = load(number)
    cells = [
        new_markdown_cell("# Made for tests", id=f"{number}-title"),
        _begin(number),
        new_code_cell("spare = 1", id=f"{number}-spare"),
    ]
    for item, key in keys.items():
        cells += [new_markdown_cell(f"What is {item}?", id=f"{item}-question"), _answer(item), _graded(item, key)]
    spec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return new_notebook(cells=cells, metadata={"kernelspec": spec})


def variable(item):
    """Return the name that the answer cell of ``item`` sets."""
    return item.replace("-", "_").replace(item[:2], "answer", 1)


def right_answers(number, circuit):
    """Return ``{item: value}``: what `Key.first` says for ``circuit``."""
    keys, _ = load(number)
    return {item: _plain(key.first(circuit)) for item, key in keys.items()}


def fill(released, answers):
    """Write ``answers`` into the answer cells of a released notebook, as a learner would."""
    for cell in released.cells:
        item = cell.id.removesuffix("-answer")
        if cell.id.endswith("-answer") and item in answers:
            cell.source = cell.source.replace("= ...", f"= {answers[item]!r}")
    return released


def write(path, nb):
    """Write ``nb`` to ``path`` with its folders, valid or not."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(nb), encoding="utf-8")


def _plain(value):
    return [int(entry) for entry in value] if isinstance(value, tuple | list) else float(value)


def _begin(number):
    source = f'from halfcycle.lesson import begin, hand_in\n\ncircuit = begin("{number}")'
    folded = {"jupyter": {"source_hidden": True}, "deletable": False, "editable": False}
    return new_code_cell(source, id=f"{number}-begin", metadata=folded)


def _answer(item):
    source = f"{variable(item)} = ...\n### BEGIN SOLUTION\n{variable(item)} = 1.0\n### END SOLUTION"
    marking = {
        "grade": False,
        "solution": True,
        "locked": False,
        "schema_version": 3,
        "task": False,
        "cell_type": "code",
    }
    return new_code_cell(source, id=f"{item}-answer", metadata={"nbgrader": {**marking, "grade_id": f"{item}-answer"}})


def _graded(item, key):
    marking = {
        "grade": True,
        "solution": False,
        "locked": True,
        "schema_version": 3,
        "task": False,
        "cell_type": "code",
    }
    marking |= {"grade_id": item, "points": key.points}
    source = f'hand_in("{item}", {variable(item)}, "{key.unit}")'
    return new_code_cell(source, id=item, metadata={"nbgrader": marking})

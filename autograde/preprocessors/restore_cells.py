"""The first step: the released notebook, with nothing of the learner's but the answers and their own cells."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import nbformat
from nbformat import NotebookNode, from_dict
from nbformat.v4 import new_code_cell, new_markdown_cell
from nbgrader.preprocessors import NbGraderPreprocessor
from traitlets import Unicode

from autograde.by_hand import hand_marked
from autograde.preprocessors.tame_outputs import verbatim
from autograde.trouble import Trouble

__all__ = ["RestoreCells", "restored"]

_MOST_OWN_CELLS = 300
_LONGEST_SOURCE = 100_000


class RestoreCells(NbGraderPreprocessor):
    """Put the submission back on the released notebook: locked cells, order, ids, points and metadata are the lesson's."""

    release_folder = Unicode(help="The folder that holds LESSON/LESSON.ipynb as released.").tag(config=True)

    def preprocess(self, nb, resources):
        """Return the restored notebook; what had to be put right is noted under ``nb.metadata.halfcycle.notes``."""
        marking = resources["nbgrader"]
        _refuse_links(Path(resources["metadata"]["path"]), marking["notebook"])
        path = Path(self.release_folder) / marking["assignment"] / f"{marking['notebook']}.ipynb"
        if not path.is_file():
            raise Trouble(f"The lesson {marking['assignment']} has not been released to this course; release it first.")
        nb, notes = restored(nbformat.read(path, as_version=4), nb)
        for note in notes:
            self.log.warning("%s: %s", marking["student"], note)
        return nb, resources


def restored(released, submitted):
    """Return ``(notebook, notes)``: ``released`` with the learner's sources in its open cells and their own cells in place.

    A submitted cell is known by its id, then by its grade id, then (locked cells) by its text; the first one counts.
    A further copy of an open cell stays as a cell of the learner's own, so that what they saw on their screen is
    what is executed; a further copy of a locked cell goes. Own cells stay behind the lesson cell they followed.
    """
    cells = [_Stranger(cell) for cell in submitted.get("cells", [])]
    match = _matched(released.cells, cells)
    own = _own_cells(released.cells, cells, match)
    taken = {index: cells[place].source for place, index in match.items()}
    nb = NotebookNode({**released, "metadata": copy.deepcopy(released.metadata), "cells": list(own.get(None, ()))})
    for index, cell in enumerate(_copied(released.cells)):
        if is_open(cell) and index in taken:
            cell.source = _given(cell, taken[index])
        nb.cells += [cell, *own.get(index, ())]
    notes, person = _notes(released.cells, cells, match)
    person += _texts_beside(released, nb, own)
    nb.metadata["halfcycle"] = {"notes": notes, "person": person}
    return nb, [*notes, *person]


def _copied(cells):
    """Copies by way of JSON, which is what cells are made of, and quicker than a deep copy."""
    return from_dict(json.loads(json.dumps(cells)))


def is_open(cell):
    """Return whether a released cell is the learner's to change: an answer cell, or a code cell that is not locked."""
    marking = cell.metadata.get("nbgrader", {})
    if marking.get("solution"):
        return True
    locked = marking.get("locked") or marking.get("grade") or not cell.metadata.get("editable", True)
    return cell.cell_type == "code" and not locked


def _given(cell, source):
    """Markdown of the learner's is kept word for word but not as markup: it is shown in the instructor's browser."""
    return source if cell.cell_type == "code" or source == cell.source else verbatim(source)


class _Stranger:
    """The few plain values that are looked at in a submitted cell, whatever it is made of."""

    def __init__(self, cell):
        cell = cell if isinstance(cell, dict) else {}
        marking = cell.get("metadata", {}).get("nbgrader") if isinstance(cell.get("metadata"), dict) else None
        self.id = str(cell.get("id", ""))
        self.grade_id = str(marking.get("grade_id", "")) if isinstance(marking, dict) else ""
        source = cell.get("source", "")
        source = "".join(map(str, source)) if isinstance(source, list) else str(source)
        self.source = source[:_LONGEST_SOURCE].encode("utf-8", "replace").decode()  # half a letter fits into no file
        self.kind = cell.get("cell_type")


def _matched(released, cells):
    """Return ``{place among the submitted cells: index of the released cell}``, each released cell at most once."""
    by_id = {cell.get("id"): index for index, cell in enumerate(released)}
    by_grade_id = {_grade_id(cell): index for index, cell in enumerate(released) if _grade_id(cell)}
    by_text = {cell.source: index for index, cell in enumerate(released) if cell.source.strip()}
    match = {}
    for table, name in ((by_id, "id"), (by_grade_id, "grade_id"), (by_text, "source")):
        for place, cell in enumerate(cells):
            index = table.get(getattr(cell, name))
            if index is not None and place not in match and index not in match.values():
                match[place] = index
    return match


def _copy_of(released, cell):
    """Return the released cell of which ``cell`` is a further copy, or None."""
    names = {cell.id, cell.grade_id} - {""}
    return next(
        (
            one
            for one in released
            if names & {one.get("id"), _grade_id(one)}
            or (not is_open(one) and one.source.strip() == cell.source.strip())
        ),
        None,
    )


def _own_cells(released, cells, match):
    """Return ``{index of the lesson cell they follow, or None: [cells]}`` of the learner's own cells, bare and numbered."""
    found, anchor, count = {}, None, 0
    for place, cell in enumerate(cells):
        if place in match:
            anchor = match[place]
            continue
        original = _copy_of(released, cell)
        if cell.kind not in ("code", "markdown") or (original is not None and not is_open(original)):
            continue
        count += 1
        if count > _MOST_OWN_CELLS:
            break
        name = f"own-{count:03d}"
        bare = (
            new_code_cell(cell.source, id=name)
            if cell.kind == "code"
            else new_markdown_cell(verbatim(cell.source), id=name)
        )
        found.setdefault(anchor, []).append(bare)
    return found


def _notes(released, cells, match):
    """Return ``(notes, person)``: sentences about what was put right, and those that a person should look at."""
    place_of, notes, person = {index: place for place, index in match.items()}, [], []
    if any(map(_grade_id, released)) and not any(_grade_id(released[index]) for index in place_of):
        return [], ["The notebook holds none of this lesson's answer cells; ask whether it is another lesson's."]
    for index, cell in enumerate(released):
        name, place = _grade_id(cell), place_of.get(index)
        if not name:
            continue
        if place is None:
            notes.append(f"The cell {name} was missing and has been put back.")
        elif not is_open(cell) and cells[place].source != cell.source:
            notes.append(f"The locked cell {name} had been changed and has been put back.")
        copies = sum(spot not in match and _copy_of([cell], one) is not None for spot, one in enumerate(cells))
        if copies and is_open(cell):
            person.append(
                f"The answer cell {name} is there {copies + 1} times; what was shown last is what was marked."
            )
        elif copies:
            notes.append(f"The locked cell {name} was there {copies + 1} times; the first one counts.")
    return notes, person


def _texts_beside(released, nb, own):
    """A text that is as it was given out earns nothing; where one stands right below it, a person has to know."""
    given = {cell.source for cell in hand_marked(released).values()}
    below = {_grade_id(released.cells[index]) for index, cells in own.items() if index is not None and _has_text(cells)}
    return [
        f"The text {item} was left as it was given out, and a text stands in a cell right below it: read that one, and mark by hand."
        for item, cell in hand_marked(nb).items()
        if item in below and cell.source in given
    ]


def _has_text(cells):
    return any(cell.cell_type == "markdown" and cell.source.strip() for cell in cells)


def _grade_id(cell):
    return cell.metadata.get("nbgrader", {}).get("grade_id", "")


def _refuse_links(folder, notebook):
    """A link could lead to another learner's work or out of the course folder: it is never followed."""
    for path in (folder.parent, folder, folder / f"{notebook}.ipynb"):
        if path.is_symlink():
            raise Trouble(f"{path} is a link, and links are not followed; ask for the file itself.")

"""From an instructor's source lesson to the lesson a learner gets: answers out, graded and folded cells fixed in place.

The work is nbgrader's own; `RELEASE_STEPS` and `RELEASE_CONFIG` say which of its steps, in which order and with which settings,
so that the release on a learner's computer and an instructor's course folder come out alike. nbgrader is needed only here.
"""

import importlib
import json
import logging
from pathlib import Path

import nbformat
from nbconvert.preprocessors import Preprocessor
from traitlets.config import Config

from halfcycle.trouble import Trouble, reason

__all__ = ["RELEASE_CONFIG", "RELEASE_STEPS", "KeepInPlace", "is_source", "released", "strip"]

RELEASE_STEPS = (
    "nbgrader.preprocessors.LockCells",
    "halfcycle.release.KeepInPlace",
    "nbgrader.preprocessors.ClearSolutions",
    "nbgrader.preprocessors.ClearOutput",
    "nbgrader.preprocessors.CheckCellMetadata",
    "nbgrader.preprocessors.ClearHiddenTests",
    "nbgrader.preprocessors.ClearMarkScheme",
    "nbgrader.preprocessors.ComputeChecksums",
)
RELEASE_CONFIG = {"ClearSolutions": {"code_stub": {"python": ""}, "text_stub": "Write your answer here."}}
_MARKERS = ("BEGIN SOLUTION", "BEGIN HIDDEN TESTS", "BEGIN MARK SCHEME")


class KeepInPlace(Preprocessor):
    """Keeps folded cells (a bench, a check) and graded cells from being deleted: `d d` on a focused slider would do it."""

    enabled = True

    def preprocess_cell(self, cell, resources, index):
        """Mark a folded code cell as neither deletable nor editable, and every cell that nbgrader knows as not deletable."""
        if cell.cell_type == "code" and cell.metadata.get("jupyter", {}).get("source_hidden"):
            cell.metadata["deletable"] = cell.metadata["editable"] = False
        if "nbgrader" in cell.metadata:
            cell.metadata["deletable"] = False
        return cell, resources


def strip(notebook):
    """Return the released form of the source ``notebook`` (both nbformat 4 notebooks); cell ids stay as they are."""
    try:
        steps = [_step(name) for name in RELEASE_STEPS]
    except ModuleNotFoundError as missing:
        raise Trouble(
            "The lessons here still hold their answers, and nbgrader, which takes them out, is not installed; "
            "run `uv sync` in the checkout, or ask your instructor for the released lessons."
        ) from missing
    notebook, resources = nbformat.from_dict(notebook), {}
    for step in steps:
        notebook, resources = step.preprocess(notebook, resources)
    return notebook


def is_source(notebook):
    """True where ``notebook`` still holds an answer region, and so may not reach a learner."""
    return any(marker in cell.source for cell in notebook.cells for marker in _MARKERS)


def released(path):
    """Return the text of the released form of the notebook at ``path``: stripped if it is a source, unchanged if it is not."""
    path = Path(path)
    try:
        notebook = nbformat.read(path, as_version=4)
        nbformat.validate(notebook)
        return nbformat.writes(strip(notebook) if is_source(notebook) else notebook) + "\n"
    except OSError as error:
        raise Trouble(
            f"The lesson {path} cannot be read ({reason(error)}); check the file, or fetch it again."
        ) from error
    except Trouble:
        raise
    except Exception as error:  # nbformat, nbgrader and its checks each raise kinds of their own
        raise Trouble(
            f"The lesson {path} is not a sound notebook ({_first_line(error)}); mend it, or fetch it again."
        ) from error


def _step(name):
    module, _, kind = name.rpartition(".")
    step = getattr(importlib.import_module(module), kind)(config=Config(json.loads(json.dumps(RELEASE_CONFIG))))
    step.log = logging.getLogger("halfcycle.release")
    step.log.addHandler(logging.NullHandler())
    step.log.propagate = False
    return step


def _first_line(error):
    return (str(error).strip() or type(error).__name__).splitlines()[0].rstrip(".:")[:200]

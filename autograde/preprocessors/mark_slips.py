"""The step that marks: from evidence to points and hints, in the instructor's process, with nothing executed."""

from __future__ import annotations

import html

from nbformat import from_dict
from nbgrader.preprocessors import NbGraderPreprocessor
from traitlets import Unicode

from autograde import records
from autograde.evidence import read_slip
from autograde.marking import load
from autograde.trouble import Trouble
from halfcycle.variants import circuit

__all__ = ["MarkSlips", "graded_cells", "show_mark"]

_WORDS = {
    "right": "Right.",
    "no answer": "No answer.",
    "wrong unit": "Wrong unit.",
    "wrong": "Not the answer for this circuit, and not a slip we recognise.",
    "polarity": "The sign is wrong.",
    "scale": "The size is wrong.",
    "trap": "A slip we recognise.",
}


class MarkSlips(NbGraderPreprocessor):
    """Mark every graded cell and put the points where nbgrader's SaveAutoGrades reads them, the hint where feedback shows it."""

    course_folder = Unicode(help="Where slips and marks are kept.").tag(config=True)
    course_id = Unicode("half-cycle", help="The course whose circuits the learners have.").tag(config=True)
    room = Unicode("autograde", help="The package with the keys and traps.").tag(config=True)

    def preprocess(self, nb, resources):
        """Return the marked notebook; the slips and the marks are written to the course folder as well."""
        learner, lesson = resources["nbgrader"]["student"], resources["nbgrader"]["assignment"]
        keys, traps = checked_keys(nb, lesson, self.room)
        variant = circuit(self.course_id, lesson, learner)
        evidence = resources.get("halfcycle", {}).get("evidence", {})
        kept = self._read(nb, keys, evidence, variant, lesson)
        marks = records.mark_slips(kept["slips"], keys, traps, variant)
        for item, cell in graded_cells(nb).items():
            show_mark(cell, keys[item], marks[item], kept["slips"][item])
        records.write(records.slips_path(self.course_folder, learner, lesson), kept)
        marked = records.marks_record(variant, lesson, kept, keys, marks)
        records.write(records.marks_path(self.course_folder, learner, lesson), marked)
        return nb, resources

    def _read(self, nb, keys, evidence, variant, lesson):
        found = {item: read_slip(evidence.get(item, []), item) for item in keys}
        seen = nb.metadata.get("halfcycle", {})
        person = [*seen.get("person", []), *_in_one([trouble for _, trouble in found.values() if trouble])]
        slips = {item: slip for item, (slip, _) in found.items()}
        return records.slips_record(variant, lesson, slips, person, list(seen.get("notes", [])))


def _in_one(troubles):
    """The first of these sentences, and how many more items are meant."""
    more = f" The same goes for {len(troubles) - 1} more of the items." if len(troubles) > 1 else ""
    return [troubles[0] + more] if troubles else []


def graded_cells(nb):
    """Return ``{item: cell}`` of the cells that are marked by machine."""
    found = {}
    for cell in nb.cells:
        marking = cell.metadata.get("nbgrader", {})
        if cell.cell_type == "code" and marking.get("grade") and not marking.get("solution"):
            found[marking["grade_id"]] = cell
    return found


def checked_keys(nb, lesson, room="autograde"):
    """Return ``load(lesson, room)``, or one sentence when a graded cell and the keys do not agree: nothing goes unmarked."""
    cells = graded_cells(nb)
    try:
        keys, traps = load(lesson, room)
    except (LookupError, ValueError):
        if cells:
            raise
        return {}, {}
    if set(keys) != set(cells):
        odd = ", ".join(sorted(set(keys) ^ set(cells)))
        raise Trouble(
            f"The lesson {lesson} and its keys do not have the same items ({odd}); mend the keys or release it again."
        )
    for item, cell in cells.items():
        if float(cell.metadata.nbgrader["points"]) != float(keys[item].points):
            raise Trouble(f"The item {item} has other points in the lesson than in its key; make them equal.")
    return keys, traps


def show_mark(cell, key, mark, slip):
    """Make the outputs of a graded cell say what was handed in, what it earned and why; nbgrader reads the points there."""
    words = _WORDS[mark.verdict.partition(":")[0]]
    handed = "nothing" if slip is None or slip["value"] is None else f"{_plain(slip['value'])} {slip['unit']}".strip()
    said = f"{words} {mark.hint}".strip()
    lines = (f"Handed in: {handed}.", f"{mark.points:g} of {key.points:g} points.", said)
    page = "".join(f"<p>{html.escape(line)}</p>" for line in lines)
    points, told = {"text/plain": repr(float(mark.points))}, {"text/plain": "\n".join(lines), "text/html": page}
    cell.outputs = [
        from_dict(
            {"output_type": "execute_result", "metadata": {}, "data": points, "execution_count": cell.execution_count}
        ),
        from_dict({"output_type": "display_data", "metadata": {}, "data": told}),
    ]


def _plain(value):
    if isinstance(value, list):
        return " ".join(map(str, value))
    return f"{value:.6g}"

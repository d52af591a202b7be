"""nbgrader's execution, behind the fence: a result that is kept is taken up, anything else is executed here and now."""

from __future__ import annotations

from nbformat import from_dict
from nbformat.v4 import new_output
from nbgrader.preprocessors import Execute
from traitlets import Any, Bool, List, Unicode

from autograde import executing
from autograde.fence import Fence, Limits, NoFence
from autograde.kept import Kept

__all__ = ["FencedExecute"]


class FencedExecute(Execute):
    """Execute a restored notebook behind the fence, whatever its code does.

    The outputs of each graded cell are taken away as evidence (``resources["halfcycle"]``), and an error stands in
    their place until `MarkSlips` has put the mark there: what is not marked is not paid.
    """

    unfenced = Bool(False, help="Run with no fence where every hand-in is trusted.").tag(config=True)
    hidden = List(Unicode(), help="Folders that stay out of sight behind the fence.").tag(config=True)
    course_id = Unicode("half-cycle", help="The course whose circuits the learners have.").tag(config=True)
    limits = Any(Limits(), help="The bounds of one submission, an autograde.fence.Limits.").tag(config=True)
    kept_folder = Unicode("", help='Where results are kept by content; "" keeps none.').tag(config=True)

    def preprocess(self, nb, resources):
        """Return the executed notebook and its evidence; a notebook that stops ends its run but not the marking."""
        who = (self.course_id, resources["nbgrader"]["student"])
        task = executing.task(nb, who)
        kept = Kept(self.kept_folder, who[1], resources["nbgrader"]["assignment"])
        result = kept.read(task, self.limits)
        if result is None:
            result = executing.of_this_process(self.fence()).run(task)
            kept.write(task, self.limits, result)
        resources["halfcycle"] = {"evidence": _show(nb, result)}
        self._leave_unmarked(nb, result["stopped"])
        return nb, resources

    def fence(self, elsewhere=False):
        """Return the fence that these settings ask for; ``elsewhere`` it need not be possible on this computer."""
        if elsewhere:
            return NoFence(self.limits) if self.unfenced else Fence(self.limits, tuple(self.hidden))
        return executing.known_fence(self.unfenced, tuple(self.hidden), self.limits)

    def _leave_unmarked(self, nb, stopped):
        for cell in nb.cells:
            if executing.is_graded(cell):
                cell.outputs = [new_output("error", ename="NotMarked", evalue="not marked yet", traceback=[])]
        if stopped:
            nb.metadata.setdefault("halfcycle", {}).setdefault("person", []).append(stopped)


def _show(nb, result):
    """Put the outputs of ``result`` into the cells that are not graded; return ``{item: outputs}`` of those that are."""
    evidence = {}
    for index, cell in enumerate(nb.cells):
        shown = result["cells"].get(str(index))
        if cell.cell_type == "code" and shown is not None:
            cell.execution_count = shown["count"]
            cell.outputs = [from_dict(output) for output in shown["outputs"]]
        if executing.is_graded(cell):
            evidence[cell.metadata.nbgrader["grade_id"]] = cell.outputs
    return evidence

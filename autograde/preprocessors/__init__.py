"""What happens to a submission on its way through nbgrader, one step per file, in the order of `autograde.course`.

`RestoreCells` → `FencedExecute` → `TameOutputs` → `MarkSlips`. The steps hand each other what nbgrader has no
place for in ``nb.metadata["halfcycle"]`` (kept in the autograded notebook) and ``resources["halfcycle"]``.
"""

from autograde.preprocessors.fenced_execute import FencedExecute
from autograde.preprocessors.mark_slips import MarkSlips
from autograde.preprocessors.restore_cells import RestoreCells
from autograde.preprocessors.tame_outputs import TameOutputs

__all__ = ["FencedExecute", "MarkSlips", "RestoreCells", "TameOutputs"]

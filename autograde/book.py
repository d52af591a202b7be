"""The gradebook, open once for a whole grading: nbgrader's own tables by its own classes, one transaction a submission."""

from __future__ import annotations

import contextlib
import logging
import warnings

from nbgrader.api import Comment, Grade, Gradebook, MissingEntry, SubmittedAssignment, SubmittedNotebook
from nbgrader.preprocessors import AssignLatePenalties
from nbgrader.utils import compute_checksum, determine_grade, is_grade, is_solution, is_task
from sqlalchemy.exc import SAWarning

from autograde.by_hand import hand_marked
from autograde.trouble import Trouble

__all__ = ["Book"]


class Book:
    """The writer's side of the gradebook that ``config`` (of `autograde.course`) names; use it as a context manager.

    What is written to it is what nbgrader's `SaveAutoGrades` and `AssignLatePenalties` write, in one go.
    """

    def __init__(self, config):
        self._config, self._names = config, {}
        self._book = Gradebook(config.CourseDirectory.db_url, config.CourseDirectory.course_id)
        self._db = self._book.db

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._book.close()

    def save(self, learner, lesson, nb, handed_in=None):
        """Write what the marked notebook ``nb`` of ``learner`` earned; ``handed_in`` is its time, None where there is none."""
        with self._transaction():
            submission = self._submission(learner, lesson)
            if handed_in is not None:
                submission.timestamp = handed_in
            notebook = self._notebook(submission, lesson)
            self._scores(notebook, lesson, [cell for cell in nb.cells if is_grade(cell)])
            self._comments(notebook, lesson, nb)
            self._penalty(learner, submission, notebook)

    def mark_again(self, learner, lesson, nb, *, write=True):
        """Write what ``nb``, marked again, earns now; return the total less any late penalty before and after, and the items that moved.

        The items are ``(item, before, after)``. Texts that a person marks are not touched. Without ``write`` all of it is
        undone again, so that only the answer remains.
        """
        texts, cells = hand_marked(nb), [cell for cell in nb.cells if is_grade(cell)]
        with self._transaction(write=write):
            submission = self._found(learner, lesson)
            notebook = self._notebook(submission, lesson)
            before, old = self._earned(submission, notebook, lesson, cells)
            self._scores(notebook, lesson, [cell for cell in cells if _name(cell) not in texts])
            self._penalty(learner, submission, notebook)
            after, new = self._earned(submission, notebook, lesson, cells)
        return before, after, tuple((name, old[name], new[name]) for name in new if old[name] != new[name])

    @contextlib.contextmanager
    def _transaction(self, *, write=True):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SAWarning)  # about nbgrader's own tables
                yield
                if write:
                    self._db.commit()
        finally:
            self._db.rollback()  # nothing, after a commit
            self._db.expunge_all()  # so that the thousandth is as quick as the first

    def _submission(self, learner, lesson):
        assignment = self._assignment(lesson)
        found = self._db.query(SubmittedAssignment).filter_by(assignment_id=assignment.id, student_id=learner).first()
        return found or self._added(learner, assignment)

    def _found(self, learner, lesson):
        try:
            return self._book.find_submission(lesson, learner)
        except MissingEntry:
            raise Trouble("it is not in the gradebook; grade this submission again.") from None

    def _assignment(self, lesson):
        try:
            return self._book.find_assignment(lesson)
        except MissingEntry:
            raise Trouble(f"The lesson {lesson} is not in the gradebook; release it again.") from None

    def _added(self, learner, assignment):
        """As `Gradebook.add_submission`, but in the transaction of the marks: no submission is ever there without them."""
        submission = SubmittedAssignment(assignment=assignment, student=self._book.find_student(learner))
        for notebook in assignment.notebooks:
            made = SubmittedNotebook(notebook=notebook, assignment=submission)
            for cell in notebook.grade_cells:
                Grade(cell_id=cell.id, notebook=made)
            for cell in notebook.solution_cells:
                Comment(cell_id=cell.id, notebook=made)
            for cell in notebook.task_cells:
                Comment(cell_id=cell.id, notebook=made)
                Grade(cell_id=cell.id, notebook=made)
        self._db.add(submission)
        self._db.flush()
        return submission

    def _notebook(self, submission, lesson):
        found = [one for one in submission.notebooks if one.name == lesson]
        if not found:
            raise Trouble(f"The lesson {lesson} has no notebook of its name in the gradebook; release it again.")
        return found[0]

    def _scores(self, notebook, lesson, cells):
        cells = {_name(cell): cell for cell in cells}
        for name, grade in self._by_name(Grade, notebook, lesson, cells).items():
            grade.auto_score, _ = determine_grade(cells[name])
            grade.needs_manual_grade = grade.manual_score is not None or grade.auto_score is None

    def _comments(self, notebook, lesson, nb):
        cells = {_name(cell): cell for cell in nb.cells if is_solution(cell) or is_task(cell)}
        for name, comment in self._by_name(Comment, notebook, lesson, cells).items():
            cell = cells[name]
            untouched = cell.metadata.nbgrader.get("checksum") == compute_checksum(cell) and not is_task(cell)
            comment.auto_comment = "No response." if untouched else None

    def _by_name(self, kind, notebook, lesson, wanted):
        """``{name: Grade or Comment}`` for exactly these cells; found by their ids, for which there is an index.

        On a server the rows are held until the transaction ends: whoever marks one of them by hand comes before or after.
        """
        names, wanted = self._cell_names(notebook, lesson), set(wanted)
        ids = [cell_id for cell_id, name in names.items() if name in wanted]
        rows = self._db.query(kind).filter(kind.cell_id.in_(ids), kind.notebook_id == notebook.id).order_by(kind.id)
        held = rows.populate_existing().with_for_update(of=kind, key_share=True)
        found = {names[row.cell_id]: row for row in held}
        if missing := sorted(wanted - set(found)):
            raise Trouble(f"The gradebook does not know {', '.join(missing)} of {lesson}; release the lesson again.")
        return found

    def _cell_names(self, notebook, lesson):
        if lesson not in self._names:
            master = notebook.notebook
            cells = [*master.grade_cells, *master.solution_cells, *master.task_cells]
            self._names[lesson] = {cell.id: cell.name for cell in cells}
        return self._names[lesson]

    def _earned(self, submission, notebook, lesson, cells):
        """The total less any late penalty, and ``{name: score}`` of these cells, as the database has them at this moment."""
        self._db.flush()
        grades = self._by_name(Grade, notebook, lesson, map(_name, cells))
        self._db.refresh(submission, ["score"])
        penalty = sum(one.late_submission_penalty or 0.0 for one in submission.notebooks)
        return submission.score - penalty, {name: grades[name].score for name in map(_name, cells)}

    def _penalty(self, learner, submission, notebook):
        """As nbgrader's own step, by whatever rule the course has set, but in the transaction of the marks."""
        notebook.late_submission_penalty = None
        late = submission.total_seconds_late
        if late <= 0:
            return
        self._db.flush()
        self._db.refresh(notebook, ["score"])
        step = AssignLatePenalties(config=self._config)
        step.log = logging.getLogger("autograde.nbgrader")
        step.init_plugin()
        penalty = step.plugin_inst.late_submission_penalty(learner, notebook.score, late)
        if penalty is not None:
            notebook.late_submission_penalty = step._check_late_penalty(notebook, penalty)


def _name(cell):
    return cell.metadata["nbgrader"]["grade_id"]

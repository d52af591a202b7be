"""The gradebook, open once for a whole grading: nbgrader's own tables by its own classes, one transaction a submission."""

from __future__ import annotations

import warnings

from nbgrader.api import Comment, Grade, Gradebook, MissingEntry, SubmittedAssignment, SubmittedNotebook
from nbgrader.preprocessors import AssignLatePenalties
from nbgrader.utils import compute_checksum, determine_grade, is_grade, is_solution, is_task
from sqlalchemy.exc import SAWarning

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
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SAWarning)  # about nbgrader's own tables
                submission = self._submission(learner, lesson)
                if handed_in is not None:
                    submission.timestamp = handed_in
                notebook = self._notebook(submission, lesson)
                self._scores(notebook, lesson, nb)
                self._comments(notebook, lesson, nb)
                notebook.late_submission_penalty = None
                late = submission.total_seconds_late
                self._db.commit()
        except BaseException:
            self._db.rollback()
            raise
        finally:
            self._db.expunge_all()  # so that the thousandth is as quick as the first
        if late > 0:
            self._penalty(learner, lesson, nb)

    def _submission(self, learner, lesson):
        assignment = self._assignment(lesson)
        found = self._db.query(SubmittedAssignment).filter_by(assignment_id=assignment.id, student_id=learner).first()
        return found or self._added(learner, assignment)

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

    def _scores(self, notebook, lesson, nb):
        cells = {cell.metadata.nbgrader["grade_id"]: cell for cell in nb.cells if is_grade(cell)}
        for name, grade in self._by_name(Grade, notebook, lesson, cells).items():
            grade.auto_score, _ = determine_grade(cells[name])
            grade.needs_manual_grade = grade.manual_score is not None or grade.auto_score is None

    def _comments(self, notebook, lesson, nb):
        cells = {cell.metadata.nbgrader["grade_id"]: cell for cell in nb.cells if is_solution(cell) or is_task(cell)}
        for name, comment in self._by_name(Comment, notebook, lesson, cells).items():
            cell = cells[name]
            untouched = cell.metadata.nbgrader.get("checksum") == compute_checksum(cell) and not is_task(cell)
            comment.auto_comment = "No response." if untouched else None

    def _by_name(self, kind, notebook, lesson, cells):
        """``{name: Grade or Comment}`` for exactly these cells; found by their ids, for which there is an index."""
        names = self._cell_names(notebook, lesson)
        wanted = [cell_id for cell_id, name in names.items() if name in cells]
        rows = self._db.query(kind).filter(kind.cell_id.in_(wanted), kind.notebook_id == notebook.id).all()
        found = {names[row.cell_id]: row for row in rows}
        if missing := sorted(set(cells) - set(found)):
            raise Trouble(f"The gradebook does not know {', '.join(missing)} of {lesson}; release the lesson again.")
        return found

    def _cell_names(self, notebook, lesson):
        if lesson not in self._names:
            master = notebook.notebook
            cells = [*master.grade_cells, *master.solution_cells, *master.task_cells]
            self._names[lesson] = {cell.id: cell.name for cell in cells}
        return self._names[lesson]

    def _penalty(self, learner, lesson, nb):
        """nbgrader's own step, with whatever penalty the course has set; it opens the gradebook by itself."""
        address = self._config.CourseDirectory.db_url
        resources = {"nbgrader": {"student": learner, "assignment": lesson, "notebook": lesson, "db_url": address}}
        AssignLatePenalties(config=self._config).preprocess(nb, resources)

"""What is asked of the gradebook for one hand-in reads that hand-in's rows, and not everybody's."""

import pytest
from nbgrader.api import Comment, Grade, SubmittedAssignment, SubmittedNotebook
from sqlalchemy import text

from autograde import indexes
from autograde.new import new, opened

ASKED = [
    (Grade, Grade.notebook_id),
    (Comment, Comment.notebook_id),
    (SubmittedNotebook, SubmittedNotebook.assignment_id),
    (SubmittedAssignment, SubmittedAssignment.student_id),
]


@pytest.fixture(scope="module")
def gradebook(tmp_path_factory):
    course = tmp_path_factory.mktemp("class") / "course"
    new(course)
    with opened(course) as book:
        yield book


def _plan(book, kind, column, number=1):
    """How SQLite would look for the rows (https://www.sqlite.org/eqp.html): SCAN reads a whole table, SEARCH an index."""
    asked = f'EXPLAIN QUERY PLAN SELECT * FROM "{kind.__tablename__}" WHERE "{column.key}" = {number}'
    return " ".join(row[-1] for row in book.db.execute(text(asked)))


@pytest.mark.parametrize(("kind", "column"), ASKED, ids=lambda one: getattr(one, "__tablename__", ""))
def test_a_new_gradebook_finds_the_rows_of_one_hand_in(gradebook, kind, column):
    assert "USING INDEX" in _plan(gradebook, kind, column)


def test_an_older_gradebook_gets_them_once(gradebook):
    gradebook.db.execute(text("DROP INDEX ix_grade_notebook_id"))
    gradebook.db.commit()
    assert "SCAN" in _plan(gradebook, *ASKED[0], 2)  # a plan that was asked for before is told again as it was
    gradebook.db.commit()
    for _ in range(2):
        indexes.add(gradebook)
    assert "USING INDEX" in _plan(gradebook, *ASKED[0], 3)

"""A text that a person marks, from the released lesson to the export: its own small course, and nbgrader's own page in Chromium.

The outside check is nbgrader itself: its gradebook, its export and its page are asked, not our own books.
"""

import copy
import csv
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from playwright.sync_api import expect

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write

from autograde import by_hand, records, review
from autograde.by_hand import MARKED, NO_ANSWER, WAITING
from autograde.cli import main
from autograde.course import DEFAULT_COURSE
from autograde.fence import why_no_fence
from autograde.grading import grade, remark
from autograde.marking import load
from autograde.new import opened
from autograde.preprocessors.restore_cells import restored
from autograde.release import sources
from halfcycle.variants import circuit

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
LESSON = next(name for name in sources() if name.startswith("10"))
ITEM, POINTS = "10-recommendation", 6.0
AUTO = sum(key.points for key in load(LESSON)[0].values())
WORDS = "The valve's <b>capacitor</b> has dried out: 10.8 volts where 31 were noted."
LEARNERS = ("amara", "bo", "chen")


def hand_in(course, learner, words):
    """Right answers for the learner's own circuit, and `words` in place of the released stub ("" leaves it)."""
    nb = nbformat.read(course / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    nb = fill(copy.deepcopy(nb), right_answers("10", circuit(DEFAULT_COURSE, LESSON, learner)))
    cell = by_hand.hand_marked(nb)[ITEM]
    assert by_hand.hand_marked(nb).keys() == {ITEM} and cell.source.count("Write your answer here.") == 1
    cell.source = cell.source.replace("Write your answer here.", words) if words else cell.source
    write(course / "submitted" / learner / LESSON / f"{LESSON}.ipynb", nb)


def give(course, learner, points):
    """What nbgrader's page does when a person types a score."""
    with opened(course) as book:
        mark = book.find_grade(ITEM, LESSON, LESSON, learner)
        mark.manual_score, mark.needs_manual_grade = points, False
        book.db.commit()


def found(course, learner):
    with opened(course) as book:
        return next(text for text in by_hand.texts(book) if text.learner == learner)


def total(course, learner):
    with opened(course) as book:
        submission = book.find_submission(LESSON, learner)
        return submission.score, submission.max_score, submission.needs_manual_grade


@pytest.fixture(scope="module")
def graded(tmp_path_factory):
    """Three learners: two texts and one stub left as it was. Graded, nothing marked by hand. Only read."""
    course = tmp_path_factory.mktemp("by-hand") / "course"
    roster = course.parent / "roster.csv"
    roster.write_text("id,first,last\n" + "".join(f"{name},{name},X\n" for name in LEARNERS))
    assert main(["new", str(course)]) == main(["enrol", str(course), str(roster)]) == 0
    assert main(["release", str(course), "--lesson", "10"]) == 0
    for learner, words in zip(LEARNERS, (WORDS, "It was the diode.", ""), strict=True):
        hand_in(course, learner, words)
    assert main(["grade", str(course)]) == 0
    return course


@pytest.fixture
def course(graded, tmp_path):
    """A copy of it to mark in."""
    return shutil.copytree(graded, tmp_path / "course")


def test_it_earns_nothing_by_machine_and_waits(graded):
    assert (found(graded, "amara").verdict, found(graded, "amara").points) == (WAITING, 0.0)
    assert total(graded, "amara") == (AUTO, AUTO + POINTS, True)
    kept = records.read(records.marks_path(graded, "amara", LESSON))
    assert ITEM not in kept["items"] and (kept["points"], kept["possible"], kept["person"]) == (AUTO, AUTO, [])


def test_a_stub_that_was_left_is_no_answer_and_needs_nobody(graded):
    assert (found(graded, "chen").verdict, total(graded, "chen")) == (NO_ANSWER, (AUTO, AUTO + POINTS, False))


def test_the_words_come_through_whole_and_as_no_markup(graded):
    nb = nbformat.read(graded / "autograded" / "amara" / LESSON / f"{LESSON}.ipynb", as_version=4)
    source = by_hand.hand_marked(nb)[ITEM].source
    assert "dried" in source and "<b>" not in source and "&#60;b&#62;" in source


def test_a_text_in_a_cell_below_the_stub_is_not_passed_over(graded):
    released = nbformat.read(graded / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    submitted = copy.deepcopy(released)
    at = [cell.id for cell in submitted.cells].index(ITEM)
    submitted.cells.insert(at + 1, nbformat.v4.new_markdown_cell(WORDS))
    nb, said = restored(released, submitted)
    assert ITEM in said[0] and nb.metadata["halfcycle"]["person"] == said
    by_hand.hand_marked(submitted)[ITEM].source += WORDS
    assert restored(released, submitted)[1] == [] == restored(released, released)[1]


def test_grade_says_what_waits(course, capsys):
    assert main(["grade", str(course)]) == 0
    said = capsys.readouterr().out
    assert f"Waiting to be marked by hand: {ITEM} of 2 learners. Next: autograde review {course}" in said
    for learner in ("amara", "bo"):
        give(course, learner, 4.0)
    assert main(["grade", str(course)]) == 0
    assert "by hand" not in capsys.readouterr().out


def test_its_points_join_the_total_and_outlive_grading_and_marking_again(course):
    give(course, "amara", 4.5)
    assert total(course, "amara") == (AUTO + 4.5, AUTO + POINTS, False)
    assert remark(course).troubles == () and total(course, "amara") == (AUTO + 4.5, AUTO + POINTS, False)
    assert found(course, "bo").verdict == WAITING
    assert [one.status for one in grade(course).outcomes] == ["unchanged"] * 3
    assert total(course, "amara") == (AUTO + 4.5, AUTO + POINTS, False)
    grade(course, force=True)
    assert total(course, "amara")[0] == AUTO + 4.5


def test_a_new_text_keeps_the_points_and_asks_to_be_read_again(course):
    give(course, "amara", 4.5)
    hand_in(course, "amara", "I have written it anew.")
    grade(course)
    assert total(course, "amara") == (AUTO + 4.5, AUTO + POINTS, True) and found(course, "amara").verdict == WAITING


def test_report_and_tables_have_it(course, capsys):
    give(course, "amara", 4.5)
    assert main(["report", str(course)]) == 0
    capsys.readouterr()
    folder = course / "reports"
    page = (folder / "report.html").read_text("utf-8")
    section = page[page.index('id="by-hand"') :]
    assert "To be marked by hand" in section and ITEM in section and "<b>1</b> to mark by hand" in page
    with (folder / "marks.csv").open(encoding="utf-8") as table:
        rows = {row["learner"]: row for row in csv.DictReader(table) if row["item"] == ITEM}
    assert [(rows[name]["points"], rows[name]["of"], rows[name]["verdict"]) for name in LEARNERS] == [
        ("4.5", "6.0", MARKED), ("0.0", "6.0", WAITING), ("0.0", "6.0", NO_ANSWER),
    ]  # fmt: skip
    own = {name: (course / "feedback" / name / LESSON / f"{LESSON}.html").read_text("utf-8") for name in LEARNERS}
    assert "4.5 of 6" in own["amara"] and "not been marked yet" not in own["amara"]
    assert "0 of 6" in own["bo"] and "not been marked yet" in own["bo"]


def test_explain_tells_of_it(course, capsys):
    give(course, "amara", 4.5)
    assert main(["explain", str(course), "amara", ITEM]) == main(["explain", str(course), "bo", ITEM]) == 0
    said = capsys.readouterr().out
    assert "Gradebook: 4.5 of 6 points" in said and "Not marked yet" in said


def test_nbgraders_own_export_has_the_whole_total(course):
    give(course, "amara", 4.5)
    done = subprocess.run(
        [sys.executable, "-m", "nbgrader", "export"],
        cwd=course, env=os.environ, capture_output=True, text=True, timeout=180, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-1000:]
    with (course / "grades.csv").open(encoding="utf-8") as table:
        rows = {row["student_id"]: row for row in csv.DictReader(table)}
    assert (float(rows["amara"]["score"]), float(rows["amara"]["max_score"])) == (AUTO + 4.5, AUTO + POINTS)


def test_a_person_marks_it_in_nbgraders_own_page(course, chromium):
    """Chromium opens the learner's hand-in in the formgrader, sees text and rubric, types a score, and the gradebook has it."""
    with opened(course) as book:
        name = book.find_submission_notebook(LESSON, LESSON, "amara").id
    with review.formgrader(course) as (_, address), chromium.new_context() as context:
        page = context.new_page()
        page.goto(address, wait_until="domcontentloaded")
        page.goto(address.partition("?")[0] + f"/submissions/{name}/", wait_until="domcontentloaded")
        expect(page.get_by_text("has dried out: 10.8 volts where 31 were noted.")).to_be_visible(timeout=30_000)
        expect(page.get_by_text("says what was complained of")).to_be_visible()
        score = page.locator(f'input.score[id="{ITEM}"]')
        expect(score).to_have_class(re.compile("needs_manual_grade"), timeout=30_000)
        score.fill("5")
        score.press("Tab")
        expect(score).not_to_have_class(re.compile("needs_manual_grade"), timeout=30_000)
    assert found(course, "amara").points == 5.0 and found(course, "amara").verdict == MARKED
    assert total(course, "amara") == (AUTO + 5.0, AUTO + POINTS, False)

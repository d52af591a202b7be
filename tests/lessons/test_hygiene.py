"""Every lesson, whichever there are: sound, without outputs, its answers where they are taken out, nothing left behind."""

import ast
import json
import re
from pathlib import Path

import nbformat
import pytest

from halfcycle import variants
from halfcycle.release import is_source, released

LESSONS = Path(__file__).resolve().parents[2] / "lessons"
BOOKS = sorted(LESSONS.glob("*/*.ipynb"))
SOLVED = re.compile(r"### BEGIN SOLUTION\n(.*?)\n### END SOLUTION", re.DOTALL)
HANDED_IN = re.compile(r'hand_in\("(?P<item>[\w-]+)", (?P<name>[a-z]\w*), "(?P<unit>[^"]*)"\)')

pytestmark = pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)


@pytest.fixture
def raw(path):
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.fixture
def book(path):
    return nbformat.read(path, as_version=4)


@pytest.fixture
def out(path):
    """The lesson as a learner gets it."""
    return nbformat.reads(released(path), as_version=4)


def about(cell):
    return cell.metadata.get("nbgrader", {})


def graded(book):
    """The cells that are marked by machine."""
    return [cell for cell in book.cells if about(cell).get("grade") and not about(cell).get("solution")]


def by_hand(book):
    """The cells that a person marks: a text of the learner's own."""
    return [cell for cell in book.cells if about(cell).get("grade") and about(cell).get("solution")]


def folded(cell):
    return bool(cell.metadata.get("jupyter", {}).get("source_hidden"))


def place(book, fits):
    found = [index for index, cell in enumerate(book.cells) if fits(cell)]
    assert found, "a section is missing"
    return found[0]


def heading(word):
    pattern = re.compile(rf"^#+ [^\n]*\b{word}", re.IGNORECASE | re.MULTILINE)
    return lambda cell: cell.cell_type == "markdown" and bool(pattern.search(cell.source))


def test_it_is_a_sound_notebook_of_format_4_5_for_python(raw, book):
    nbformat.validate(raw, relax_add_props=False)
    assert (raw["nbformat"], raw["nbformat_minor"]) == (4, 5)
    assert raw["metadata"]["kernelspec"]["name"] == "python3"
    assert not {"widgets", "celltoolbar"} & set(raw["metadata"])


def test_its_folder_is_named_as_it_is_and_holds_nothing_else(path):
    assert path.stem == path.parent.name and re.fullmatch(r"\d\d_[a-z0-9_]+", path.stem)
    assert [found.name for found in path.parent.rglob("*") if ".ipynb_checkpoints" not in found.parts] == [path.name]


def test_no_cell_was_run(raw):
    for cell in raw["cells"]:
        assert not cell.get("outputs") and cell.get("execution_count") is None, cell["id"]


def test_every_id_was_written_by_hand(path, book):
    ids = [cell.id for cell in book.cells]
    assert len(set(ids)) == len(ids)
    for name in ids:
        assert re.fullmatch(rf"{path.stem[:2]}-[a-z0-9]+(-[a-z0-9]+)*", name) and not re.search(r"[0-9a-f]{8}", name), (
            name
        )
    assert all(about(cell)["grade_id"] == cell.id for cell in book.cells if about(cell))


def test_the_first_code_cell_begins_the_lesson_and_is_folded(path, book):
    first = next(cell for cell in book.cells if cell.cell_type == "code")
    assert folded(first) and f'circuit = begin("{path.stem[:2]}")' in first.source
    assert path.stem[:2] in variants.lessons()


def test_every_folded_cell_stays(book):
    for cell in filter(folded, book.cells):
        assert cell.metadata.get("deletable") is False and cell.metadata.get("editable") is False, cell.id


def test_at_least_six_graded_items_each_of_three_cells(book):
    assert len(graded(book)) >= 6
    for cell in graded(book):
        at = book.cells.index(cell)
        question, answer = book.cells[at - 2], book.cells[at - 1]
        assert question.cell_type == "markdown" and question.id == f"{cell.id}-question"
        assert answer.cell_type == cell.cell_type == "code" and answer.id == f"{cell.id}-answer"
        kinds = {key: about(answer)[key] for key in ("grade", "solution", "locked", "task")}
        assert kinds == {"grade": False, "solution": True, "locked": False, "task": False}
        kinds = {key: about(cell)[key] for key in ("grade", "solution", "locked", "task")}
        assert kinds == {"grade": True, "solution": False, "locked": True, "task": False}
        assert about(cell)["points"] > 0 and about(cell)["schema_version"] == about(answer)["schema_version"] == 3
    answers = [cell.id for cell in book.cells if about(cell).get("solution") and not about(cell).get("grade")]
    assert answers == [f"{cell.id}-answer" for cell in graded(book)]


def test_each_graded_cell_hands_in_its_own_item_from_the_answer_above(book):
    for cell in graded(book):
        handed = HANDED_IN.fullmatch(cell.source)
        assert handed and handed["item"] == cell.id and handed["unit"], cell.id
        answer = book.cells[book.cells.index(cell) - 1].source
        lines = answer.splitlines()
        assert lines[0].startswith(f"# {cell.id}: your answer in ") and "three dots" in lines[0]
        assert lines[1] == f"{handed['name']} = ..."
        assert len(SOLVED.findall(answer)) == 1
        assert re.search(rf"^{handed['name']} = ", SOLVED.search(answer)[1], re.MULTILINE), cell.id


def test_each_solution_checks_itself_on_the_learners_own_circuit(book):
    """nbval never compares a cell without outputs: only an assert inside the solution can fail."""
    for cell in graded(book):
        steps = ast.parse(SOLVED.search(book.cells[book.cells.index(cell) - 1].source)[1]).body
        assert any(isinstance(step, ast.Assert) for step in steps), cell.id
        assert "circuit" in SOLVED.search(book.cells[book.cells.index(cell) - 1].source)[1], cell.id


def test_what_a_person_marks_has_a_printed_rubric_and_stays_open_to_the_learner(book, out):
    for cell in by_hand(book):
        question = book.cells[book.cells.index(cell) - 1]
        assert question.id == f"{cell.id}-question" and "rubric" in question.source and cell.cell_type == "markdown"
        lines = re.findall(r"^\| (\d+) \|", question.source, re.MULTILINE)
        assert lines == [str(number) for number in range(1, about(cell)["points"] + 1)]
        assert re.search(rf"\b{about(cell)['points']} points\b", question.source) and not about(cell)["locked"]
        given = next(each for each in out.cells if each.id == cell.id)
        assert given.metadata.get("editable", True) and "Write your answer here." in given.source
        prompt = SOLVED.sub("", cell.source).strip()
        assert prompt and prompt in given.source


def test_two_items_do_not_share_a_variable(book):
    names = [HANDED_IN.fullmatch(cell.source)["name"] for cell in graded(book)]
    assert len(set(names)) == len(names)


def test_each_question_states_points_tolerance_and_partial_credit(book):
    """The tolerance and the credit for a slip may stand once for all, at the head of the graded questions."""
    head = next(cell.source for cell in book.cells if cell.id.endswith("-graded"))
    for cell in graded(book):
        question = book.cells[book.cells.index(cell) - 2].source
        assert re.search(rf"\b{about(cell)['points']} points?\b", question), cell.id
        assert re.search(r"(?i)\bwithin\b|\bexact", question + head), cell.id
        assert "quarter" in question + head, cell.id


def test_practice_is_an_answer_and_a_folded_check(book):
    checks = [
        cell for cell in book.cells if cell.cell_type == "code" and re.search(r"^check\(", cell.source, re.MULTILINE)
    ]
    assert len(checks) >= 3
    for cell in checks:
        answer = book.cells[book.cells.index(cell) - 1]
        assert folded(cell) and answer.cell_type == "code" and not folded(answer) and not about(answer), cell.id
        name = re.search(r"^(\w+) = \.\.\.$", answer.source, re.MULTILINE)
        assert name and re.search(rf"check\(\s*{name[1]}\b", cell.source), cell.id
        assert "right=" in cell.source and "hints=" in cell.source and "unit=" in cell.source, cell.id


def test_the_sections_come_in_the_order_of_the_course(book):
    def opens_bench(cell):
        return cell.cell_type == "code" and bool(re.search(r"\bbench\(\"", cell.source))

    def checks(cell):
        return cell.cell_type == "code" and bool(re.search(r"^check\(", cell.source, re.MULTILINE))

    def worked(cell):
        return (cell.cell_type == "code" and "example" in cell.id) or heading("worked")(cell)

    order = [
        heading("the job"),
        lambda cell: cell.id.endswith("-cautions"),
        heading("predict"),
        opens_bench,
        worked,
        checks,
        lambda cell: bool(about(cell)),
        heading("tell the customer"),
    ]
    places = [place(book, fits) for fits in order]
    assert places == sorted(places), places
    assert places[-1] > max(index for index, cell in enumerate(book.cells) if about(cell))


def test_it_cautions_and_leaves_the_last_word_to_code_and_licence(book):
    text = next(cell.source for cell in book.cells if cell.id.endswith("-cautions")).lower()
    assert "line voltage" in text and "code" in text and "licens" in text


def test_it_plays_at_the_library(book):
    assert any("Fennel Street Library" in cell.source for cell in book.cells)


def test_a_learner_gets_no_answer(book, out):
    assert is_source(book) and not is_source(out)
    own = {cell.id: set(cell.source.splitlines()) for cell in out.cells}
    for cell in graded(book):
        answer = book.cells[book.cells.index(cell) - 1]
        hidden = set(SOLVED.search(answer.source)[1].splitlines()) - {""}
        assert not hidden & own[answer.id], cell.id
        assert [line for line in own[answer.id] if line.endswith(" = ...")]
    text = nbformat.writes(out)
    assert not re.search(r"(?i)solution\\n|hidden tests|autograde\b|\btrap\b", text.replace('"solution"', ""))


def test_a_learner_gets_the_same_cells_under_the_same_ids(book, out):
    assert [cell.id for cell in out.cells] == [cell.id for cell in book.cells]
    assert not [cell.id for cell in out.cells if cell.get("outputs")]
    for before, after in zip(book.cells, out.cells, strict=True):
        if "SOLUTION" not in before.source:
            assert after.source == before.source


def test_a_learner_cannot_delete_what_the_lesson_needs(out):
    for cell in out.cells:
        if folded(cell) or about(cell):
            assert cell.metadata.get("deletable") is False, cell.id
        if folded(cell) or (about(cell).get("grade") and not about(cell).get("solution")):
            assert cell.metadata.get("editable") is False, cell.id


def test_no_machine_and_no_registry_is_named(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"/(home|root|tmp|work|Users)/|[A-Z]:\\\\|https?://", text)

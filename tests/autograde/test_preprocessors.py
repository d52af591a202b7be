"""Each step by itself: what `RestoreCells`, `TameOutputs` and `MarkSlips` do to notebooks, without a kernel."""

import base64
import copy
import html
import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from nbgrader.utils import determine_grade

from autograde.evidence import MIME
from autograde.marking import Key, Mark
from autograde.preprocessors.mark_slips import checked_keys, graded_cells, show_mark
from autograde.preprocessors.restore_cells import RestoreCells, restored
from autograde.preprocessors.tame_outputs import TameOutputs, tamed, verbatim
from autograde.trouble import Trouble


def _marking(name, **given):
    plain = {"grade": False, "solution": False, "locked": False, "task": False, "schema_version": 3}
    return {"nbgrader": {**plain, "grade_id": name, **given}}


@pytest.fixture
def released():
    cells = [
        new_markdown_cell("# Lesson", id="title"),
        new_code_cell("circuit = begin('90')", id="begin", metadata={"editable": False}),
        new_code_cell("play = 1", id="play"),
        new_code_cell("peak = ...\n", id="90-peak-answer", metadata=_marking("90-peak-answer", solution=True)),
        new_code_cell(
            'hand_in("90-peak", peak, "V")',
            id="90-peak",
            metadata=_marking("90-peak", grade=True, locked=True, points=2),
        ),
        new_markdown_cell("Say why.", id="90-why", metadata=_marking("90-why", grade=True, solution=True, points=1)),
    ]
    return new_notebook(cells=cells, metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}})


@pytest.fixture
def submitted(released):
    nb = copy.deepcopy(released)
    nb.cells[3].source = "peak = 33.94"
    return nb


def _cell(nb, name):
    return next(cell for cell in nb.cells if cell.id == name)


def _same_lesson(nb, released):
    """Everything but the open cells' sources is the released lesson, in its order."""
    kept = [cell for cell in nb.cells if not cell.id.startswith("own-")]
    assert [cell.id for cell in kept] == [cell.id for cell in released.cells]
    for cell, original in zip(kept, released.cells, strict=True):
        assert (cell.cell_type, cell.metadata) == (original.cell_type, original.metadata)
        if cell.id not in ("play", "90-peak-answer", "90-why"):
            assert cell.source == original.source
    assert {key: nb.metadata[key] for key in released.metadata} == dict(released.metadata)


def test_an_honest_notebook_keeps_its_answers(released, submitted):
    submitted.cells[2].source = "play = 2"
    nb, notes = restored(released, submitted)
    _same_lesson(nb, released)
    assert (_cell(nb, "90-peak-answer").source, _cell(nb, "play").source) == ("peak = 33.94", "play = 2")
    assert notes == []


def test_every_deleted_cell_comes_back(released, submitted):
    submitted.cells = [submitted.cells[3]]
    nb, notes = restored(released, submitted)
    _same_lesson(nb, released)
    assert _cell(nb, "90-peak-answer").source == "peak = 33.94"
    assert "90-peak was missing" in " ".join(notes)


def test_a_deleted_answer_comes_back_blank(released, submitted):
    del submitted.cells[3]
    nb, _ = restored(released, submitted)
    assert _cell(nb, "90-peak-answer").source == "peak = ...\n"


@pytest.mark.parametrize("name", ["title", "begin", "90-peak"])
def test_a_changed_locked_cell_is_put_back(released, submitted, name):
    _cell(submitted, name).source = "hand_in('90-peak', 1, 'V')"
    nb, _ = restored(released, submitted)
    _same_lesson(nb, released)


def test_hostile_metadata_is_gone(released, submitted):
    for cell in submitted.cells:
        cell.metadata["tags"] = ["skip-execution"]
        cell.metadata["nbgrader"] = {
            "grade_id": cell.id,
            "points": 99,
            "grade": False,
            "solution": True,
            "locked": False,
        }
    submitted.metadata = {"kernelspec": {"name": "evil"}, "celltoolbar": "x", "halfcycle": {"notes": ["paid"]}}
    nb, _ = restored(released, submitted)
    _same_lesson(nb, released)
    assert set(nb.metadata) == {"kernelspec", "halfcycle"}
    assert nb.metadata["halfcycle"] == {"notes": [], "person": []}


def test_own_cells_stay_where_they_were_and_are_bare(released, submitted):
    submitted.cells.insert(3, new_code_cell("helper = 24", metadata={"tags": ["skip-execution"]}))
    submitted.cells.insert(0, new_code_cell("import math"))
    nb, _ = restored(released, submitted)
    _same_lesson(nb, released)
    order = [cell.source for cell in nb.cells]
    assert order[0] == "import math"
    assert order.index("helper = 24") == order.index("peak = 33.94") - 1
    assert all(cell.metadata == {} for cell in nb.cells if cell.id.startswith("own-"))


def test_own_markdown_is_kept_word_for_word_but_not_as_markup(released, submitted):
    submitted.cells.append(new_markdown_cell("<script>alert(1)</script> [x](javascript:alert(1)) $\\href{x}$"))
    _cell(submitted, "90-why").source = "<img src=x onerror=alert(1)> because 3 < 4"
    nb, _ = restored(released, submitted)
    for cell in (nb.cells[-1], _cell(nb, "90-why")):
        assert not set("<>[](){}$\\") & set(cell.source)
    assert "because" in _cell(nb, "90-why").source


def test_a_copied_answer_goes_on_as_an_own_cell(released, submitted):
    twin = copy.deepcopy(submitted.cells[3])
    twin.id, twin.source = "pasted", "peak = 34.1"
    submitted.cells.insert(4, twin)
    nb, notes = restored(released, submitted)
    order = [cell.source for cell in nb.cells]
    assert order.index("peak = 34.1") == order.index("peak = 33.94") + 1
    assert "2 times" in " ".join(notes)


def test_two_cells_of_one_id_keep_the_first(released, submitted):
    twin = copy.deepcopy(submitted.cells[3])
    twin.source = "peak = 1"
    submitted.cells.append(twin)
    nb, _ = restored(released, submitted)
    assert _cell(nb, "90-peak-answer").source == "peak = 33.94"
    assert len({cell.id for cell in nb.cells}) == len(nb.cells)


def test_a_copied_graded_cell_goes(released, submitted):
    submitted.cells += [copy.deepcopy(submitted.cells[4]) for _ in range(3)]
    nb, _ = restored(released, submitted)
    assert sum(cell.source.startswith("hand_in") for cell in nb.cells) == 1


def test_cells_are_known_without_their_ids(released, submitted):
    for number, cell in enumerate(submitted.cells):
        cell.id = f"other-{number}"
    nb, _ = restored(released, submitted)
    _same_lesson(nb, released)
    assert _cell(nb, "90-peak-answer").source == "peak = 33.94"
    assert len(nb.cells) == len(released.cells)


def test_an_answer_that_became_text_is_still_an_answer(released, submitted):
    submitted.cells[3] = new_markdown_cell("peak = 33.94", id="90-peak-answer")
    nb, _ = restored(released, submitted)
    assert (_cell(nb, "90-peak-answer").cell_type, _cell(nb, "90-peak-answer").source) == ("code", "peak = 33.94")


def test_the_order_is_the_lessons(released, submitted):
    submitted.cells.reverse()
    nb, _ = restored(released, submitted)
    _same_lesson(nb, released)
    assert _cell(nb, "90-peak-answer").source == "peak = 33.94"


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["id", "source", "metadata", "nbgrader", "cell_type"]), inner)
    ),
    max_leaves=8,
)


@settings(max_examples=60, deadline=None)
@given(st.lists(anything, max_size=6))
def test_no_cell_can_stop_the_restoring(cells):
    released = new_notebook(cells=[new_code_cell("x = ...", id="a", metadata=_marking("a", solution=True))])
    nb, _ = restored(released, {"cells": cells})
    assert "a" in [cell.id for cell in nb.cells]
    json.dumps(nb)


@pytest.mark.parametrize("linked", ["notebook", "lesson", "learner"])
def test_links_are_not_followed(tmp_path, submitted, linked):
    folder = tmp_path / "submitted" / "mallory" / "90_lesson"
    target = tmp_path / "alice"
    (target / "90_lesson").mkdir(parents=True)
    (target / "90_lesson" / "90_lesson.ipynb").write_text("{}")
    places = {"notebook": (folder / "90_lesson.ipynb", target / "90_lesson" / "90_lesson.ipynb")}
    places |= {"lesson": (folder, target / "90_lesson"), "learner": (folder.parent, target)}
    link, to = places[linked]
    link.parent.mkdir(parents=True)
    link.symlink_to(to)
    resources = {
        "metadata": {"path": str(folder)},
        "nbgrader": {"student": "mallory", "assignment": "90_lesson", "notebook": "90_lesson"},
    }
    with pytest.raises(Trouble, match="link"):
        RestoreCells(release_folder=str(tmp_path)).preprocess(submitted, resources)


# TameOutputs


def _html(text):
    return tamed([new_output("display_data", data={"text/html": text})])[0].data["text/html"]


@pytest.mark.parametrize(
    "page",
    [
        "<script>alert(1)</script>",
        "<SCRIPT src=x>",
        "<img src=x onerror=alert(1)>",
        "<svg onload=alert(1)><b>x</b></svg>",
        '<a href="javascript:alert(1)">x</a>',
        '<table onclick="alert(1)"><tr><td style="position:fixed">x</td></tr></table>',
        "<iframe srcdoc='<script>alert(1)</script>'>",
        "<style>*{display:none}</style>",
        '<form action="x"><input></form>',
        "<scr<script></script>ipt>alert(1)</script>",
        "<details ontoggle=alert(1) open>x</details>",
        "<math><mtext></form><form><mglyph><style></math><img src onerror=alert(1)>",
        "$\\href{javascript:alert(1)}{x}$",
        "<table><tr><td colspan=\"<svg aria-label=' onclick=alert(1) x='></svg>\">x</td></tr></table>",
        "<<svg></svg> onclick=alert(1)>",
        "<svg aria-label='\"onclick=alert(1)><script>'><script>alert(1)</script></svg>",
        "<svg><svg/onload=alert(1)></svg><script>alert(1)</script></svg>",
        "<svg><foreignObject><iframe src='javascript:alert(1)'/></foreignObject></svg>",
    ],
)
def test_nothing_in_html_acts(page):
    clean = re.sub(OUR_IMAGE, "", _html(page)).lower()
    assert not any(
        f"<{tag}" in clean for tag in ("script", "img", "svg", "a ", "iframe", "style", "form", "input", "math")
    )
    assert not any(f" {name}=" in clean for name in ("onclick", "onerror", "onload", "ontoggle", "style", "href"))
    assert "\\href" not in clean


OUR_IMAGE = r'<img alt="[^"<>]*" style="max-width:100%" src="data:image/svg\+xml;base64,[A-Za-z0-9+/=]+">'
PICTURE = '<p>before</p><svg viewBox="0 0 9 9" aria-label="A coil of 40 Ω"><path d="M0 0L9 9" stroke="red"/></svg><b>after</b>'


def test_a_drawn_picture_stays_as_an_image():
    page = _html(PICTURE)
    (image,) = re.findall(OUR_IMAGE, page)
    assert 'alt="A coil of 40 Ω"' in image
    assert page.startswith("<p>before</p><img ") and page.endswith("<b>after</b>")
    drawn = base64.b64decode(image.partition("base64,")[2].rstrip('">')).decode()
    assert 'xmlns="http://www.w3.org/2000/svg"' in drawn and 'd="M0 0L9 9"' in drawn


def test_the_pictures_of_the_lessons_stay(monkeypatch):
    from halfcycle.workbook import one_run, page

    shown = []
    for place in (one_run, page):
        for name in ("_show", "show", "_show_pair", "show_pair"):
            if hasattr(place, name):
                monkeypatch.setattr(place, name, lambda *parts: shown.append("".join(map(str, parts[:-1]))))
    one_run.sine_picture(24)
    (drawn,) = shown
    assert len(re.findall(OUR_IMAGE, _html(drawn))) == drawn.count("</svg>") == 2


@pytest.mark.parametrize(
    "svg",
    [
        "<svg><path></svg>",
        "<svg>&unknown;</svg>",
        "<svg>" + "<g>" * 100_000 + "</svg>",
        "<svg>" + "x" * 300_000 + "</svg>",
        '<svg xmlns="http://example.org/else"></svg>',
    ],
)
def test_a_drawing_that_is_none_is_dropped(svg):
    assert "<img" not in _html(f"<p>kept</p>{svg}") and "kept" in _html(f"<p>kept</p>{svg}")


def test_a_drawing_of_its_own_kind_becomes_an_image_too():
    data = {"image/svg+xml": PICTURE[PICTURE.index("<svg") : PICTURE.index("<b>")], "text/plain": "x"}
    shown = tamed([new_output("display_data", data=data)])[0].data
    assert re.fullmatch(OUR_IMAGE, shown["text/html"]) and set(shown) == {"text/plain", "text/html"}


def test_pictures_are_bounded_in_number():
    assert len(re.findall(OUR_IMAGE, _html("<svg><g/></svg>" * 100))) == 20


def test_tables_and_words_stay():
    page = "<table><tr><th scope='row'>load</th><td><b>60 VA</b></td></tr></table>"
    assert "<b>60 VA</b>" in _html(page)
    assert "<th scope" in _html(page)


def test_only_harmless_kinds_stay():
    data = {
        "text/plain": "x",
        "application/javascript": "alert(1)",
        "image/svg+xml": "<svg/>",
        "text/markdown": "x",
        "text/latex": "x",
        MIME: {},
    }
    assert set(tamed([new_output("display_data", data=data)])[0].data) == {"text/plain"}


@pytest.mark.parametrize(
    "picture",
    ['"><script>', 'iVBORw0KGgo"onerror=x', "R0lGODlh", "iVBORw0KGgo" + "A" * 2_000_000, ["iVBO", "<"], {"a": 1}],
)
def test_a_picture_that_is_none_is_dropped(picture):
    assert tamed([{"output_type": "display_data", "data": {"image/png": picture, "text/plain": "x"}}])[0].data == {
        "text/plain": "x"
    }


def test_a_picture_stays():
    assert tamed([new_output("display_data", data={"image/png": "iVBORw0KGgoAAA=="})])[0].data == {
        "image/png": "iVBORw0KGgoAAA=="
    }


def test_output_is_bounded_in_number_and_length():
    many = tamed([new_output("stream", text="x")] * 1000)
    long = tamed([new_output("stream", text="x" * 10**6)] * 3)
    deep = tamed([new_output("error", ename="E" * 10**6, evalue="v", traceback=["t" * 10**5] * 1000)])
    assert len(many) == 41
    assert sum(len(one.text) for one in long) < 51_000
    assert len(json.dumps(deep)) < 60_000
    assert "left out" in many[-1].text
    assert "left out" in long[-1].text


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["stream", "error", "display_data", "execute_result", "odd"]),
    st.dictionaries(st.sampled_from(["data", "text", "traceback", "ename", "name"]), anything),
)
def test_no_output_can_stop_the_taming(kind, parts):
    json.dumps(tamed([{**parts, "output_type": kind}]))


def test_widget_state_is_dropped():
    nb = new_notebook(metadata={"widgets": {"application/vnd.jupyter.widget-state+json": {}}})
    nb, _ = TameOutputs().preprocess(nb, {})
    assert "widgets" not in nb.metadata


@given(st.text())
def test_verbatim_keeps_every_letter_and_no_sign(text):
    shown = html.unescape(verbatim(text)).replace("\u2060", "")
    assert shown == "".join(letter for letter in text if letter.isprintable() or letter.isspace())
    assert not set("<>[]()*_`$\\!") & set(verbatim(text))


# MarkSlips

KEY = Key("90-peak", "V", 2, lambda c: 33.94, lambda c: 33.94, "", "", "Peak")


@pytest.mark.parametrize("points", [0.0, 0.5, 1.5, 2.0])
def test_nbgrader_reads_the_points_that_were_given(released, points):
    cell = _cell(released, "90-peak")
    show_mark(cell, KEY, Mark(points, "wrong", "Reread <b>Peak</b>."), {"value": 33.94, "unit": "V"})
    assert determine_grade(cell) == (points, 2.0)
    assert "<b>" not in cell.outputs[1].data["text/html"]


def test_what_the_fence_leaves_behind_earns_nothing_until_it_is_marked(released):
    from autograde.preprocessors.fenced_execute import FencedExecute

    cell = _cell(released, "90-peak")
    cell.outputs = [new_output("display_data", data={"text/plain": "Recorded: 33.94 V"})]
    assert determine_grade(cell) == (2.0, 2.0)  # nbgrader alone pays in full for an output that is no error
    FencedExecute()._leave_unmarked(released, "")
    assert determine_grade(cell) == (0, 2.0)


def test_only_cells_marked_by_machine_are_graded_cells(released):
    assert list(graded_cells(released)) == ["90-peak"]


@pytest.mark.parametrize(("item", "points", "said"), [("90-peak", 3, "points"), ("90-peek", 2, "same items")])
def test_a_lesson_that_disagrees_with_its_keys_is_not_marked(released, monkeypatch, item, points, said):
    from autograde.preprocessors import mark_slips

    key = Key(item, "V", points, lambda c: 1.0, lambda c: 1.0, "", "", "")
    monkeypatch.setattr(mark_slips, "load", lambda lesson, room: ({item: key}, {item: ()}))
    with pytest.raises(Trouble, match=said):
        checked_keys(released, "90_lesson")


def test_a_graded_cell_without_any_keys_is_not_marked(released):
    with pytest.raises(LookupError):
        checked_keys(released, "90_lesson")

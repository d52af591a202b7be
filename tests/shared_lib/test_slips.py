"""What `hand_in` records and says, for every kind of thing that somebody might type into an answer cell."""

import json
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output

from halfcycle.answers import NoAnswer, read, written
from halfcycle.slips import SLIP, hand_in

TOOLS = "from halfcycle.lesson import begin, hand_in"
ANSWER = (
    "# 03-peak: your answer in volts. Put a number or calculator arithmetic in place of the three dots.\npeak_volts = "
)
HAND_IN = 'hand_in("03-peak", peak_volts, "V")'


@pytest.fixture
def notebook(tmp_path, monkeypatch):
    """A function that runs one cell as a notebook would and returns what it showed: a list of media bundles."""
    (tmp_path / ".halfcycle.json").write_text('{"course": "half-cycle", "learner": "ana"}')
    monkeypatch.chdir(tmp_path)
    shell = InteractiveShell.instance()

    def run(source):
        with capture_output() as shown:
            shell.run_cell(source)
        assert shown.stderr == "", shown.stderr
        assert "Traceback" not in shown.stdout, shown.stdout
        return [output.data for output in shown.outputs]

    run(TOOLS)
    run('circuit = begin("03")')
    yield run
    InteractiveShell.clear_instance()


def slip_after(notebook, typed):
    """(slip, sentence of the hand-in cell, sentences of the answer cell) after ``typed`` took the place of the dots."""
    said = [output["text/plain"] for output in notebook(ANSWER + typed)]
    (output,) = notebook(HAND_IN)
    return output[SLIP], output["text/plain"], said


@pytest.mark.parametrize(
    "value, recorded",
    [
        (33.9, 33.9),
        (34, 34.0),
        (-0.5, -0.5),
        (0, 0.0),
        (np.float64(33.9), 33.9),
        (np.float32(0.5), 0.5),
        (np.int16(34), 34.0),
        (np.array(33.9), 33.9),
        (Fraction(1, 4), 0.25),
        (Decimal("33.9"), 33.9),
        (4.7e-4, 4.7e-4),
    ],
)
def test_numbers_of_every_make_are_recorded(value, recorded):
    answer = read(value, "V")
    assert (answer.value, type(answer.value)) == (recorded, float)


WRONG = [
    ("33.9 V", "leave the unit out and type the number alone: 33.9"),
    ('"33.9 V"', "leave the unit out and type the number alone: 33.9"),
    ("33.9V", "leave the unit out and type the number alone: 33.9"),
    ("33.9 %", "leave the unit out"),
    ('"33.9"', "take the quotes away: 33.9"),
    ("33,9", "write the decimal sign as a point"),
    ("33,05", "write the decimal sign as a point"),
    ("33,9 V", "leave the unit out"),
    ("1.234,5", "write the decimal sign as a point"),
    ("", "put a number in place of the three dots"),
    ("...", "put a number in place of the three dots"),
    ("None", "put a number in place of the three dots"),
    ('"about thirty"', "this is text, and a number is wanted"),
    ("24 × 1.414", "calculator arithmetic with + - * /"),
    ("about 30", "this is text, and a number is wanted"),
    ("[33.9]", "take the brackets and any comma away"),
    ("33.9,", "take the brackets and any comma away"),
    ("[33.9, 34]", "this is a list"),
    ("[]", "this is a list"),
    ("{}", "this is a list"),
    ('float("nan")', "not a number"),
    ('float("inf")', "too large"),
    ("1e400", "too large"),
    ("10**400", "too large"),
    ("9**9**9", "far too large"),
    ("9.0**9**9", "too large"),
    ("True", "True or False"),
    ("33 > 9", "True or False"),
    ("1j", "complex number"),
    ("(-2)**0.5", "complex number"),
    ("24 / 0", "divides by zero"),
    ("24^2", "write ** instead"),
    ("24(2)", "put a * between them"),
    ("max", "names a function"),
    ("peek", "The name peek has no value yet"),
    ('"24" * 1.4', "do not go together"),
    ("circuit.nonsense", "no value 'nonsense'"),
    ("circuit", "Python calls it Circuit"),
]


@pytest.mark.parametrize("typed, advice", WRONG)
def test_a_wrong_kind_of_answer_gets_one_sentence_and_no_value(notebook, typed, advice):
    slip, sentence, said = slip_after(notebook, typed)
    assert slip == {"item": "03-peak", "value": None, "unit": "V"}
    assert sentence.startswith("No answer yet for 03-peak: ")
    assert advice.lower() in sentence.lower()
    assert len(said) <= 1 and "\n" not in sentence


@pytest.mark.parametrize("typed", ["24 / 0", "33.9 V", "peek", "...", "(1", "raise SystemExit"])
def test_an_older_answer_is_never_handed_in_for_a_newer_wrong_one(notebook, typed):
    assert slip_after(notebook, "33.9")[0]["value"] == 33.9
    assert slip_after(notebook, typed)[0]["value"] is None


def test_arithmetic_with_the_circuit_is_recorded(notebook):
    slip, sentence, said = slip_after(notebook, "24 * 2**0.5  # my own way")
    assert slip["value"] == pytest.approx(33.9411255) and said == []
    assert sentence == "Recorded: 33.9411 V for 03-peak."


def test_the_slip_travels_with_text_and_html_in_one_output_and_is_plain_json(notebook):
    notebook(ANSWER + "33.9")
    (output,) = notebook(HAND_IN)
    assert set(output) == {"text/plain", "text/html", SLIP}
    assert json.loads(json.dumps(output[SLIP], allow_nan=False)) == output[SLIP]
    assert "33.9 V" in output["text/html"] and 'role="status"' in output["text/html"]


def test_the_hand_in_cell_run_first_says_what_is_missing(notebook):
    (output,) = notebook('hand_in("03-peak", never_set_volts, "V")')
    assert "never_set_volts has no value yet" in output["text/plain"] and SLIP not in output


def test_what_was_typed_is_never_markup(notebook):
    notebook(ANSWER + "'<script>alert(1)</script>'")
    (output,) = notebook('hand_in("<b>", 1, "<i>")')
    assert "<script>" not in output["text/html"] and "&lt;b&gt;" in output["text/html"]


def test_tables_of_zeros_and_ones(notebook):
    for value in ([0, 1, 1, 0], (0, 1, 1, 0), np.array([0, 1, 1, 0]), [False, True, True, False]):
        assert read(value, "table").value == [0, 1, 1, 0]
    for wrong in ([], [2], [0.5], ["1"], [0] * 17, 1, "0110", {0, 1}, [[0, 1]], None, NoAnswer("x")):
        assert read(wrong, "table").value is None and read(wrong, "table").sentence
    assert written([0, 1], "table") == "[0, 1]"


def test_outside_a_notebook_it_prints(capsys):
    hand_in("03-peak", 33.9, "V")
    assert capsys.readouterr().out == "Recorded: 33.9 V for 03-peak.\n"


@pytest.mark.parametrize(
    "source, advice",
    [
        ("1 / 0", "divides by zero"),
        ("open('no-such.csv')", "no file no-such.csv"),
        ("import nothing_of_the_kind", "not installed"),
        ("[1][3]", "square brackets"),
        ("print((1)", "cannot read this cell"),
        ("  1\n 2", "cannot read this cell"),
        ("raise KeyboardInterrupt", "stopped"),
        ("raise RuntimeError('deep inside')", "could not be worked out (RuntimeError)"),
        ("import math\nmath.sqrt(-1)", "outside what can be worked out"),
    ],
)
def test_any_error_in_any_cell_is_one_sentence_with_the_traceback_folded_away(notebook, source, advice):
    (output,) = notebook(source)
    assert advice in output["text/plain"] and "\n" not in output["text/plain"]
    shown, _, folded = output["text/html"].partition("<details>")
    assert "Error" not in shown.replace("(RuntimeError)", "") and folded


def test_away_from_a_learners_folder_the_error_is_sent_as_it_is(notebook, tmp_path, capsys):
    """So that lesson tests and graders see it: a check that only looked gentle would be no check."""
    (tmp_path / ".halfcycle.json").unlink()
    with pytest.raises(AssertionError, match="Traceback"):
        notebook("assert 1 == 2")


def test_ordinary_arithmetic_is_left_as_it_was(notebook):
    notebook(
        "import numpy as np\na = np.arange(3) ** 2\nb = 2 ** 10\nc = 1 ^ 1\nd = {1} ^ {2}\ne = 2 ** -1\nf = 1 ** 10**9"
    )
    shell = InteractiveShell.instance()
    assert shell.user_ns["a"].tolist() == [0, 1, 4]
    assert [shell.user_ns[name] for name in "bcdef"] == [1024, 0, {1, 2}, 0.5, 1]

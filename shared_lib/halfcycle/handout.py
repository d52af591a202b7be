"""The safety-talk sheet of a bench: one page in black and white with the circuit, two waveforms, questions, cautions and
lines to sign."""

import textwrap
from pathlib import Path

from . import figures
from .benches import module
from .benches.model import talk

__all__ = ["PAPERS", "sheet", "write_handout"]

PAPERS = {"letter": (8.5, 11.0), "a4": (8.27, 11.69)}  # inches
_MARGIN_IN = 0.7
_READING = 52  # letters in a line
_SIGNERS = 8


def write_handout(name: str, path: Path, *, paper: str = "letter") -> None:
    """Write the sheet of the bench called `name` to `path` as a PDF of one page; OSError where that cannot be done."""
    sheet(name, paper=paper).save(path, f"Half Cycle: {talk(name).title}")


def sheet(name: str, *, paper: str = "letter") -> figures.Page:
    """The sheet of a bench on "letter" or "a4" paper.

    >>> sheet("rectifier").words.split(".")[0]
    'Safety talk: Rectifier and capacitor'
    """
    words, bench = talk(name), module(name)
    page = figures.Page(_in_words(words, bench), width_in=PAPERS[paper][0], height_in=PAPERS[paper][1])
    right = page.width_in - _MARGIN_IN
    page.write(_MARGIN_IN, 0.55, f"Safety talk: {words.title}", fontsize=18, weight="bold")
    page.write(_MARGIN_IN, 0.97, words.about, fontsize=10.5)
    page.write(right, 0.62, "Half Cycle\nFennel Street Library", fontsize=9, ha="right", linespacing=1.3)
    page.line(_MARGIN_IN, right, 1.24, 1.6)
    below = _cautions(page, words.cautions, 1.38)
    _pictures(page, bench, below)
    _questions(page, words.questions, below + 5.15)
    _sign_in(page, right)
    return page


def _in_words(words, bench) -> str:
    shown = [f"{title}: {', '.join(m.label for m in bench.markers(settings))}" for title, settings in bench.PRINTED]
    parts = [f"Safety talk: {words.title}", *words.cautions, *words.questions, *shown]
    return " ".join(part if part.endswith((".", "?")) else f"{part}." for part in parts).replace(
        "\N{NO-BREAK SPACE}", " "
    )


def _cautions(page: figures.Page, cautions: tuple[str, ...], down: float) -> float:
    page.write(_MARGIN_IN, down, "Before anyone opens a panel", fontsize=13, weight="bold")
    down += 0.28
    for caution in cautions:
        down = _paragraph(page, down, "■", caution)
    return down + 0.1


def _pictures(page: figures.Page, bench, down: float) -> None:
    """The circuit above on the left, its settings in words beside it; the two waveforms below."""
    second, settings = bench.PRINTED[1]
    figures.draw_wiring(page.axes(_MARGIN_IN, down, 3.3, 2.35), bench.wiring_picture(settings))
    state = bench.state(settings)
    readings = "\n".join(textwrap.fill(each.whole, _READING, subsequent_indent="    ") for each in state.readings)
    page.write(_MARGIN_IN + 3.6, down + 0.1, second, fontsize=11, weight="bold")
    page.write(_MARGIN_IN + 3.6, down + 0.36, readings, fontsize=9, linespacing=1.5)
    room = (page.width_in - 2 * _MARGIN_IN - 0.6) / 2
    for place, (title, each) in enumerate(bench.PRINTED):
        left = _MARGIN_IN + 0.45 + place * (room + 0.45)
        axes = page.axes(left, down + 2.97, room - 0.3, 1.6)
        volts = [trace for trace in bench.traces(each) if trace.wave.unit == "V"]
        figures.draw_waveforms({"V": axes}, volts, black=True)
        marks = ", ".join(marker.label for marker in bench.markers(each))
        axes.set_title(f"{title}\n{marks}", loc="left", fontsize=8.5, pad=17)
        axes.tick_params(labelsize=8)


def _questions(page: figures.Page, questions: tuple[str, ...], down: float) -> None:
    page.write(_MARGIN_IN, down, "Ask the room", fontsize=13, weight="bold")
    down += 0.28
    for number, question in enumerate(questions, start=1):
        down = _paragraph(page, down, f"{number}.", question)


def _paragraph(page: figures.Page, down: float, mark: str, text: str) -> float:
    """A marked paragraph; returns where the next one begins."""
    lines = textwrap.wrap(text, 92)
    page.write(_MARGIN_IN, down, mark)
    page.write(_MARGIN_IN + 0.25, down, "\n".join(lines), linespacing=1.2)
    return down + 0.2 * len(lines) + 0.04


def _sign_in(page: figures.Page, right: float) -> None:
    down = page.height_in - 2.2
    page.write(_MARGIN_IN, down, "Who was there", fontsize=13, weight="bold")
    page.write(right, down + 0.03, "Date ______________   Place __________________________", ha="right")
    middle, columns = (right + _MARGIN_IN) / 2, 2
    for row in range(_SIGNERS // columns):
        y = down + 0.66 + 0.36 * row
        page.line(_MARGIN_IN, middle - 0.15, y)
        page.line(middle + 0.15, right, y)
    page.write(_MARGIN_IN, page.height_in - 0.4, "Name and signature on each line.", fontsize=8.5)

"""Printed figures and the hand-out: what they say in words, and that the sheet is one page without colour."""

import re

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from halfcycle import Waveform, wiring
from halfcycle.benches import NAMES, module
from halfcycle.benches.model import talk
from halfcycle.figures import Level, Span, Trace, figure_waveforms, figure_wiring
from halfcycle.handout import PAPERS, sheet, write_handout

SINE = Waveform.sine(volts_peak=34.0, cycles=2)


def pixels(figure) -> np.ndarray:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].astype(int)


def test_a_figure_says_its_numbers_where_it_cannot_be_seen():
    figure = figure_waveforms(
        [
            Trace(SINE, "supply", "Secondary"),
            Trace(Waveform(SINE.seconds, SINE.values / 100, "A"), "current", "Current"),
        ],
        [Level(21.6, "mean 21.6 V"), Span(10.0, 12.0, "ripple 2.00 V")],
        title="Bridge",
    )
    for phrase in ("Bridge", "Secondary from −34.0 to 34.0 V, 33.3 ms long", "mean 21.6 V", "ripple 2.00 V"):
        assert phrase in figure.words
    html = figure._repr_html_()
    assert f'alt="{figure.words}"' in html and "base64," in html
    assert repr(figure) == figure.words


def test_words_cannot_break_out_of_the_alternative_text():
    html = figure_waveforms([Trace(SINE, "supply", 'a"><script>')], title="t")._repr_html_()
    assert "<script>" not in html and html.count("<img") == 1


def test_volts_and_amperes_get_a_panel_each():
    amps = Waveform(SINE.seconds, SINE.values / 100, "A")
    both = figure_waveforms([Trace(SINE, "supply", "v"), Trace(amps, "current", "i")])
    assert [axes.get_ylabel() for axes in both.figure.axes] == ["volts", "amperes"]
    drawn = [line for line in both.figure.axes[1].get_lines() if len(line.get_xdata()) == len(amps)]
    assert np.allclose(drawn[0].get_ydata(), amps.values) and np.allclose(drawn[0].get_xdata(), amps.seconds * 1e3)


def test_nothing_to_draw_is_said_in_words():
    with pytest.raises(ValueError, match="at least one trace"):
        figure_waveforms([])


def test_figures_leave_no_global_state_behind():
    import sys

    figure_waveforms([Trace(SINE, "supply", "v")])
    if "matplotlib.pyplot" in sys.modules:  # the schematic library may have loaded it
        assert sys.modules["matplotlib.pyplot"].get_fignums() == []


def test_a_printed_wiring_picture_is_black_and_carries_its_words():
    picture = wiring.half_wave(
        "One diode blocks.",
        {"line": "line", "supply": "24 V", "diode": "D1", "diode_does": "blocks", "load": "330 Ω"},
        diode=wiring.BLOCKING,
        capacitor="",
        load=wiring.IDLE,
    )
    printed = figure_wiring(picture)
    image = pixels(printed.figure)
    assert (image.max(axis=-1) == image.min(axis=-1)).all() and image.min() < 60
    assert repr(printed) == "One diode blocks."


def test_conducting_and_blocking_differ_without_colour():
    both = [
        pixels(figure_wiring(wiring.half_wave("", {}, diode=state, capacitor="", load=wiring.IDLE)).figure)
        for state in (wiring.CONDUCTING, wiring.BLOCKING)
    ]
    dark = [int((image < 100).all(axis=-1).sum()) for image in both]
    assert dark[0] > 1.2 * dark[1]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("paper", PAPERS)
def test_the_sheet_is_black_on_white_and_keeps_inside_its_margins(name, paper):
    page = sheet(name, paper=paper)
    image = pixels(page.figure)
    assert (image.max(axis=-1) == image.min(axis=-1)).all()
    inked = np.argwhere(image.min(axis=-1) < 200)
    dots_per_inch = page.figure.dpi
    top, left = inked.min(axis=0) / dots_per_inch
    bottom, right = (np.array(image.shape[:2]) - inked.max(axis=0)) / dots_per_inch
    assert min(top, left, bottom, right) > 0.25, (top, left, bottom, right)


@pytest.mark.parametrize("name", NAMES)
def test_no_words_on_the_sheet_lie_on_others(name):
    page = sheet(name)
    renderer = FigureCanvasAgg(page.figure).get_renderer()
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in page.figure.texts]
    for number, (words, box) in enumerate(boxes):
        for others, other in boxes[number + 1 :]:
            inside = box.shrunk(0.98, 0.85), other.shrunk(0.98, 0.85)
            assert not inside[0].overlaps(inside[1]), (words, others)


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_holds_all_that_a_safety_talk_needs(name):
    page, words = sheet(name), talk(name)
    written = " ".join(" ".join(text.get_text().split()) for text in page.figure.texts)
    for phrase in (words.title, *words.questions, *words.cautions, "Date __", "Place __", "signature"):
        assert phrase in written, phrase
    waves = [axes for axes in page.figure.axes if axes.get_ylabel() == "volts"]
    assert len(waves) == 2
    for axes, (_, settings) in zip(waves, module(name).PRINTED, strict=True):
        load = next(trace for trace in module(name).traces(settings) if trace.quantity == "load")
        assert any(np.array_equal(line.get_ydata(), load.wave.values) for line in axes.get_lines())
    state = module(name).state(module(name).PRINTED[1][1])
    for reading in state.readings:
        assert " ".join(reading.text.split()) in written


@pytest.mark.parametrize(("paper", "points"), [("letter", (612, 792)), ("a4", (595.4, 841.7))])
def test_the_file_is_one_page_of_the_named_paper(tmp_path, paper, points):
    path = tmp_path / "talk.pdf"
    write_handout("rectifier", path, paper=paper)
    data = path.read_bytes()
    assert data.startswith(b"%PDF") and len(re.findall(rb"/Type /Page\b", data)) == 1
    box = [float(part) for part in re.search(rb"/MediaBox \[([^\]]*)\]", data).group(1).split()]
    assert box[2:] == pytest.approx(points, abs=0.5)
    assert b"/CreationDate" not in data

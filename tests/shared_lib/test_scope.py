"""The scope picture shows what is in the record, and says it in words."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfcycle.scope import COLOURS, INK, PAPER, Level, Point, Span, Trace, decimate, nice_ticks, scope_svg
from halfcycle.waveforms import Waveform

SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg: str, quantity: str) -> np.ndarray:
    """The points of one trace in picture units, shape (points, 2)."""
    line = next(node for node in ET.fromstring(svg).iter(f"{SVG}polyline") if node.get("class") == f"hc-{quantity}")
    return np.array(line.get("points").split(), dtype=float).reshape(-1, 2) / 10


@pytest.mark.parametrize("spike_at_s", [0.0041, 0.0081234, 0.01666, 1e-6])
def test_a_spike_of_two_microseconds_reaches_the_picture(spike_at_s):
    seconds = np.linspace(0, 1 / 60, 20_001)  # 0.83 µs apart
    volts = 34 * np.sin(2 * np.pi * 60 * seconds)
    spike = np.abs(seconds - spike_at_s) <= 1e-6
    assert 1 <= spike.sum() <= 3
    clean = drawn(scope_svg([Trace(Waveform(seconds, np.where(spike, 80.0, volts)), "supply", "Bus")]), "supply")
    top = clean[:, 1].argmin()
    ticks = nice_ticks(-34, 80)
    assert clean[top, 1] == pytest.approx(312 - (80 - ticks[0]) / (ticks[-1] - ticks[0]) * (312 - 44), abs=0.06)
    assert clean[top, 0] == pytest.approx(62 + spike_at_s * 60 * (500 - 134 - 62), abs=0.2)


@pytest.mark.parametrize("samples", [2_000, 20_000])
def test_a_line_of_few_points_strays_by_less_than_a_quarter_of_a_unit(samples):
    seconds = np.linspace(0, 1 / 30, samples + 1)
    volts = 34 * np.sin(2 * np.pi * 60 * seconds) + 3 * np.sin(2 * np.pi * 540 * seconds)
    x, y = drawn(scope_svg([Trace(Waveform(seconds, volts), "load", "Load")]), "load").T
    assert len(x) < 300
    across, up = 62 + seconds * 30 * (500 - 134 - 62), 312 - (volts + 40) / 80 * (312 - 44)  # the axis: -40 to 40 V
    beside = (np.interp(across, x, y) - up) / np.hypot(1, np.gradient(up, across))  # at right angles to the line
    assert np.abs(beside).max() < 0.25


def test_the_end_of_the_trace_reaches_the_picture():
    values = np.zeros(20_000)
    values[-1] = 5.0
    points = drawn(scope_svg([Trace(Waveform(np.linspace(0, 0.1, 20_000), values), "load", "Load")]), "load")
    assert points[-1].tolist() == [500 - 134, 44.0]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1), st.floats(-100, 100)), min_size=2, max_size=400),
    st.integers(1, 60),
)
def test_decimation_keeps_both_ends_and_every_column_s_extremes(samples, columns):
    gaps, values = np.array(samples).T
    seconds = np.concatenate([[0.0], np.cumsum(gaps[1:] + 1e-6)])
    kept = decimate(seconds, values, columns)
    assert kept[0] == 0 and kept[-1] == len(values) - 1
    assert len(kept) <= 4 * columns and (np.diff(kept) > 0).all()
    column = np.minimum(seconds * (columns / seconds[-1]), columns - 1).astype(int)
    for one in np.unique(column):
        inside, shown = values[column == one], values[kept[column[kept] == one]]
        assert (shown.min(), shown.max()) == (inside.min(), inside.max())


def test_a_jump_at_one_instant_is_kept():
    wave = Waveform([0.0, 1.0, 1.0, 2.0], [0.0, 0.0, 10.0, 10.0])
    assert decimate(wave.seconds, wave.values, 500).tolist() == [0, 1, 2, 3]


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e6), st.integers(2, 10))
def test_ticks_cover_the_range_with_one_two_five_steps(low, span, most):
    ticks = nice_ticks(low, low + span, most)
    step = (ticks[-1] - ticks[0]) / (len(ticks) - 1)
    assert ticks[0] <= low + 1e-6 * step and ticks[-1] >= low + span - 1e-6 * step
    assert len(ticks) <= most + 2
    assert float(f"{step:.6e}"[0]) in (1, 2, 5)


def test_words_hold_the_numbers_of_traces_and_markers():
    wave = Waveform.sine(volts_peak=34.0, cycles=2)
    svg = scope_svg(
        [Trace(wave, "supply", "Secondary"), Trace(wave.with_values(wave.values / 100), "load", "Load")],
        [Level(12.3, "mean 12.3 V"), Span(10, 14, "ripple 4.00 V"), Point(0.01, 34.0, "peak 34.0 V")],
        title="Rectifier",
    )
    root = ET.fromstring(svg)
    assert root.get("role") == "img"
    words = root.get("aria-label").replace("\N{NO-BREAK SPACE}", " ")
    for phrase in ("Rectifier, 33.3 ms long", "Secondary from −34.0 to 34.0 V", "mean 12.3 V", "ripple 4.00 V"):
        assert phrase in words
    visible = "".join(root.itertext())
    assert all(marker in visible for marker in ("mean 12.3 V", "ripple 4.00 V", "peak 34.0 V", "volts", "ms"))


def test_markup_in_a_label_stays_text():
    wave = Waveform.sine()
    svg = scope_svg([Trace(wave, "supply", '<b onload="x">&')], [Level(0.5, "</text><script>")], title='"><script>')
    tags = {node.tag for node in ET.fromstring(svg).iter()}
    assert not tags & {f"{SVG}script", f"{SVG}b"}


def test_amperes_stand_under_volts_on_one_time_axis():
    wave = Waveform.sine(volts_peak=34.0)
    amps = Waveform(wave.seconds, wave.values / 50, "A")
    svg = scope_svg([Trace(wave, "supply", "Secondary"), Trace(amps, "current", "Current")])
    volts, amperes = drawn(svg, "supply"), drawn(svg, "current")
    assert volts[:, 1].max() < amperes[:, 1].min()
    assert (volts[0, 0], volts[-1, 0]) == (amperes[0, 0], amperes[-1, 0])


def test_labels_beside_near_levels_do_not_lie_on_each_other():
    svg = scope_svg(
        [Trace(Waveform.sine(volts_peak=34.0), "supply", "Secondary")],
        [Level(value, f"mark {value}") for value in (33.0, 33.5, 34.0, -34.0)],
    )
    heights = sorted(float(t.get("y")) for t in ET.fromstring(svg).iter(f"{SVG}text") if "mark" in (t.text or ""))
    assert min(np.diff(heights)) >= 16.9


def test_a_trace_of_noise_alone_lies_flat():
    wave = Waveform.sine(volts_peak=3e-13)
    svg = scope_svg([Trace(wave.with_values(wave.values), "load", "Load")])
    assert np.ptp(drawn(svg, "load")[:, 1]) < 0.2


def test_small_currents_are_drawn_in_milliamps():
    wave = Waveform.sine(volts_peak=0.042)
    said = [
        "".join(
            ET.fromstring(scope_svg([Trace(Waveform(wave.seconds, k * wave.values, "A"), "current", "LED")])).itertext()
        )
        for k in (1, 10)
    ]
    assert "milliamps" in said[0] and "40" in said[0] and "0.04" not in said[0]
    assert "milliamps" not in said[1] and "0.4" in said[1]


def test_nothing_to_draw_is_said_in_words():
    with pytest.raises(ValueError, match="at least one trace"):
        scope_svg([])
    with pytest.raises(ValueError, match="no trace in A"):
        scope_svg([Trace(Waveform.sine(), "supply", "x")], [Level(1.0, "x", "A")])


def luminance(colour: str) -> float:
    """WCAG 2.1 relative luminance of #rrggbb."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_inks_are_the_published_palette_and_differ_by_line_too():
    # Okabe and Ito, "Color Universal Design" (2008), as listed in Wong, Nature Methods 8, 441 (2011)
    published = {"#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"}
    assert {ink.colour for ink in COLOURS.values()} <= published
    volts = [ink for name, ink in COLOURS.items() if name != "current"]  # current has a panel to itself
    assert len({ink.dashes for ink in volts}) == len(volts)
    assert len({ink.colour for ink in COLOURS.values()}) == len(COLOURS)
    assert contrast(INK, PAPER) >= 7


def test_a_long_record_makes_a_small_picture():
    long = Waveform.sine(volts_peak=34.0, cycles=10, samples_per_cycle=20_000)
    svg = scope_svg([Trace(long, "supply", "Secondary")])
    assert len(svg) < 40_000
    assert re.search(r'viewBox="0 0 500 342"', svg)

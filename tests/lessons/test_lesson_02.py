"""Lesson 02: its keys against quadrature and published figures, what can be read off its screens, its scope against counting."""

import itertools
import json
import math
import re
from pathlib import Path

import pytest
from scipy.integrate import quad

from autograde import marking
from halfcycle import Waveform, meters
from halfcycle.captures import write_capture
from halfcycle.variants import Circuit, circuit, lesson_02
from halfcycle.workbook import two_signals
from halfcycle.workbook.own_capture import own_capture
from halfcycle.workbook.screen import Setting, next_setting, screen_svg, screen_words, suited
from halfcycle.workbook.two_signals_pictures import own_wave

BOOK = json.loads(next(Path(__file__).parents[2].glob("lessons/02_*/*.ipynb")).read_text(encoding="utf-8"))
SOURCES = {cell["id"]: "".join(cell["source"]) for cell in BOOK["cells"]}
KEYS, TRAPS = marking.load("02")
SPEED = ("02-frequency", "02-peak", "02-mean", "02-rms")
SETTINGS = ((1, 5), (2, 5), (5, 2))


def some(count):
    return [circuit("half-cycle", "02", f"apprentice-{number}") for number in range(count)]


def changed(c, **values):
    entries = tuple((name, values.get(name, value), unit, words) for name, value, unit, words in c.entries)
    return Circuit("half-cycle", "02", "anyone", entries)


def every_screen():
    """Every capture at every setting."""
    numbers = lesson_02.DRAWS["capture_number"].choices
    for number, (volts, ms) in itertools.product(numbers, SETTINGS):
        yield changed(some(1)[0], capture_number=number, volts_per_division=volts, ms_per_division=ms)


def seen(c):
    """Highest and lowest point and all rises in divisions, as the words of a learner's own screen give them to the tenth."""
    setting = Setting(c.volts_per_division, c.ms_per_division)
    words = screen_words("Screen", two_signals.speed_capture(c), setting)
    found = re.search(r"point ([\d.]+) divisions above the zero line, lowest ([\d.]+) divisions below", words)
    rises = re.search(r"zero line ([\d., ]+) divisions from the left", words)[1].split(", ")
    assert "leaves" not in words
    return float(found[1]), -float(found[2]), [float(rise) for rise in rises]


def by_reading(c, top, bottom, two_cycles):
    """The lesson's formulas, of what is read in divisions."""
    high, low = top * c.volts_per_division, bottom * c.volts_per_division
    mean, swing = (high + low) / 2, (high - low) / 2
    rms = math.sqrt(mean**2 + (swing / 1.414) ** 2)
    return dict(zip(SPEED, (2000 / (two_cycles * c.ms_per_division), high, mean, rms), strict=True))


def test_whoever_reads_the_screen_to_a_tenth_of_a_division_is_right():
    """Half a tenth off at the top, at the bottom and at both ends of two cycles, in whichever direction."""
    for c in every_screen():
        top, bottom, rises = seen(c)
        assert len(rises) == 3 and rises[0] == 1.0
        for up, down, across in itertools.product((-0.05, 0, 0.05), (-0.05, 0, 0.05), (-0.1, 0, 0.1)):
            read = by_reading(c, top + up, bottom + down, rises[2] - rises[0] + across)
            for item in SPEED:
                assert marking.fits(read[item], KEYS[item].first(c), KEYS[item]), (item, c.capture_number, up, down)


def test_every_capture_stands_on_the_fine_lines_and_no_two_are_alike():
    plain = [two_signals.speed_divisions(changed(some(1)[0], capture_number=n)) for n in range(100, 199)]
    assert len(set(plain)) == len(lesson_02.DRAWS["capture_number"].choices) == 99
    for period, swing, offset in plain:
        for mark in (2 * period, swing + offset, offset - swing):
            assert mark / 0.2 == pytest.approx(round(mark / 0.2), abs=1e-9)
        assert swing + offset < 4 and offset - swing < 0 and 1 + 2 * period < 10


def test_the_speed_keys_against_quadrature():
    """scipy.integrate.quad of a sine that rides on dc, its parts read from the capture's words."""
    for c in list(every_screen())[::31]:
        top, bottom, _ = seen(c)
        mid, swing = (top + bottom) / 2 * c.volts_per_division, (top - bottom) / 2 * c.volts_per_division
        mean = quad(lambda x, mid=mid, swing=swing: mid + swing * math.sin(x), 0, 2 * math.pi)[0] / (2 * math.pi)
        square = quad(lambda x, mid=mid, swing=swing: (mid + swing * math.sin(x)) ** 2, 0, 2 * math.pi)[0]
        assert KEYS["02-mean"].first(c) == pytest.approx(mean, rel=1e-6)
        assert KEYS["02-rms"].first(c) == pytest.approx(math.sqrt(square / (2 * math.pi)), rel=1e-6)


def taught(c):
    """The lesson's formulas with its rounded factor, every step to two decimals, as an apprentice types them."""
    share = round(c.high_ms / c.period_ms, 4)
    mean = round(share * c.high_volts + (1 - share) * c.low_volts, 2)
    rms = round(math.sqrt(share * c.high_volts**2 + (1 - share) * c.low_volts**2), 2)
    flipped = round(share * (c.high_volts - mean) + (1 - share) * (mean - c.low_volts), 2)
    return {
        "02-dc": mean,
        "02-ac-dc": rms,
        "02-ac": math.sqrt(rms**2 - mean**2),
        "02-average-meter": 1.11 * flipped,
        "02-crest": c.high_volts / rms,
    }


def test_what_the_lesson_teaches_is_well_inside_the_tolerance():
    for c in some(500):
        for item, value in taught(c).items():
            assert value == pytest.approx(KEYS[item].first(c), rel=0.4 * KEYS[item].rel_tol), (item, c.values())


def test_pulses_for_a_quarter_of_the_time_have_the_published_figures():
    """Pulse train of amplitude 1, share 1/4: mean 1/4, rms 1/2, crest factor 2, ac-coupled √3/4 (textbook forms d, √d, 1/√d).

    Averaging meter: 1.11072 (form factor of a sine, published) times 2·(1/4)·(3/4); a square wave about zero reads 1.11072.
    """
    quarter = changed(some(1)[0], high_volts=1.0, low_volts=0.0, high_ms=2, period_ms=8)
    figures = {"02-dc": 0.25, "02-ac-dc": 0.5, "02-crest": 2, "02-ac": 0.4330127, "02-average-meter": 1.11072 * 0.375}
    for item, figure in figures.items():
        assert KEYS[item].first(quarter) == pytest.approx(figure, rel=1e-5), item
    square = changed(quarter, high_volts=1.0, low_volts=-1.0, high_ms=4)
    assert KEYS["02-average-meter"].first(square) == pytest.approx(1.11072, rel=1e-5)


def test_settings_are_those_of_the_series_and_the_next_finer_one_does_not_do():
    """1-2-5, the series R3 rounded that scopes have on their knobs (common practice, no source)."""
    for c in some(200):
        for item, wanted in (
            ("02-volts-setting", c.sine_volts * math.sqrt(2) / 4),
            ("02-time-setting", c.period_ms / 5),
        ):
            setting = KEYS[item].first(c)
            assert f"{setting:e}"[0] in "125" and float(f"{setting:e}".split("e")[0]) in (1, 2, 5)
            finer = setting / (2.5 if f"{setting:e}"[0] == "5" else 2)
            assert finer < wanted <= setting
            roads = {trap.name: trap.value(c) for trap in TRAPS[item]}
            assert roads["wave-leaves-the-screen"] == pytest.approx(finer)
            assert roads["screen-not-used"] == pytest.approx(next_setting(setting * 1.5))


def test_an_8_bit_scope_at_20_volts_a_division_and_a_spike_of_two_microseconds():
    """160 V over 256 steps is 0.625 V; a 2 µs spike is seen for sure at 2 µs between samples and in one of ten at 20 µs."""
    c = changed(
        some(1)[0], bits=8, coarse_volts_per_division=20, record_samples=5000, record_ms_per_division=10, spike_us=2
    )
    assert KEYS["02-step"].first(c) == 625
    assert KEYS["02-sample-interval"].first(c) == 20 and KEYS["02-spike-caught"].first(c) == pytest.approx(10)
    assert [two_signals.spikes_seen(2, wait) for wait in (0.5, 2, 2.5, 20)] == [100, 100, 80, 10]


def test_the_worked_examples_are_nobodys_circuit():
    for name, given in (("high_volts", 20), ("low_volts", 3), ("sine_volts", 24), ("record_samples", 20000)):
        assert given not in lesson_02.DRAWS[name].choices
    assert 10 not in lesson_02.DRAWS["ms_per_division"].choices and "ms_per_division=10" in SOURCES["02-screen-picture"]


def test_the_same_circuit_gives_the_same_capture_and_another_gives_another():
    one, other = some(2)
    first = two_signals.speed_capture(one).values
    assert (first == two_signals.speed_capture.__wrapped__(one).values).all()
    assert (first != two_signals.speed_capture(changed(one, bits=one.bits + 2)).values).any()
    assert one != other


def test_a_screen_says_in_words_and_in_svg_what_it_shows():
    wave = Waveform.sine(volts_peak=34.0, cycles=2)
    drawn = screen_svg("24 V < 25 V", wave, Setting(5, 5))
    assert "The wave leaves the screen." in drawn and "24 V &lt; 25 V" in drawn and "1 division up = 5 V" in drawn
    assert "leaves" not in screen_svg("24 V", wave, suited(wave))
    heights = [float(point.split(",")[1]) for point in re.search(r'points="([^"]+)"', drawn)[1].split()]
    assert (min(heights), max(heights)) == (40.0, 328.0)
    assert "1 division across = 500 µs" in screen_svg("fast", wave, Setting(0.05, 0.5))


def test_a_learners_own_file_is_shown_and_a_bad_one_does_not_stop_the_lesson(tmp_path, capsys):
    instead = Waveform.sine(volts_peak=34.0, cycles=2)
    write_capture(two_signals.pulses(20, 3, 4, 10), tmp_path / "own.csv")
    (tmp_path / "bad.csv").write_text("no numbers here\n", encoding="utf-8")
    for name in ("own.csv", "bad.csv"):
        own_wave(own_capture(tmp_path / name, instead=instead))
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    assert "dc meter (mean) | 9.80 V" in said and "true rms, ac+dc | 12.9 V" in said and "crest factor | 1.56" in said
    assert "true rms, ac+dc | 24.0 V" in said and "frequency | 60.0 Hz" in said


@pytest.mark.parametrize("values", [[5.0, 5.0], [0.0, 0.0], [0.0, 3.0]])
def test_a_record_without_a_cycle_is_read_as_a_whole(values, capsys):
    wave = Waveform([0.0, 0.01], values)
    own_wave(wave)
    assert "frequency | none found" in capsys.readouterr().out
    assert two_signals.whole_cycles(wave) is wave and meters.dc(wave) == sum(values) / 2

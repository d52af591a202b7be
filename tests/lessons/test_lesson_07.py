"""Lesson 07: its keys against closed forms, SciPy and published values; its formulas, its captures, its pictures' words."""

import itertools
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from autograde import marking
from autograde.keys.lesson_07 import CALMING_CARDS, cards
from halfcycle import captures, meters
from halfcycle.benches import spikes as bench
from halfcycle.constants import PREFERRED
from halfcycle.variants import circuit, lesson_07
from halfcycle.workbook import claim_test, filter_pictures
from halfcycle.workbook.filter_places import Bus, charged, lifted_volts, probed, snubber_cost, supply_of

KEYS, TRAPS = marking.load("07")
NOTEBOOK = Path(__file__).parents[2] / "lessons/07_where_the_filter_goes/07_where_the_filter_goes.ipynb"
EXAMPLE = Bus(75, 150)
KINDS = ("snubber", "lc", "other loads", *lesson_07.BESIDES)


def some(count):
    return [circuit("half-cycle", "07", f"apprentice-{number}") for number in range(count)]


def read(value, figures=3):
    """What a reading to three figures shows."""
    return float(f"{value:.{figures}g}")


def taught(c):
    """The lesson's formulas with the readings that its pictures and its bench print, as an apprentice types them."""
    before, after = probed(Bus.of(c)), probed(Bus.of(c), "snubber", float(c.snubber_ohm), c.snubber_microfarad * 1e-6)
    wave, figures = read(before.wave_volts), [4 if probe.top_volts >= 100 else 3 for probe in (before, after)]
    heights = [read(probe.top_volts, n) - wave for probe, n in zip((before, after), figures, strict=True)]
    plain, filtered = bench.numbers(bench.start(c)), bench.numbers(_feed(c))
    reactance = round(1e6 / (2 * 3.14 * 60 * c.snubber_microfarad), 1)
    amps = c.bus_rms_volts / math.sqrt(c.snubber_ohm**2 + reactance**2)
    hertz = round(5033 / math.sqrt(c.choke_millihenry * c.lc_microfarad), 1)
    return {
        "07-left": 100 * heights[1] / heights[0],
        "07-decibels": 20 * math.log10(round(heights[1] / heights[0], 3)),
        "07-feed-extra": read(filtered.feed_va) - read(plain.feed_va),
        "07-charge-time": c.store_joules / read(filtered.store_watts),
        "07-snubber-heat": 1000 * amps**2 * c.snubber_ohm,
        "07-snubber-va": c.bus_rms_volts * amps,
        "07-resonance": hertz,
        "07-lifted": c.bus_rms_volts / (1 - (60 / hertz) ** 2),
    }


def _feed(c):
    """The bench at the learner's circuit after the button that puts the filter in the feed."""
    changes = next(situation.changes for situation in bench.SITUATIONS if situation.words == "Feed filter")
    return bench.Settings(**{**{n: getattr(bench.start(c), n) for n in bench.Settings.__dataclass_fields__}, **changes})


def test_what_the_lesson_teaches_is_well_inside_the_tolerance():
    for one in some(150):
        for item, value in taught(one).items():
            assert value == pytest.approx(KEYS[item].first(one), rel=0.5 * KEYS[item].rel_tol), (item, one.values())


def test_the_height_of_a_spike_against_scipy():
    """After an opening: leakage, wiring capacitance and loads, two differential equations in scipy.integrate.solve_ivp.

    The state at the opening is the exact solver's; what follows is SciPy's. 3 µs hold the top of the spike.
    """
    bus, supply = probed(EXAMPLE), supply_of(EXAMPLE)
    run = charged(EXAMPLE).run
    opening = max(end for _, end, mode in run.modes("switch") if mode == "on" and end < bus.at_s)
    parallel = 1 / (1 / 150 + 1 / 2000.5)
    begin = [float(run.amps("leakage", opening - 1e-9)), float(run.volts("line", opening - 1e-9))]

    def slopes(t, state):
        amps, volts = state
        source = supply.volts_peak * math.sin(2 * math.pi * 60 * (opening + t))
        return [
            (source - supply.resistance_ohm * amps - volts) / supply.leakage_henry,
            (amps - volts / parallel) / 2.2e-9,
        ]

    found = solve_ivp(slopes, (0, 3e-6), begin, rtol=1e-9, atol=1e-9, max_step=2e-8)
    assert found.y[1].max() == pytest.approx(bus.top_volts, rel=0.02)


def test_a_snubber_and_a_choke_with_capacitor_against_complex_arithmetic():
    """Phasors at 60 Hz, by hand: neither the lesson's formula nor our solver."""
    w = 2 * math.pi * 60
    for volts, ohm, farad, henry in itertools.product((25.9, 26.2), (22, 47), (3.3e-6, 47e-6), (12e-3, 33e-3)):
        amps = volts / abs(ohm + 1 / (1j * w * farad))
        assert snubber_cost(volts, ohm, farad) == pytest.approx((ohm * amps**2, volts * amps), rel=1e-4)
        shunt = 1 / (1j * w * farad + 1 / 2000)
        lifted = volts * abs(shunt / (shunt + 0.2 + 1j * w * henry))
        assert lifted_volts(volts, henry, farad) == pytest.approx(lifted, rel=1e-4)


def test_decibels_against_published_steps():
    """IEC 60027-3 / ISO 80000-3 (from memory): 20 lg for volts; a half −6.02 dB, a tenth −20 dB; one neper 8.686 dB."""
    own = some(1)[0]
    ratio = KEYS["07-left"].first(own) / 100
    assert KEYS["07-decibels"].first(own) == pytest.approx(8.685_889 * math.log(ratio), rel=1e-6)
    assert 20 * math.log10(0.5) == pytest.approx(-6.02, abs=0.005)
    for c in some(50):
        kept = KEYS["07-allowed-height"].first(c) / (c.sheet_top_volts - c.sheet_wave_volts)
        assert math.exp(-c.sheet_decibels / 8.685_889) == pytest.approx(kept, rel=1e-5)


def test_the_capacitor_is_of_the_published_series_and_none_smaller_keeps_to_the_limit():
    """IEC 60063, series E12; ripple I/(f·C) of a half wave (textbooks)."""
    for c in some(300):
        chosen = KEYS["07-capacitor"].first(c)
        decade = 10 ** math.floor(math.log10(chosen) + 1e-9)
        assert min(abs(chosen / decade - step) for step in PREFERRED["E12"]) < 1e-9
        below = max(s * d for s in PREFERRED["E12"] for d in (10, 100, 1000) if s * d < chosen * 0.999)
        ripple = [1e3 * c.feed_milliamps / (60 * value) for value in (chosen, below)]
        assert ripple[0] <= c.ripple_limit_volts < ripple[1]


def test_energy_given_to_the_store_is_the_charge_of_the_supercapacitors():
    """The charge time of the whole charge, each stored voltage solved, lies near the rule at half charge, and not on it."""
    solved = charged(EXAMPLE, "feed")
    rule = solved.actuator.energy_joules / solved.charging_watts
    assert 0.05 < rule / solved.charge_seconds(8) - 1 < 0.25


@pytest.mark.parametrize("load_ohm", lesson_07.DRAWS["bus_load_ohm"].choices)
@pytest.mark.parametrize("volt_amperes", lesson_07.DRAWS["volt_amperes"].choices)
def test_every_box_is_far_from_the_limit_and_only_the_wave_makes_the_snubber_look_bad(volt_amperes, load_ohm):
    bus = Bus(volt_amperes, load_ohm)
    before = probed(bus)
    for kind in KINDS:
        part = claim_test.effect(bus, kind)
        assert part < 0.47 if kind in ("feed", "snubber") else part > 0.8
    snubbed = probed(bus, "snubber", claim_test.snubber_in_box(load_ohm), 2.2e-6)
    assert snubbed.top_volts / before.top_volts > 0.51, "counted from zero it would seem not to filter"
    quiet = probed(bus, "lc")
    assert quiet.thermostat_height_volts < 0.05 * before.height_volts < quiet.height_volts
    loaded = claim_test._box("A", bus, "other loads").after
    assert loaded.height_volts < 0.47 * before.height_volts, "the unfair test looks like a filter"


def test_what_the_captures_show_leads_to_the_key():
    """By the pictures alone: top less the wave, at the bus, and the loads that are written above."""
    for c in some(12):
        row = []
        for box in claim_test.boxes(c):
            tops = [
                read(meters.peak(claim_test.capture(p.bus, f"a test {box.letter}"))) for p in (box.before, box.after)
            ]
            heights = [top - read(box.before.wave_volts) for top in tops]
            row.append(int(heights[1] <= 0.5 * heights[0] and box.load_before_ohm == box.load_after_ohm))
        assert tuple(row) == KEYS["07-boxes"].first(c)


def test_lots_and_places_are_mixed_for_every_learner():
    rows = {item: {KEYS[item].first(c) for c in some(300)} for item in ("07-boxes", "07-places")}
    assert len(rows["07-boxes"]) == 10 and len(rows["07-places"]) >= 10
    assert all({0, 1} == set(row) for found in rows.values() for row in found)
    assert all(len(set(cards(c))) == 4 and set(cards(c)) & CALMING_CARDS for c in some(300))
    assert len({lesson_07.box_kinds(lot) for lot in lesson_07.DRAWS["lot"].choices}) == 96


def test_a_learners_own_captures_are_compared(tmp_path, capsys):
    """Two CSV files as a scope writes them; one with no spike says that nothing can be proved."""
    waves = filter_pictures.before_and_after(EXAMPLE, "snubber", "a test", ohm=68.0, farad=15e-6)
    for name, wave in zip(("before", "after"), waves, strict=True):
        captures.write_capture(wave, tmp_path / f"{name}.csv")
    kept = [captures.read_capture(tmp_path / f"{name}.csv") for name in ("before", "after")]
    filter_pictures.compare(*kept)
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    left, decibels = re.search(
        r"Left: ([\d.]+) %, which is −([\d.]+) dB. That is at most half of the height.", said
    ).groups()
    exact = probed(EXAMPLE, "snubber", 68.0, 15e-6).height_volts / probed(EXAMPLE).height_volts
    assert float(left) == pytest.approx(100 * exact, rel=0.01)
    assert float(decibels) == pytest.approx(-20 * math.log10(exact), abs=0.1)
    still = claim_test.capture(probed(EXAMPLE).quiet, "a test at rest")
    filter_pictures.compare(still, still)
    assert "nothing can be proved" in capsys.readouterr().out
    filter_pictures.compare(waves[0], still)
    assert "Nothing of 5 V or more is left" in capsys.readouterr().out
    filter_pictures.compare(*waves, mixed=True)
    assert "together they prove nothing" in capsys.readouterr().out


def test_the_traps_of_the_course_map_are_there():
    names = {trap.name for traps in TRAPS.values() for trap in traps}
    wanted = {"wrong-side-of-the-source-impedance", "power-decibels-for-voltage", "quiet-thermostat-taken-as-quiet-bus"}
    assert wanted | {"height-from-zero", "unfair-test-believed", "full-wave-on-half-wave", "upside-down"} <= names
    assert all(len(TRAPS[item]) >= 3 for item in KEYS) and len(names) >= 25


def test_the_worked_examples_are_nobodys_own_circuit():
    code = "".join("".join(cell["source"]) for cell in json.loads(NOTEBOOK.read_text("utf-8"))["cells"])
    assert "EXAMPLE = Bus(75, 150)" in code
    draws = lesson_07.DRAWS
    assert 75 not in draws["volt_amperes"].choices and not {150, 90} & set(draws["bus_load_ohm"].choices)
    assert not {68, 30, 100} & set(draws["snubber_ohm"].choices)
    assert not {110, 60} & set(draws["feed_milliamps"].choices) and not {12, 10} & set(draws["sheet_decibels"].choices)


def test_the_pictures_say_what_they_show(capsys):
    filter_pictures.snubbed_picture(EXAMPLE, 68.0, 15e-6)
    filter_pictures.place_picture(EXAMPLE, "lc", ohm=0.2, farad=100e-6, henry=10e-3)
    filter_pictures.place_cards()
    filter_pictures.box_pictures(some(1)[0])
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "top of the spike, before (from zero): 233.7 V",
        "the wave itself at that instant: 33.6 V",
        "the thermostat's true rms 30.6 V",
        "Card 6. A capacitor across the 120 V terminals",
        "Box D. Other loads on the bus:",
    ):
        assert words in said, words
    assert np.isfinite(probed(EXAMPLE).bus.values).all()

"""Lesson 04: its keys against SciPy, closed forms and published factors, its formulas, its wirings, its pictures' words."""

import itertools
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from autograde import marking
from autograde.keys.lesson_04 import SAFE_CARDS, cards
from halfcycle import Supply, meters
from halfcycle.benches import rectifier
from halfcycle.variants import circuit, lesson_04
from halfcycle.workbook import four_diodes, shared_common_pictures
from halfcycle.workbook.four_diodes import bridge
from halfcycle.workbook.shared_common import TwoDevices

KEYS, TRAPS = marking.load("04")
NOTEBOOK = (
    Path(__file__).parents[2] / "lessons/04_four_diodes_and_a_shared_common/04_four_diodes_and_a_shared_common.ipynb"
)
CODE = "\n".join(
    "".join(c["source"]) for c in json.loads(NOTEBOOK.read_text("utf-8"))["cells"] if c["cell_type"] == "code"
)


def some(count):
    return [circuit("half-cycle", "04", f"apprentice-{number}") for number in range(count)]


def taught(c):
    """The lesson's formulas with the lesson's rounded factors, as an apprentice types them, every step to two decimals."""
    peak, no_load = round(1.414 * c.running_volts, 2), round(1.414 * c.volts_rms, 2)
    mean, rms = round(0.637 * peak - 2 * c.drop_volts, 2), round(c.running_volts - 0.9 * 2 * c.drop_volts, 2)
    loop = c.resistance_ohm + c.wire_ohm
    return {
        "04-load-peak": (peak - 2 * c.drop_volts,),
        "04-dc": (mean,),
        "04-true-rms": (rms,),
        "04-ac-rms": (0.308 * peak, math.sqrt(rms**2 - mean**2)),
        "04-ripple-hertz": (2 * c.generator_hertz,),
        "04-inverse": (peak - c.drop_volts,),
        "04-diode-mean": (1000 * mean / c.load_ohm / 2,),
        "04-fault-peak": ((no_load - c.drop_volts) / loop,),
        "04-fault-rms": ((0.5 * no_load - 0.64 * c.drop_volts) / loop,),
    }


def test_what_the_lesson_teaches_is_well_inside_the_tolerance():
    for one in some(1500):
        for item, values in taught(one).items():
            for value in values:
                assert value == pytest.approx(KEYS[item].first(one), rel=0.5 * KEYS[item].rel_tol), (item, one.values())


def test_mean_and_rms_against_quadrature():
    """scipy.integrate.quad of a sine behind two thresholds: neither our closed form nor our solver."""
    for c in some(25):
        peak, lost = c.running_volts * math.sqrt(2), 2 * c.drop_volts

        def hump(x, peak=peak, lost=lost):
            return max(0.0, peak * math.sin(x) - lost)

        mean = quad(hump, 0, math.pi, limit=300)[0] / math.pi
        square = quad(lambda x, hump=hump: hump(x) ** 2, 0, math.pi, limit=300)[0] / math.pi
        assert KEYS["04-dc"].first(c) == pytest.approx(mean, rel=1e-7)
        assert KEYS["04-true-rms"].first(c) == pytest.approx(math.sqrt(square), rel=1e-7)
        assert KEYS["04-ac-rms"].first(c) == pytest.approx(math.sqrt(square - mean**2), rel=1e-6)


def test_without_a_drop_the_bridge_reads_the_published_factors():
    """Full wave of amplitude 1: mean 0.63662, rms 0.70711, ac 0.30776, averaging meter 0.70711 (table by quadrature; form
    factor π/(2√2) = 1.11072 as published); ripple factor 0.48 (handbooks, from memory; 0.30776/0.63662 = 0.4834)."""
    wave = bridge(math.sqrt(0.5), drop_volts=1e-9).load_volts
    mean, rms, rest = meters.dc(wave), meters.true_rms(wave), meters.ac_rms(wave)
    assert (mean, rms, rest) == pytest.approx((0.63662, 0.70711, 0.30776), abs=2e-5)
    assert meters.average_responding(wave, coupled="dc") == pytest.approx(0.70711, abs=2e-5)
    assert rms / mean == pytest.approx(1.11072, abs=5e-5) and rest / mean == pytest.approx(0.48, abs=0.005)


@pytest.mark.parametrize("farad", [0.0, 470e-6])
def test_a_bridges_diode_blocks_one_peak_with_a_capacitor_and_without(farad):
    """Peak inverse of a bridge's diode: one peak of the secondary (handbooks, from memory), less the neighbour's drop."""
    blocked = -float(bridge(28, drop_volts=0.75, capacitor_farad=farad).diode_volts.values.min())
    assert blocked == pytest.approx(28 * math.sqrt(2) - 0.75, rel=1e-3)


def test_a_bridge_leaves_no_direct_current_in_the_winding():
    run = bridge(28, drop_volts=0.75, load_ohm=140)
    assert abs(meters.dc(run.source_amps)) < 1e-6 < meters.dc(run.diode_amps)


def test_the_short_against_a_node_equation_solved_by_scipy():
    """At the lowest moment of R: Kirchhoff's current law at terminal 4 in scipy.optimize.brentq, the board's path included."""
    for c in some(40):
        peak, drop = c.volts_rms * math.sqrt(2), c.drop_volts

        def surplus(volts, c=c, peak=peak, drop=drop):
            """Amps into terminal 4 less amps out of it, which stands `volts` below C; R one drop lower."""
            out = (peak - volts - drop) / c.resistance_ohm
            return volts / c.wire_ohm + max(0.0, volts - drop) / c.load_ohm - out

        amps = (peak - brentq(surplus, 0, peak) - drop) / c.resistance_ohm
        assert KEYS["04-fault-peak"].second(c) == pytest.approx(amps, rel=1e-3)
        assert KEYS["04-fault-peak"].first(c) == pytest.approx(amps, rel=2.5e-3)


@pytest.mark.parametrize(("r_terminal", "joined"), list(itertools.product((1, 2), (3, 4))))
def test_every_way_to_join_a_dc_terminal_to_the_common_shorts_one_half_cycle(r_terminal, joined):
    """By hand: from 4 the short goes to R, so while R is below C; into 3 it comes from R, so while R is above C."""
    pair = {"joined": joined, "r_terminal": r_terminal}
    solved = TwoDevices(Supply(26.4, resistance_ohm=1.2), 0.8, 100.0, 0.3, **pair)
    by_hand = {(1, 3): "D1", (2, 3): "D2", (1, 4): "D3", (2, 4): "D4"}
    assert (solved.hottest_diode, solved.r_is_above) == (by_hand[r_terminal, joined], joined == 3)
    amps = solved.secondary_amps.values
    quiet = amps[amps < 0] if joined == 3 else amps[amps > 0]
    assert np.abs(quiet).max() < 0.5 < 20 < solved.most_amps


def test_the_bench_opens_as_the_learners_bridge_and_reads_as_the_keys():
    """With the winding's resistance and the bench's own diodes it still reads within the tolerance."""
    for c in some(12):
        found = rectifier.numbers(rectifier.start(c))
        assert rectifier.start(c).kind == "bridge"
        assert marking.fits(found.mean_volts, KEYS["04-dc"].first(c), KEYS["04-dc"])
        assert marking.fits(found.true_rms_volts, KEYS["04-true-rms"].first(c), KEYS["04-true-rms"])
        assert marking.fits(found.ac_rms_volts, KEYS["04-ac-rms"].first(c), KEYS["04-ac-rms"])


def test_the_four_cards_differ_in_kind_and_every_row_of_answers_is_mixed():
    for c in some(300):
        row = KEYS["04-wirings"].first(c)
        assert len(set(cards(c))) == 4 and {0, 1} == set(row)
    assert len({KEYS["04-wirings"].first(c) for c in some(300)}) >= 8
    assert len(shared_common_pictures.CARDS) == 8 and set(range(1, 9)) > SAFE_CARDS


def test_the_traps_of_the_course_map_are_there():
    names = {trap.name for traps in TRAPS.values() for trap in traps}
    wanted = {"one-drop-for-two", "supply-frequency-for-ripple", "same-transformer-taken-as-safe", "drop-forgotten"}
    assert wanted | {"half-wave-on-full-wave", "rms-for-mean", "separate-transformers-taken-as-safe"} <= names
    assert all(len(TRAPS[item]) >= 4 for item in KEYS) and len(names) >= 25


def test_the_worked_examples_and_practice_are_nobodys_own_circuit():
    used = {float(number) for number in re.findall(r"(?:load_ohm=|TwoDevices\(Supply\()([\d.]+)", CODE)}
    assert used == {140, 30}
    assert (
        not used & {float(ohm) for ohm in lesson_04.DRAWS["load_ohm"].choices}
        and 50 not in lesson_04.DRAWS["load_ohm"].choices
    )
    drawn = some(400)
    assert (1, 4) not in {(c.r_terminal, c.joined_terminal) for c in drawn}
    assert not {20, 22, 28, 30} & {c.running_volts for c in drawn} and not {22, 30} & {c.volts_rms for c in drawn}


def test_the_pictures_say_what_they_show(capsys):
    four_diodes.bridge_picture(28, drop_volts=0.75, load_ohm=140)
    four_diodes.path_picture(28, load_ohm=140)
    four_diodes.inverse_picture(28, drop_volts=0.75, load_ohm=140)
    shorted = TwoDevices(Supply(30, resistance_ohm=1.8), 0.75, 140, 0.6)
    shared_common_pictures.half_cycles_picture(shorted)
    shared_common_pictures.short_picture(shorted)
    shared_common_pictures.wiring_cards()
    said = capsys.readouterr().out.replace("\N{NO-BREAK SPACE}", " ")
    shown = ("mean 23.7 V, rms 26.7 V", "through D2, down through the load, back through D3", "block 38.8 V")
    for words in (
        *shown,
        "through D3 to R",
        "17.4 A at the peak",
        "Rms in the fuse 8.65 A",
        "Card 8. One transformer.",
    ):
        assert words in said, words

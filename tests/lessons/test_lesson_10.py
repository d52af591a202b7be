"""Lesson 10, the service call: its circuits against closed forms, its lists against the circuits, its day as a learner meets it."""

import math
import re
from collections import Counter
from itertools import combinations

import pytest
from IPython.utils.capture import capture_output

from autograde.keys import lesson_10 as keys
from halfcycle import meters, variants
from halfcycle.benches import rectifier, two_calls
from halfcycle.workbook import service_pages, service_pictures
from halfcycle.workbook.service_calls import capture, found, judged, least_minutes, met, settles, sheet, suspects_left
from halfcycle.workbook.service_circuits import board_input, shared_conductor, valve_supply
from halfcycle.workbook.service_lists import CALLS, CURES, SUSPECTS

CIRCUITS = [variants.circuit("half-cycle", "10", f"apprentice-{number}") for number in range(300)]
LISTED = ("diode", "capacitor", "resistance", "transformer", "snubber", "output", "LED resistors", "joint", "shorted")


def test_every_learner_has_three_calls_and_all_fourteen_faults_are_met_about_equally():
    seen = Counter(met(call, own) for own in CIRCUITS for call in CALLS)
    assert set(seen) == set(SUSPECTS) and len(SUSPECTS) == 14
    for call in CALLS.values():
        share = len(CIRCUITS) / len(call.suspects)
        assert all(0.5 * share < seen[number] < 1.5 * share for number in call.suspects)
    days = {tuple(met(call, own) for call in CALLS) for own in CIRCUITS}
    assert len(days) > 80  # of 5 × 4 × 5
    assert all(any(word in each.words for each in SUSPECTS.values()) for word in LISTED)


def test_the_printed_words_are_what_each_suspect_shows_on_anybodys_circuit():
    for own in CIRCUITS:
        for call, visit in CALLS.items():
            for number in visit.suspects:
                assert judged(call, own, SUSPECTS[number].solver_name) == SUSPECTS[number].shows, (own.learner, number)


def printed(show, *arguments):
    """The rows of a table as a learner sees them."""
    with capture_output() as seen:
        show(*arguments)
    return [line.split(" | ") for line in seen.stdout.splitlines()[1:]]


def word(call, reading, reference):
    """By the rules that the lesson prints: 3 and 20 V in call 2, else 5, 90 and 150 % of the reference."""
    if reading.startswith("OL") or reading.endswith("Ω"):
        return "no path (OL)" if reading.startswith("OL") else "near 0 Ω"
    value = float(reading.split()[0].replace("−", "-"))
    if call == 2:
        return "nothing" if value < 3 else "a part" if value < 20 else "full"
    share = value / reference
    found_words = ((-0.05, "wrong sign"), (0.05, "nothing"), (0.9, "too low"), (1.5, "as it should be"))
    return next((words for limit, words in found_words if share < limit), "far too high")


def test_who_reads_only_what_is_printed_finds_suspect_and_minutes():
    """Menus, sheets, readings and tables as shown, rounded as shown; the meters alone tell every suspect."""
    for own in CIRCUITS[:150]:
        taught = 1000 * (0.318 * 1.414 * own.volts_rms - 0.5 * own.led_path_volts) / own.led_resistor_ohm
        minutes = 0
        for call in CALLS:
            menu, shows = printed(service_pages.menu, call, own), printed(service_pages.shows, call)
            readings = printed(service_pages.take, call, own, list(range(1, len(menu))))  # all but the capture
            noted = [taught if row[3] == "not noted" else row[3].split()[0].replace("−", "-") for row in menu]
            words = [word(call, row[2], float(own_noted) if call != 2 else 0) for row, own_noted in zip(readings, noted, strict=False)]  # fmt: skip
            (left,) = [row for row in shows if row[1 : len(menu)] == words]
            assert int(left[0]) == met(call, own), own.learner
            costs = [int(row[2].split()[0]) for row in menu]
            minutes += min(
                sum(costs[at] for at in some)
                for count in range(1, len(costs) + 1)
                for some in combinations(range(len(costs)), count)
                if all(any(row[at + 1] != left[at + 1] for at in some) for row in shows if row is not left)
            )
        assert minutes == keys.KEYS[-1].first(own), own.learner


def test_all_readings_together_leave_one_suspect_and_each_pair_differs_somewhere():
    for call, visit in CALLS.items():
        shown = {SUSPECTS[number].shows for number in visit.suspects}
        assert len(shown) == len(visit.suspects)
        everything = range(1, len(visit.readings) + 1)
        assert all(settles(call, number, everything) for number in visit.suspects)
        assert suspects_left(call, {}) == visit.suspects


def test_cures_are_one_to_one_and_two_cure_nothing():
    used = [each.cure for each in SUSPECTS.values()]
    assert len(set(used)) == 14 and set(CURES) - set(used) == {35, 36} and not set(CURES) & set(SUSPECTS)


def test_least_minutes_by_hand():
    """Worked with a pencil: stairs 5, a wire 4, the scope 14. Suspect 4 needs readings 1 and 3: 3 + (3 + 5). Suspect 8: 2 and 4."""
    own = next(c for c in CIRCUITS if (c.stairs_minutes, c.lift_minutes) == (5, 4))
    assert [reading.cost(own) for reading in CALLS[1].readings[:5]] == [3, 11, 8, 10, 11]
    assert [least_minutes(1, own, number) for number in (1, 3, 4, 5)] == [11, 8 + 10, 3 + 8, 3]
    assert least_minutes(1, own, 2) == min(10 + 11, 2 + 5 + own.scope_minutes)
    assert least_minutes(2, own, 8) == 4 + (3 + 5 + 4) and least_minutes(3, own, 13) == (4 + 5) + (3 + 5 + 4)


def test_without_its_capacitor_the_board_is_a_half_wave():
    """Mean P/π and rms P/2 of a half wave (any handbook of electronics), behind a drop of nearly nothing against the peak."""
    dry = valve_supply(2600.0, 47000.0, 220e-6, "capacitor open")
    peak = dry["valve"] * math.sqrt(2)
    assert dry["board dc"] == pytest.approx(peak / math.pi, rel=1e-3)
    assert meters.true_rms(dry["scope"]) == pytest.approx(peak / 2, rel=1e-3)


def test_a_shorted_diode_puts_the_whole_ac_across_the_capacitor():
    shorted = valve_supply(26.0, 470.0, 180e-6, "diode shorted")
    assert shorted["board ac"] == pytest.approx(shorted["valve"], rel=1e-2) and abs(shorted["board dc"]) < 0.01


def test_what_leaks_is_the_divider_of_the_complex_numbers():
    for ohm, farad in ((33000.0, 22e-9), (47000.0, 47e-9)):
        other = 101.0 - 1j / (2 * math.pi * 60 * farad)
        leaks = board_input(26.0, ohm, farad, "bleeder open")["input"]
        assert leaks == pytest.approx(26.0 * abs(ohm / (ohm + other)), rel=1e-4)


def test_the_shared_conductor_is_that_of_lesson_09():
    """Half wave less one drop: mean (P cos a - d (π/2 - a)) / π, d = 0.7 V. The winding and the meter's 10 MΩ take up to 2 %."""
    sound = shared_conductor(26.0, 1800.0)
    peak, drop = 26.0 * math.sqrt(2), 0.7
    a = math.asin(drop / peak)
    assert sound["heat dc"] == pytest.approx((peak * math.cos(a) - drop * (math.pi / 2 - a)) / math.pi, rel=0.02)
    assert sound["fan dc"] == pytest.approx(-sound["heat dc"], rel=1e-6)


def test_taught_formulas_lie_well_inside_the_tolerance():
    by_item = {key.item: key for key in keys.KEYS}
    for own in CIRCUITS:
        reactance = 1 / (2 * 3.1416 * own.hertz * own.snubber_farad)
        valve = float(f"{sheet(1, own)['valve']:.1f}")  # as the menu prints it
        taught = {
            "10-valve-volts": 0.318 * 1.414 * valve - 0.5 * own.drop_volts,
            "10-boiler-volts": own.volts_rms * own.input_ohm / (own.input_ohm**2 + reactance**2) ** 0.5,
            "10-heat-milliamperes": 1000 * (0.318 * 1.414 * own.volts_rms - 0.5 * own.led_path_volts) / own.led_resistor_ohm,
        }  # fmt: skip
        for item, value in taught.items():
            key = by_item[item]
            assert value == pytest.approx(key.first(own), rel=0.55 * key.rel_tol), (own.learner, item)


def test_a_capture_is_the_learners_own_and_the_same_every_time():
    one, other = CIRCUITS[:2]
    assert (capture(1, one).values == capture(1, one).values).all()
    assert any((capture(call, one).values != capture(call, other).values).any() for call in CALLS)
    for call in (1, 3):
        wave = found(call, one)["scope"]
        assert meters.dc(capture(call, one)) == pytest.approx(meters.dc(wave), abs=0.4)


def test_readings_are_counted_once_and_a_wrong_list_costs_nothing():
    own = CIRCUITS[0]
    with capture_output() as seen:
        assert service_pages.take(1, own, [1, 1]) == 3
        assert service_pages.take(1, own, (3, 1)) == 6 + own.stairs_minutes
        assert [service_pages.take(1, own, wrong) for wrong in ([7], [0], 3, "1", [1.5], ..., [True])] == [0] * 7
    assert seen.stdout.count("Nothing was read") == 7 and "minutes of readings" in seen.stdout


@pytest.mark.parametrize("call", CALLS)
def test_pictures_and_menus_say_in_words_what_they_show(call):
    own = CIRCUITS[0]
    with capture_output() as seen:
        service_pictures.call_picture(call, own)
        service_pages.menu(call, own)
        service_pages.shows(call)
        service_pages.capture_picture(call, own)
    said = seen.stdout
    assert f"{own.volts_rms:g} V" in said and f"Wiring picture of call {call}" in said
    for number in range(1, len(CALLS[call].readings) + 1):
        assert re.search(rf"[Rr]eadings?[^.]*\b{number}\b", said), number
    assert f"Scope capture of call {call}, two cycles: highest" in said


def test_the_sheet_leaves_out_what_the_learner_has_to_work_out():
    with capture_output() as seen:
        service_pages.menu(3, CIRCUITS[0])
    line = next(line for line in seen.stdout.splitlines() if "LED A" in line)
    assert line.endswith("not noted")


def test_no_fault_is_printed_with_the_learners_values():
    for own in CIRCUITS[:20]:
        printed = " ".join(words for words, _, _ in own.rows())
        assert not any(each.words in printed or each.solver_name in printed for each in SUSPECTS.values())
        assert not any(word in name for name in own.values() for word in ("fault", "suspect", "cure"))


def test_both_benches_begin_at_the_learners_parts():
    own = CIRCUITS[0]
    assert two_calls.start(own).led_resistor_ohm == own.led_resistor_ohm
    started = rectifier.start(own)
    assert (started.load_ohm, started.capacitor_farad) == (own.load_ohm, own.capacitor_farad)

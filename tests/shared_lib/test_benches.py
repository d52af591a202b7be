"""The benches as pure functions and as widgets without a browser: their numbers are the library's, on every setting."""

import html
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from types import SimpleNamespace

import ipywidgets as widgets
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfcycle import Diode, Supply, Wire, meters, rectify
from halfcycle.benches import NAMES, bench, module, rectifier, supply
from halfcycle.benches.model import talk
from halfcycle.benches.stage import Stage
from halfcycle.variants import circuit

MODULES = [module(name) for name in NAMES]


def reading(state, words):
    return next(r.value for r in state.readings if r.words == words)


def any_settings(bench_module):
    """Every control at any of its choices, every situation among them."""
    moves = {control.name: st.sampled_from(control.choices) for control in bench_module.CONTROLS}
    start = bench_module.start()
    situations = st.sampled_from([s.changes for s in bench_module.SITUATIONS])
    return st.tuples(st.fixed_dictionaries(moves), situations).map(
        lambda two: replace(start, **two[0], **{name: value for name, value in two[1].items() if name not in two[0]})
    )


def test_an_unknown_bench_is_named_with_those_that_exist():
    with pytest.raises(ValueError, match=f"no bench called 'toaster'; there are: {', '.join(NAMES)}"):
        bench("toaster")


@pytest.mark.parametrize("kind", ["half", "bridge"])
@pytest.mark.parametrize("capacitor_farad", [0.0, 220e-6, 1000e-6])
def test_rectifier_readings_are_the_solver_s_and_the_meters(kind, capacitor_farad):
    now = replace(rectifier.start(), kind=kind, capacitor_farad=capacitor_farad, load_ohm=220.0)
    solved = rectify(
        Supply.from_rating(40), kind=kind, load_ohm=220.0, capacitor_farad=capacitor_farad, samples_per_cycle=1000
    ).steady()
    state = rectifier.state(now)
    expected = {
        "Dc meter (mean)": meters.dc(solved.load_volts),
        "True-rms meter, ac+dc": meters.true_rms(solved.load_volts),
        "True-rms meter, ac only": meters.ac_rms(solved.load_volts),
        "Ripple, peak to peak": solved.ripple_volts,
        "Load current (mean)": meters.dc(solved.load_volts) / 220.0,
        "Diode current, highest": meters.peak(solved.diode_amps),
        "Diode D1 must block": -solved.diode_volts.values.min(),
    }
    for words, value in expected.items():
        assert reading(state, words) == pytest.approx(value, rel=1e-3), words
    beside = {r.besides.words: r.besides.value for r in state.readings if r.besides}
    assert beside["average-responding"] == pytest.approx(meters.average_responding(solved.load_volts), rel=1e-3)
    assert beside["D1 conducts"] == pytest.approx(solved.conduction_degrees, rel=1e-3)


@pytest.mark.parametrize(("kind", "drops"), [("half", 1), ("bridge", 2)])
def test_the_inrush_is_the_worst_of_all_instants_and_what_ohm_s_law_gives_at_the_peak(kind, drops):
    now = replace(rectifier.start(), kind=kind, capacitor_farad=1000e-6)
    found, source = rectifier.numbers(now).inrush_amps, Supply.from_rating(40)
    by_hand = (source.volts_peak - drops * 0.7) / (source.resistance_ohm + drops * 0.05)
    assert found == pytest.approx(by_hand, rel=1e-3)
    for degrees in range(0, 360, 15):
        begun = rectify(source, kind=kind, load_ohm=150.0, capacitor_farad=1000e-6, cycles=1, start_degrees=degrees)
        assert abs(begun.source_amps.values).max() <= found * (1 + 1e-3), degrees


def test_half_wave_without_capacitor_agrees_with_the_published_form_factors():
    # Mean 0.31831, rms 0.5, ac-only 0.38559 of the peak: integrals of the half sine, as meter tables print them.
    ideal = replace(
        rectifier.start(), source=rectifier.Source(0.0, 24.0, 0.0), capacitor_farad=0.0, drop_volts=1e-6, on_ohm=1e-4
    )
    state, peak = rectifier.state(ideal), 24 * math.sqrt(2)
    for words, share in (
        ("Dc meter (mean)", 0.31831),
        ("True-rms meter, ac+dc", 0.5),
        ("True-rms meter, ac only", 0.38559),
        ("Diode D1 must block", 1.0),
    ):
        assert reading(state, words) == pytest.approx(share * peak, rel=1e-3), words


def test_supply_readings_agree_with_ohm_s_law_by_hand():
    now = replace(supply.start(), length_ft=250.0, gauge_awg=20, actuators=3)
    state = supply.state(now)
    # one loop: no-load voltage over winding, both conductors and the loads side by side, each sized at 24 V
    load_ohm = 24**2 / (7 + 3 * 5)
    winding_ohm, run_ohm = (
        0.1 * 24**2 / 40,
        2 * 10.1526e-3 * 250,
    )  # ohm per 1,000 ft of 20 AWG at 20 °C: ASTM B258, IEC 60028
    amps = 26.4 / (winding_ohm + run_ohm + load_ohm)
    assert reading(state, "Transformer, no load") == pytest.approx(26.4)
    assert reading(state, "Current in the run") == pytest.approx(amps, rel=1e-4)
    assert reading(state, "At the relay") == pytest.approx(amps * load_ohm, rel=1e-4)
    assert reading(state, "Lost in the run") == pytest.approx(amps * run_ohm, rel=1e-4)
    assert reading(state, "Transformer, now") == pytest.approx(amps * (run_ohm + load_ohm), rel=1e-4)
    assert reading(state, "Drawn from transformer") == pytest.approx(amps**2 * (run_ohm + load_ohm), rel=1e-4)
    assert reading(state, "Load list") == 22.0
    assert Wire(20, 250.0).loop_ohm == pytest.approx(run_ohm, rel=1e-4)


def test_the_relay_pulls_in_exactly_when_its_voltage_suffices():
    for pull_in in (16.0, 19.0, 21.0):
        now = replace(supply.start(), length_ft=400.0, gauge_awg=22, actuators=1, pull_in_volts=pull_in)
        enough = supply.numbers(now).far_volts >= pull_in
        state = supply.state(now)
        assert ("contact closes" in state.sentence) is enough
        assert ("contact is closed" in state.wiring_svg) is enough
    assert "stays open" in state.sentence


def test_a_reversed_diode_mirrors_the_half_wave():
    plain = rectifier.numbers(rectifier.start())
    turned = rectifier.numbers(replace(rectifier.start(), fault="diode reversed"))
    assert turned.mean_volts == pytest.approx(-plain.mean_volts, rel=1e-6)
    assert turned.ripple_volts == pytest.approx(plain.ripple_volts, rel=1e-6)
    assert turned.reverse_volts == pytest.approx(plain.reverse_volts, rel=1e-4)


def test_an_open_capacitor_is_no_capacitor_but_stays_in_the_picture():
    open_lead = replace(rectifier.start(), fault="capacitor open")
    none = replace(rectifier.start(), capacitor_farad=0.0)
    assert rectifier.numbers(open_lead).mean_volts == pytest.approx(rectifier.numbers(none).mean_volts, rel=1e-9)
    assert "its lead open" in rectifier.state(open_lead).wiring_svg
    assert "220" in rectifier.state(open_lead).wiring_svg


def test_a_reversed_bridge_diode_shorts_the_secondary_through_two_diodes():
    now = replace(rectifier.start(), kind="bridge", fault="diode reversed")
    # at the peak: the open-circuit peak less two drops, over the winding and two diodes' slopes
    expected = (26.4 * math.sqrt(2) - 2 * 0.7) / (1.44 + 2 * 0.05)
    assert rectifier.numbers(now).diode_peak_amps == pytest.approx(expected, rel=0.01)
    state = rectifier.state(now)
    assert state.danger and "Never in the field" in state.caution


@pytest.mark.parametrize("degrees", [0.0, 75.0, 180.0, 255.0])
def test_what_conducts_in_the_picture_is_what_conducts_in_the_solution(degrees):
    now = replace(rectifier.start(), kind="bridge", moment_degrees=degrees)
    moment = rectifier.moment(now)
    solved = rectify(Supply.from_rating(40), kind="bridge", load_ohm=150.0, capacitor_farad=220e-6).steady()
    at = round(degrees / 360 * 2000)
    assert ("D1" in moment.conducting) is bool(solved.diode_amps.values[at] > 1e-4)
    assert ("D1" in moment.conducting) is ("D4" in moment.conducting)
    assert ("D2" in moment.conducting) is ("D3" in moment.conducting)
    drawn = html.unescape(rectifier.state(now).wiring_svg)
    names = " and ".join(moment.conducting) or "no diode"
    assert f"At {degrees:g}°: {names} conducting." in drawn


@pytest.mark.parametrize(
    ("changes", "danger", "words"),
    [
        ({"load_ohm": 47.0, "kind": "bridge", "source": rectifier.Source.rated(20)}, True, "Not in the field"),
        ({"fault": "diode reversed"}, True, "burst"),
        ({"line_percent": 110.0, "load_ohm": 1000.0}, False, "50 V or more"),
        ({"capacitor_farad": 0.0}, False, "De-energise"),
    ],
)
def test_rectifier_settings_that_bite_say_so(changes, danger, words):
    state = rectifier.state(replace(rectifier.start(), **changes))
    assert state.danger is danger and words in state.caution


def test_an_overloaded_transformer_says_so_even_where_a_long_run_starves_it():
    heavy = replace(supply.start(), volt_amperes=20.0, actuators=6)
    near, far = supply.state(heavy), supply.state(replace(heavy, length_ft=500.0, gauge_awg=24))
    assert near.danger and "overheats" in near.caution
    assert reading(far, "Drawn from transformer") < 20 and far.danger and "load list" in far.caution


@pytest.mark.parametrize("bench_module", MODULES, ids=NAMES)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_every_setting_gives_readings_one_sentence_and_pictures(bench_module, data):
    before, now = data.draw(any_settings(bench_module)), data.draw(any_settings(bench_module))
    state = bench_module.state(now, before)
    assert all(math.isfinite(r.value) for r in state.readings)
    assert re.fullmatch(r"[A-Z0-9][^?!]*\.", state.sentence) and not re.search(r"\.\s", state.sentence)
    assert state.caution.endswith(".")
    for svg in (state.wiring_svg, state.scope_svg):
        root = ET.fromstring(svg)
        assert root.get("role") == "img" and len(root.get("aria-label")) > 40
        assert "@" not in "".join(root.itertext()) + root.get("aria-label")


@pytest.mark.parametrize("bench_module", MODULES, ids=NAMES)
def test_each_control_alone_gets_its_own_reason(bench_module):
    start, said = bench_module.start(), {}
    for control in bench_module.CONTROLS:
        other = next(c for c in reversed(control.choices) if c != getattr(start, control.name))
        said[control.name] = bench_module.state(replace(start, **{control.name: other}), start).sentence
    assert len(set(said.values())) == len(said), said


def test_the_sentence_says_from_where_to_where():
    before = rectifier.start()
    now = replace(before, capacitor_farad=1000e-6)
    old, new = rectifier.numbers(before).ripple_volts, rectifier.numbers(now).ripple_volts
    words = rectifier.state(now, before).sentence.replace("\N{NO-BREAK SPACE}", " ")
    assert f"ripple goes from {old:.1f} V to {new:.2f} V" in words and "larger capacitor" in words


@pytest.mark.parametrize("bench_module", MODULES, ids=NAMES)
def test_text_alternatives_hold_the_library_s_numbers(bench_module):
    state = bench_module.state(bench_module.start())
    words = ET.fromstring(state.scope_svg).get("aria-label")
    for marker in bench_module.markers(state.settings):
        assert marker.label in words
    said = words + ET.fromstring(state.wiring_svg).get("aria-label")
    numbers = [one.text for reading in state.readings for one in (reading, reading.besides) if one and one.value]
    assert sum(number in said for number in numbers) >= 2, said


def test_a_bench_starts_at_the_learner_s_circuit():
    own = circuit("half-cycle", "05", "fennel-07")
    begun = rectifier.start(own)
    assert (begun.load_ohm, begun.capacitor_farad) == (own.load_ohm, pytest.approx(own.capacitor_microfarad * 1e-6))
    assert (begun.source.volts_rms, begun.source.resistance_ohm) == (own.volts_rms, own.source_ohm)
    solved = rectify(
        Supply(own.volts_rms, resistance_ohm=own.source_ohm),
        load_ohm=own.load_ohm,
        capacitor_farad=own.capacitor_microfarad * 1e-6,
        diode=Diode(own.drop_volts, own.diode_ohm),
    ).steady()
    assert reading(rectifier.state(begun), "Ripple, peak to peak") == pytest.approx(solved.ripple_volts, rel=1e-4)
    mine = circuit("half-cycle", "01", "fennel-07")
    begun = supply.start(mine)
    for name in (
        "volt_amperes",
        "regulation_percent",
        "length_ft",
        "gauge_awg",
        "celsius",
        "actuators",
        "pull_in_volts",
    ):
        assert getattr(begun, name) == getattr(mine, name), name


def test_a_circuit_without_a_capacitor_starts_without_one():
    begun = rectifier.start(SimpleNamespace(volts_rms=24.6, load_ohm=82, drop_volts=0.9))
    assert begun.capacitor_farad == 0.0 and begun.source == rectifier.Source(0.0, 24.6, 0.0)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("nothing", [None, SimpleNamespace(), SimpleNamespace(load_ohm=None)])
def test_missing_values_fall_back_to_the_bench_s_own(name, nothing):
    assert module(name).state(module(name).start(nothing)).readings


# ---- the widgets


def every_widget(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from every_widget(child)


def sliders(panel) -> list[widgets.SelectionSlider]:
    return [w for w in every_widget(panel) if isinstance(w, widgets.SelectionSlider)]


def buttons(panel):
    return {w.description: w for w in panel.children[-1].children}


@pytest.mark.parametrize("name", NAMES)
def test_controls_have_a_name_a_unit_and_preferred_values(name):
    panel = bench(name)
    assert [s.description for s in sliders(panel)] == [control.label for control in module(name).CONTROLS]
    for slider, control in zip(sliders(panel), module(name).CONTROLS, strict=True):
        if control.unit:
            assert f"({control.unit})" in slider.description
        else:  # a kind or a count, or the values say their own unit (a transformer is rated in VA, or given in V)
            assert all(re.fullmatch(r"\D+|\d of \d|[\d.]+ (VA|V)", text) for text, _ in slider.options), slider.options


def test_a_slider_moves_the_picture_and_a_reset_puts_everything_back():
    panel = bench("rectifier")
    first = panel._picture.value
    slider = next(s for s in sliders(panel) if s.description.startswith("Load"))
    slider.value = 47.0
    moved = rectifier.state(replace(rectifier.start(), load_ohm=47.0), rectifier.start())
    assert panel.state == moved and html.escape(moved.sentence) in panel._picture.value
    for r in moved.readings:
        assert r.text in panel._picture.value
    buttons(panel)["Reset"].click()
    assert slider.value == 150.0 and panel._picture.value == first


@pytest.mark.parametrize("name", NAMES)
def test_every_situation_leads_where_it_says_and_the_reset_back(name):
    panel, bench_module = bench(name), module(name)
    first, situations = panel._picture.value, bench_module.SITUATIONS
    assert len(situations) >= 4 and len({s.words for s in situations}) == len(situations)
    for situation in situations:
        buttons(panel)[situation.words].click()
        for control, value in situation.changes.items():
            assert getattr(panel.state.settings, control) == value
        buttons(panel)["Reset"].click()
        assert panel._picture.value == first and panel.state.settings == bench_module.start()


def test_situations_move_the_controls_with_them():
    panel = bench("rectifier")
    buttons(panel)["No filter"].click()
    capacitor = next(s for s in sliders(panel) if s.description.startswith("Capacitor"))
    assert capacitor.value == 0.0 and panel.state.settings.capacitor_farad == 0.0
    buttons(panel)["Diode reversed"].click()
    assert panel.state.settings.fault == "diode reversed"
    buttons(panel)["All well"].click()
    assert panel.state.settings.fault == ""


def test_the_learner_s_own_value_is_one_of_the_choices():
    own = SimpleNamespace(load_ohm=390, capacitor_microfarad=560, volts_rms=26.4, source_ohm=1.2, volt_amperes=50)
    panel = bench("rectifier", own)
    values = [value for _, value in next(s for s in sliders(panel) if s.description.startswith("Load")).options]
    assert 390.0 in values and values == sorted(values)
    assert any(s.value == rectifier.Source(50.0, 26.4, 1.2) for s in sliders(panel))


@pytest.mark.parametrize("name", NAMES)
def test_no_choice_stands_twice_on_a_slider(name):
    for slider in sliders(bench(name)):
        words = [text for text, _ in slider.options]
        assert len(set(words)) == len(words), slider.description
    panel = bench(name, circuit("half-cycle", "05", "fennel-07"))
    assert all(len({text for text, _ in s.options}) == len(s.options) for s in sliders(panel))


def test_two_benches_remember_nothing_of_each_other():
    one, other = bench("rectifier"), bench("rectifier")
    sliders(one)[2].value = 47.0
    assert other.state == rectifier.state(rectifier.start()) and bench("rectifier").state == other.state


@pytest.mark.parametrize("name", NAMES)
def test_where_widgets_cannot_be_shown_the_same_numbers_stand_in_a_still_picture(name):
    panel = bench(name)
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    for r in panel.state.readings:
        assert r.text in bundle["text/html"] and r.text in bundle["text/plain"]
    assert bundle["text/html"].count('role="img"') == 2
    assert "<script" not in bundle["text/html"]


@pytest.mark.parametrize("name", NAMES)
def test_a_bench_is_made_of_sliders_buttons_and_one_picture(name):
    # Output widgets and interact made pages hang, and a second picture would be a second message for each event.
    kinds = [type(w).__name__ for w in every_widget(bench(name))]
    assert set(kinds) == {"Panel", "HTML", "Box", "_Slider", "Button"}
    assert kinds.count("HTML") == 2  # the style sheet, which never changes, and the picture


@pytest.mark.parametrize("name", NAMES)
def test_a_move_of_a_slider_sends_one_message_the_picture(name, monkeypatch):
    panel, sent = bench(name), []
    monkeypatch.setattr(widgets.Widget, "_send", lambda widget, message, buffers=None: sent.append((widget, message)))
    slider = sliders(panel)[-1]
    slider.set_state({"index": (slider.index + 1) % len(slider.options)})  # as the page asks for it
    (one, message), *others = sent
    assert one is panel._picture and list(message["state"]) == ["value"] and not others


def test_the_stage_swaps_benches_and_their_strips_and_keeps_settings():
    stage = Stage("rectifier")
    sliders(stage)[2].value = 47.0
    stage.choice.value = "supply"
    assert "supply" in stage.panel._module.NAME
    assert html.escape(talk("supply").questions[0]) in stage._strip.value
    stage.choice.value = "rectifier"
    assert stage.panel.state.settings.load_ohm == 47.0


@pytest.mark.parametrize("name", NAMES)
def test_a_talk_has_three_questions_and_defers_to_code_and_licence(name):
    words = talk(name)
    assert len(words.questions) == 3 and all("?" in q or q.endswith("then look.") for q in words.questions)
    assert any("code" in c and "licensed" in c for c in words.cautions)
    assert any("de-energise" in c.lower() for c in words.cautions)

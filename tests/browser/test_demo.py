"""The demo page in a real browser: one screen, nothing but the benches on it, moved by keyboard, from this machine alone."""

import re
import socket
import urllib.error
import urllib.request
from dataclasses import replace

import pytest
from demo_page import (
    READY_S,
    as_shown,
    choose,
    open_demo,
    overflowing,
    readings,
    restart,
    slider,
    start_demo,
    until,
    until_shown,
)

from halfcycle.benches import NAMES, module, rectifier


@pytest.fixture(scope="module")
def opened(chromium, address):
    """One page at 1280 by 720 for the tests that need no fresh one."""
    context = chromium.new_context(viewport={"width": 1280, "height": 720})
    page = context.new_page()
    open_demo(page, address)
    yield page
    context.close()


@pytest.fixture
def page(opened):
    """That page with the rectifier's bench as it begins, and nothing in focus."""
    restart(opened, "rectifier")
    return opened


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080)])
@pytest.mark.parametrize("bench", NAMES)
def test_the_whole_bench_stands_on_one_screen(screen, address, width, height, bench):
    page = screen.page
    page.set_viewport_size({"width": width, "height": height})
    open_demo(page, address)
    choose(page, bench)
    until_shown(page, module(bench).state(module(bench).start()))
    screen.shot(f"demo-{bench}-{width}x{height}")
    size = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
    assert size == [width, height]
    assert overflowing(page) == []
    # the words nobody may have to guess from the back row: at least 1/45 of the screen's height
    letters = "kind => [...document.querySelectorAll(kind)].map(n => parseFloat(getComputedStyle(n).fontSize))"
    assert min(page.evaluate(letters, "dt, .hc-sentence, .hc-situations button")) >= height / 45 - 0.1
    assert min(page.evaluate(letters, "dd:not(.hc-besides)")) >= height / 30
    assert on_each_other(page) == []


def on_each_other(page) -> list[str]:
    """Pairs of the page's parts that overlap, and buttons that need a second row."""
    return page.evaluate(
        """() => {
            const kinds = ['.hc-head', '.hc-pair', '.hc-readings', '.hc-sentence', '.hc-caution', '.hc-controls', '.hc-situations', '.hc-ask'];
            const parts = kinds.map(kind => [kind, document.querySelector(kind).getBoundingClientRect()]);
            const laid = (a, b) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
            const pairs = parts.flatMap(([one, a], k) => parts.slice(k + 1).filter(([, b]) => laid(a, b)).map(([two]) => `${one} on ${two}`));
            const tops = new Set([...document.querySelectorAll('.hc-situations button')].map(n => n.getBoundingClientRect().top));
            return tops.size > 1 ? [...pairs, 'buttons in two rows'] : pairs;
        }"""
    )


def test_nothing_but_the_benches_is_on_the_page(page):
    text = page.locator("body").inner_text()
    for forbidden in ("import ", "Traceback", "Error", ".ipynb", ".py", "In [", "Out[", "Stage(", "Voil"):
        assert forbidden not in text, forbidden
    assert page.title() == "Half Cycle"
    assert page.locator("a[href], .jp-CodeMirrorEditor, .jp-InputArea, pre, code").count() == 0
    for question in page.locator(".hc-ask li").all_inner_texts():
        assert question.strip()
    assert page.locator(".hc-ask li").count() == 3
    assert "licensed" in page.locator(".hc-ask").inner_text()


def test_only_this_machine_is_asked_and_the_console_is_clean(screen, address):
    open_demo(screen.page, address)
    slider(screen.page, "Load").press("ArrowRight")
    until(screen.page, "A higher resistance")
    assert screen.refused == []
    assert [(kind, text) for kind, text in screen.console if kind != "debug"] == []
    assert all("ws://127.0.0.1" in text for kind, text in screen.console)  # to which kernel it speaks


def test_no_page_of_the_server_points_outside(address):
    for path in ("", "no-such-page", "voila/files/half_cycle.ipynb", "voila/tree"):
        try:
            with urllib.request.urlopen(address + path, timeout=READY_S) as answer:
                html = answer.read().decode()
        except urllib.error.HTTPError as refused:
            html = refused.read().decode()
        assert not re.findall(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//(?!127\.0\.0\.1)[^"'\s>]+""", html), path
        assert "half_cycle.ipynb" not in html and "Traceback" not in html, path


@pytest.mark.parametrize("name", NAMES)
def test_every_control_is_moved_by_keyboard_and_the_readings_are_the_library_s(opened, name):
    bench = module(name)
    restart(opened, name)
    now = bench.start()
    assert readings(opened) == as_shown(bench.state(now))
    for control in bench.CONTROLS:
        handle = opened.get_by_role("slider", name=control.label, exact=True)
        at = control.choices.index(getattr(now, control.name))
        last = at == len(control.choices) - 1
        handle.press("ArrowLeft" if last else "ArrowRight")
        before, now = now, replace(now, **{control.name: control.choices[at - 1 if last else at + 1]})
        state = bench.state(now, before)
        until_shown(opened, state)
        assert readings(opened) == as_shown(state), control.name
        assert handle.get_attribute("aria-valuetext") == control.show(getattr(now, control.name))
    opened.get_by_role("button", name="Reset", exact=True).press("Enter")
    until_shown(opened, bench.state(bench.start()))
    assert readings(opened) == as_shown(bench.state(bench.start()))


def test_every_bench_is_reached_by_keyboard_alone(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.type") == "radio"
    begun = NAMES.index("rectifier")
    for name in NAMES[begun + 1 :] + NAMES[: begun + 1]:
        page.keyboard.press("ArrowDown")
        page.get_by_role("slider", name=module(name).CONTROLS[0].label, exact=True).wait_for()
        until_shown(page, module(name).state(module(name).start()))
    page.keyboard.press("ArrowUp")
    until_shown(page, module("supply").state(module("supply").start()))
    focus_on(page, "Run, one way")
    page.keyboard.press("ArrowRight")
    until(page, "A longer run has more resistance")


def focus_on(page, label):
    """Press Tab until the control whose name begins with `label` has the focus."""
    for _ in range(30):
        page.keyboard.press("Tab")
        if (page.evaluate("document.activeElement.getAttribute('aria-label')") or "").startswith(label):
            return
    raise AssertionError(f"Tab never reaches {label}")


@pytest.mark.parametrize("name", NAMES)
def test_the_focus_goes_round_in_reading_order(opened, name):
    restart(opened, name)
    bench = module(name)
    expected = [control.label for control in bench.CONTROLS] + [s.words for s in bench.SITUATIONS] + ["Reset"]
    names = []
    for _ in range(1 + len(expected)):
        opened.keyboard.press("Tab")
        names.append(
            opened.evaluate(
                "() => { const n = document.activeElement; return n.getAttribute('aria-label') || n.textContent || n.type }"
            )
        )
    assert names == ["radio", *expected]


def test_every_control_has_a_name_a_unit_and_a_spoken_value(page):
    for control in rectifier.CONTROLS:
        handle = page.get_by_role("slider", name=control.label, exact=True)
        assert handle.get_attribute("aria-valuetext") == control.show(getattr(rectifier.start(), control.name))
    slider(page, "Capacitor").press("End")
    until(page, "A larger capacitor")
    assert slider(page, "Capacitor").get_attribute("aria-valuetext") == "4,700\N{NO-BREAK SPACE}µF"
    assert page.get_by_role("radiogroup", name="Bench").count() == 1
    for picture in page.get_by_role("img").all():
        assert len(picture.get_attribute("aria-label")) > 40
    sentence = page.locator(".hc-sentence").inner_text()
    page.locator(".hc-voice", has_text=sentence).wait_for(state="attached")


def test_two_people_do_not_disturb_each_other(chromium, page, address):
    other = chromium.new_context(viewport={"width": 1280, "height": 720})
    try:
        second = other.new_page()
        open_demo(second, address)
        slider(page, "Load").press("ArrowRight")
        until(page, "A higher resistance")
        assert readings(second) == as_shown(rectifier.state(rectifier.start()))
        slider(second, "Load").press("ArrowLeft")
        until(second, "A lower resistance")
        assert readings(second) == as_shown(rectifier.state(replace(rectifier.start(), load_ohm=100.0)))
        assert readings(page) == as_shown(rectifier.state(replace(rectifier.start(), load_ohm=220.0)))
    finally:
        other.close()


def test_at_twice_the_size_everything_can_be_reached_by_scrolling(screen, address):
    # 200 % zoom of a 1280 by 720 window leaves 640 by 360 for the page.
    page = screen.page
    page.set_viewport_size({"width": 640, "height": 360})
    open_demo(page, address)
    screen.shot("demo-zoom-200", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 640
    reach = page.evaluate("document.documentElement.scrollHeight")
    bottoms = page.evaluate(
        "[...document.querySelectorAll('.hc-ask, button, dd')].map(n => n.getBoundingClientRect().bottom)"
    )
    assert max(bottoms) <= reach
    slider(page, "Load").press("ArrowRight")
    until(page, "A higher resistance")


def test_a_setting_that_bites_is_marked_by_words_too(page):
    page.get_by_role("button", name="Diode reversed").press("Enter")
    until(page, "wrong way round")
    assert page.locator(".hc-danger").inner_text().startswith("Danger: ")
    assert overflowing(page) == []


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--bench", "toaster"), f"There is no bench called 'toaster'; choose one of: {', '.join(NAMES)}."),
        (("--port", "70000"), "70000 is no port; use a number from 1024 to 65535, or leave --port out."),
        (("--handout", "no-such-folder/talk.pdf"), "The hand-out cannot be written to no-such-folder/talk.pdf"),
    ],
)
def test_what_cannot_be_done_ends_in_one_sentence(arguments, sentence):
    demo = start_demo(*arguments)
    out, err = demo.communicate(timeout=READY_S)
    assert demo.returncode == 1 and out == ""
    assert err.startswith(sentence) and err.count("\n") == 1


def test_a_port_in_use_ends_in_one_sentence():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        demo = start_demo("--port", str(port))
        _, err = demo.communicate(timeout=READY_S)
    assert demo.returncode == 1
    assert err.startswith(f"Port {port} is in use") and err.count("\n") == 1

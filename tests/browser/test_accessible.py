"""The benches for people who hear, enlarge or only type: axe-core's rules, names and units, 200 % zoom, reduced motion.

axe-core comes from npm, for the length of a test run. Rules and their impact: Deque's axe-core, after WCAG 2.2 A and AA.
"""

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from demo_page import open_demo, restart, slider, until_shown
from test_bench_in_lesson import lessons, shown, study  # noqa: F401 (fixtures)

from halfcycle.benches import NAMES, module

AXE = "axe-core@>=4.10 <5"
SEVERE = ("serious", "critical")
JUPYTERLAB_S_OWN = (
    ("aria-allowed-attr", "jp-button"),  # buttons of its file browser and toolbars
    ("aria-input-field-name", ".cm-content"),  # its code editors have no name
    ("aria-required-children", ".jp-WindowedPanel-viewport"),  # its list of cells
)
"""Rules that JupyterLab breaks by itself, each with the selector of where; nothing of a bench matches one of them."""


@pytest.fixture(scope="session")
def axe(tmp_path_factory) -> str:
    """The script of axe-core."""
    npm = shutil.which("npm")
    assert npm, "npm is missing; install it with: sudo apt-get install -y --no-install-recommends npm"
    folder = tmp_path_factory.mktemp("axe")
    command = [npm, "install", "--prefix", str(folder), "--no-save", "--no-audit", "--no-fund", "--ignore-scripts", AXE]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return Path(folder, "node_modules", "axe-core", "axe.min.js").read_text(encoding="utf-8")


def faults(page, axe) -> set[tuple[str, str]]:
    """Serious and critical faults of the page: the rule, and where it is broken."""
    page.evaluate(axe)
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']}).then(result => result.violations)")
    return {
        (fault["id"], " ".join(map(str, node["target"])))
        for fault in found
        if fault["impact"] in SEVERE
        for node in fault["nodes"]
    }


def test_the_rules_find_what_is_wrong(screen, axe):
    """The tests below prove nothing if this one fails."""
    screen.page.set_content(
        '<html lang="en"><title>x</title><main><button></button><p style="color:#bbb">pale</p></main>'
    )
    assert {rule for rule, _ in faults(screen.page, axe)} == {"button-name", "color-contrast"}


@pytest.fixture
def page(shared_screen, address):
    """The demo page at 1280 by 720, opened once."""
    if shared_screen.page.url != address:
        shared_screen.page.set_viewport_size({"width": 1280, "height": 720})
        open_demo(shared_screen.page, address)
    return shared_screen.page


@pytest.mark.parametrize("name", NAMES)
def test_the_demo_page_has_no_serious_fault(page, axe, name):
    restart(page, name)
    assert faults(page, axe) == set()
    now = module(name).start()
    for situation in module(name).SITUATIONS:
        before, now = now, replace(now, **situation.changes)
        page.get_by_role("button", name=situation.words, exact=True).click()
        until_shown(page, module(name).state(now, before))
        assert faults(page, axe) == set(), situation.words


@pytest.mark.parametrize("name", NAMES)
def test_at_twice_the_size_nothing_is_lost_sideways(page, name):
    restart(page, name)
    page.set_viewport_size({"width": 640, "height": 360})  # what a zoom of 200 % leaves of 1280 by 720
    try:
        assert page.evaluate("document.documentElement.scrollWidth") <= 640
        assert beyond(page, ".hc-stage") == []
    finally:
        page.set_viewport_size({"width": 1280, "height": 720})


def beyond(page, whole) -> list[str]:
    """Elements that reach out of `whole` to the left or right, or cut off what they hold."""
    return page.evaluate(
        """whole => [...document.querySelectorAll(whole)].flatMap(box => [...box.querySelectorAll('*')]
            .filter(node => node.getClientRects().length && !node.closest('svg') && !node.matches('.noUi-target *'))
            .filter(node => { const r = node.getBoundingClientRect(), b = box.getBoundingClientRect();
                const cut = getComputedStyle(node).overflowX !== 'visible' && node.scrollWidth > node.clientWidth + 1;
                return r.left < b.left - 1 || r.right > b.right + 1 || cut; })
            .map(node => node.className || node.tagName))""",
        whole,
    )


def test_nothing_moves_by_itself_for_those_who_ask_for_it(page):
    restart(page, "rectifier")
    page.emulate_media(reduced_motion="reduce")
    slow = """() => [...document.querySelectorAll('.hc-stage *')].filter(node => {
        const style = getComputedStyle(node);
        return style.animationName !== 'none' || style.transitionDuration.split(', ').some(one => parseFloat(one) > 0); })
        .map(node => node.className || node.tagName)"""
    assert page.evaluate(slow) == []
    slider(page, "Load").press("ArrowRight")
    assert page.evaluate("document.getAnimations().length") == 0
    page.emulate_media(reduced_motion="no-preference")


def test_no_bench_in_jupyterlab_has_a_serious_fault(study, axe):  # noqa: F811
    for name in NAMES:
        shown(study, name)
        broken = [one for one in faults(study.page, axe) if not jupyterlab_s_own(study.page, *one)]
        assert broken == [], name


def jupyterlab_s_own(page, rule, where) -> bool:
    """Whether the fault is one of those listed, outside every bench."""
    selectors = [selector for listed, selector in JUPYTERLAB_S_OWN if listed == rule]
    is_one = "([where, selectors]) => { const node = document.querySelector(where); return !node.closest('.hc-bench') && selectors.some(one => node.matches(one)); }"
    return page.evaluate(is_one, [where, selectors])


def test_in_a_lesson_at_twice_the_size_nothing_is_lost_sideways(study):  # noqa: F811
    shown(study, "two_calls")
    study.page.set_viewport_size({"width": 640, "height": 450})
    try:
        shown(study, "two_calls")
        study.screen.shot("lesson-zoom-200")
        assert beyond(study.page, ".hc-bench") == []
    finally:
        study.page.set_viewport_size({"width": 1280, "height": 900})

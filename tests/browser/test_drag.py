"""A fast drag: sixty events in a second, after which the last value stands on the screen, and nothing comes after it."""

from dataclasses import replace

import pytest
from demo_page import as_shown, open_demo, readings, restart, slider, until_readings

from halfcycle.benches import NAMES, module

EVENTS = 60
DRAG = """([label, keys]) => new Promise(done => {
  const handle = [...document.querySelectorAll('[role=slider]')].find(one => one.getAttribute('aria-label') === label);
  let sent = 0, last = 0, shown = 0;
  const pictured = one => [...one.addedNodes].some(node => node.querySelector?.('.hc-scope'));
  const watch = new MutationObserver(records => {
    if (records.some(pictured)) requestAnimationFrame(() => { shown = performance.now(); });
  });
  watch.observe(document.querySelector('.hc-shown'), {childList: true, subtree: true});
  const timer = setInterval(() => {
    handle.dispatchEvent(new KeyboardEvent('keydown', {key: keys[sent], bubbles: true}));
    last = performance.now();
    if (++sent < keys.length) return;
    clearInterval(timer);
    setTimeout(() => { watch.disconnect(); done(shown - last); }, 2000);
  }, 1000 / keys.length);
})"""


@pytest.fixture(scope="module")
def page(shared_screen, address):
    open_demo(shared_screen.page, address)
    return shared_screen.page


@pytest.mark.parametrize("name", NAMES)
def test_after_sixty_events_in_a_second_the_last_value_is_on_the_screen(page, name):
    bench = module(name)
    restart(page, name)
    control = max((c for c in bench.CONTROLS if not c.name.startswith("moment")), key=lambda c: len(c.choices))
    at, keys = control.choices.index(getattr(bench.start(), control.name)), []
    way = 1
    for _ in range(EVENTS):  # to and fro between the ends
        way = way if 0 <= at + way < len(control.choices) else -way
        at += way
        keys.append("ArrowRight" if way > 0 else "ArrowLeft")
    late = page.evaluate(DRAG, [control.label, keys])
    last = bench.state(replace(bench.start(), **{control.name: control.choices[at]}))
    until_readings(page, last)
    assert slider(page, control.label).get_attribute("aria-valuetext") == control.show(control.choices[at])
    print(f"{name}: the last picture stood {late:.0f} ms after the last of {EVENTS} events")
    page.wait_for_timeout(300)
    assert readings(page) == as_shown(last)

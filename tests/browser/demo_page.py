"""Driving the demo page: start it, choose a bench, move its controls by keyboard, read what stands there."""

import contextlib
import json
import re
import signal
import socket
import subprocess
import sys

from playwright.sync_api import expect

from halfcycle.benches import module
from halfcycle.benches.model import talk

READY_S = 60  # generous: what is tested is what appears, not how soon


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def start_demo(*arguments: str) -> subprocess.Popen:
    command = [sys.executable, "-m", "halfcycle", "demo", "--no-browser", *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@contextlib.contextmanager
def running_demo():
    """The address of a demo of its own, stopped at the end."""
    demo = start_demo("--port", str(free_port()))
    try:
        line = demo.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert found, line + demo.stderr.read()
        yield found.group()
    finally:
        demo.send_signal(signal.SIGINT)
        demo.communicate(timeout=READY_S)


def open_demo(page, address) -> None:
    page.goto(address)
    page.locator(".hc-scope").wait_for(timeout=READY_S * 1000)
    page.locator('[role="slider"][aria-label]').first.wait_for()


def choose(page, name: str) -> None:
    """Show the bench called `name`, and wait for it."""
    page.get_by_role("radio", name=talk(name).short, exact=True).check()
    first = module(name).CONTROLS[0].label
    page.get_by_role("slider", name=first, exact=True).wait_for(timeout=READY_S * 1000)


def restart(page, name: str) -> None:
    """Show the bench called `name` as it begins, nothing in focus."""
    choose(page, name)
    page.get_by_role("button", name="Reset", exact=True).click()
    until_shown(page, module(name).state(module(name).start()))
    page.mouse.click(2, 2)


def until(page, words: str) -> None:
    """Wait for the bench's sentence to hold `words`: everything else in the picture came with it."""
    page.locator(".hc-sentence", has_text=words).wait_for()


def until_shown(place, state) -> None:
    """Wait for the picture of `state` in a page, or a part of one."""
    expect(place.locator(".hc-sentence")).to_have_text(state.sentence, timeout=READY_S * 1000)


def until_readings(page, state) -> None:
    """Wait for the readings of `state`; its sentence may tell of another way to it."""
    there = """rows => JSON.stringify([...document.querySelectorAll('.hc-readings > div')]
        .map(row => [...row.children].map(one => one.textContent))) === rows"""
    rows = [[words, *values] for words, values in as_shown(state).items()]
    page.wait_for_function(
        there, arg=json.dumps(rows, ensure_ascii=False, separators=(",", ":")), timeout=READY_S * 1000
    )


def slider(page, name: str):
    return page.locator(f'[role="slider"][aria-label^="{name}"]')


def readings(place) -> dict[str, list[str]]:
    """What the meters in a page, or a part of one, show: the words of each, then its value and what stands besides."""
    rows = place.locator(".hc-readings > div").evaluate_all(
        "rows => rows.map(row => [...row.children].map(one => one.textContent))"
    )
    return {words: values for words, *values in rows}


def as_shown(state) -> dict[str, list[str]]:
    """What `readings` must give in `state`."""
    return {
        one.words: [one.text, *([f"{one.besides.words} {one.besides.text}"] if one.besides else [])]
        for one in state.readings
    }


def overflowing(page) -> list[str]:
    """Elements of the page that reach beyond the window or are cut off by it."""
    return page.evaluate(
        """() => [...document.querySelectorAll('.hc-stage *')]
            .filter(node => node.getClientRects().length && !node.closest('svg'))
            .filter(node => { const r = node.getBoundingClientRect();
                return r.right > innerWidth + 1 || r.bottom > innerHeight + 1 || r.left < -1 || r.top < -1; })
            .map(node => node.className || node.tagName)"""
    )

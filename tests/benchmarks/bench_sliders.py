"""From a slider's event to the painted picture in headless Chromium, beside plain `interact` with an inline figure.

    uv run python tests/benchmarks/bench_sliders.py [--bench NAME ...] [--events N] [--samples N ...]

Every event moves one slider by one step to a setting that was not there before, so that each picture is solved anew. The
clock of the page itself runs from the key's event to the frame after the one in which the new picture stands. Both pages
are served alike, and `interact` draws two of the bench's own traces, from the same numbers, in a figure of the usual size.
Then come 60 events within a second: how long after the last of them its picture is painted. Goals: a median of at most
35 ms, at least 3.5 times faster than `interact`, and 125 ms after the fast drag, on 2 shared cores.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

from demo_page import free_port

from halfcycle.benches import NAMES, module

RECORDS = {  # where each bench says how many samples a trace has, and the share of a trace that this is
    "supply": (("supply._SAMPLES", 0.5),),
    "rectifier": (("rectifier._SAMPLES", 0.5),),
    "spikes": (("spikes_solved._STEPS", 1.0),),
    "opto": (("opto_solved.SAMPLES", 0.5), ("opto.SAMPLES", 0.5)),
    "two_calls": (("two_calls_solved._SAMPLES", 0.5),),
}
WALKS = {  # the situation to begin with, and the two sliders that are moved: where the most is to be solved
    "supply": ("All zones call", ("length_ft", "actuators")),
    "rectifier": ("All well", ("capacitor_farad", "load_ohm")),
    "spikes": ("Feed filter", ("filter_farad", "bus_load_ohm")),
    "opto": ("All well", ("led_resistor_ohm", "across_ohm")),
    "two_calls": ("Both called", ("led_resistor_ohm", "wire_ohm")),
}
_FRAME_MS, _GOLDEN = 1000 / 60, 0.618  # events meet the screen's frames evenly at every phase, as a hand's do
STAGE = "from halfcycle.benches.stage import Stage\nStage({name!r})"
INTERACT = """%matplotlib inline
from dataclasses import replace
import matplotlib.pyplot as plt
from ipywidgets import SelectionSlider, interact
from halfcycle.benches import module
bench = module({name!r})
begin = replace(bench.start(), **next(s.changes for s in bench.SITUATIONS if s.words == {situation!r}))
def draw(**values):
    figure, axes = plt.subplots()
    for trace in bench.traces(replace(begin, **values))[:2]:
        axes.plot(trace.wave.seconds, trace.wave.values, label=trace.label)
    axes.legend()
    plt.show()
sliders = {{c.name: SelectionSlider(options=[(c.show(v), v) for v in c.choices], value=getattr(begin, c.name),
    description=c.label) for c in bench.CONTROLS}}
interact(draw, **sliders);"""
SERVE = """import sys
from pathlib import Path
from importlib.resources import files
from halfcycle import demo
demo._let_jupyter_find(Path(str(files("halfcycle").joinpath("demo_template"))))
server = demo._server(Path(sys.argv[1]), int(sys.argv[2]))
print("ready", flush=True)
server.start()"""
IN_THE_PAGE = """
window.handles = () => [...document.querySelectorAll('.widget-slider')].map(one => one.querySelector('[role=slider]'));
const key = (at, name) => handles()[at].dispatchEvent(new KeyboardEvent('keydown', {key: name, bubbles: true}));
const pictures = '.hc-scope, img';
const isNew = record => [...record.addedNodes].some(node => node.matches?.(pictures) || node.querySelector?.(pictures));
const nextFrame = () => new Promise(done => requestAnimationFrame(() => {
    const after = new MessageChannel();
    after.port1.onmessage = done;
    after.port2.postMessage(0);
}));
const painted = async () => {
    await Promise.all([...document.querySelectorAll('img')].map(one => one.decode().catch(() => {})));
    await nextFrame();
};
window.step = (at, name) => new Promise((done, fail) => {
    const begin = performance.now();
    const late = setTimeout(() => { watch.disconnect(); fail(new Error('no picture')); }, 20000);
    const watch = new MutationObserver(async records => {
        if (!records.some(isNew)) return;
        clearTimeout(late);
        watch.disconnect();
        await painted();
        done(performance.now() - begin);
    });
    watch.observe(document.body, {childList: true, subtree: true});
    key(at, name);
});
window.drag = (at, names, gap) => new Promise(done => {
    let sent = 0, last = 0, shown = 0, frames = 0, quiet = 0;
    const watch = new MutationObserver(async records => {
        if (!records.some(isNew)) return;
        await painted();
        shown = performance.now();
        frames += 1;
        clearTimeout(quiet);
        quiet = setTimeout(() => { if (sent === names.length) { watch.disconnect(); done([shown - last, frames]); } }, 1500);
    });
    watch.observe(document.body, {childList: true, subtree: true});
    const timer = setInterval(() => {
        key(at, names[sent]);
        last = performance.now();
        if (++sent === names.length) clearInterval(timer);
    }, gap);
});
0;  // a function as the last value would be called at once
"""


def steps(bench, events: int) -> list[tuple[int, str]]:
    """A walk by single steps over settings that are all different: sliders by number, "ArrowRight" or "ArrowLeft"."""
    order = [
        (k, len(c.choices)) for name in WALKS[bench.NAME][1] for k, c in enumerate(bench.CONTROLS) if c.name == name
    ]
    places, ways, walk = [0] * len(order), [1] * len(order), []
    for _ in range(min(events, order[0][1] * order[1][1] - 1)):
        k = 0 if 0 <= places[0] + ways[0] < order[0][1] else 1
        if k:
            ways[0] = -ways[0]
        places[k] += ways[k]
        walk.append((order[k][0], "ArrowRight" if ways[k] > 0 else "ArrowLeft"))
    return walk


class Served:
    """A notebook of one cell on a page of its own, as the demo serves its own."""

    def __init__(self, browser, source: str):
        self.browser, self.source = browser, source

    def __enter__(self):
        self.folder = tempfile.TemporaryDirectory()
        notebook = Path(self.folder.name, "bench.ipynb")
        cell = {
            "cell_type": "code",
            "id": "all",
            "metadata": {},
            "execution_count": None,
            "outputs": [],
            "source": self.source,
        }
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        about = {"cells": [cell], "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
        notebook.write_text(json.dumps(about))
        port = free_port()
        self.server = subprocess.Popen(
            [sys.executable, "-c", SERVE, str(notebook), str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.server.stdout.readline()
        time.sleep(1)  # from ready to listening
        return self._opened(f"http://127.0.0.1:{port}/")

    def _opened(self, address):
        for _ in range(4):  # pages with an output widget sometimes stay blank
            page = self.browser.new_page(viewport={"width": 1280, "height": 720})
            try:
                page.goto(address, timeout=45_000)
                page.locator(".hc-scope, img").first.wait_for(timeout=30_000)
                page.locator("[role=slider]").first.wait_for(timeout=30_000)
            except Exception:
                page.close()
                continue
            page.wait_for_timeout(1500)
            page.evaluate(IN_THE_PAGE)
            return page
        raise SystemExit("the page never showed its picture")

    def __exit__(self, *_):
        self.server.terminate()
        self.server.communicate(timeout=30)
        self.folder.cleanup()


def source(text: str, name: str, samples: int) -> str:
    lines = []
    for place, share in RECORDS[name]:
        where, attribute = place.split(".")
        lines.append(f"import halfcycle.benches.{where} as records; records.{attribute} = {round(share * samples)}")
    return "\n".join([*lines, text.format(name=name, situation=WALKS[name][0])])


def timed(page, bench, events: int) -> list[float]:
    """Milliseconds of each event."""
    situation, names = WALKS[bench.NAME]
    for button in page.get_by_role("button", name=situation, exact=True).all():
        button.click()
    page.wait_for_timeout(500)  # else the situation's answer may overtake the keys that follow
    for number, control in enumerate(bench.CONTROLS):
        if control.name in names:
            page.locator("[role=slider]").nth(number).press("Home")
    page.wait_for_timeout(1500)
    spent = []
    for count, (number, key) in enumerate(steps(bench, events)):
        page.wait_for_timeout(30 + _FRAME_MS * (count * _GOLDEN % 1))
        spent.append(page.evaluate("([at, name]) => step(at, name)", [number, key]))
    return spent


def dragged(page, bench) -> tuple[float, int]:
    """Milliseconds from the last of 60 events in a second to its picture, and how many pictures were painted."""
    number = next(k for k, c in enumerate(bench.CONTROLS) if c.name == WALKS[bench.NAME][1][0])
    many = len(bench.CONTROLS[number].choices) - 1
    there_and_back = ["ArrowRight"] * many + ["ArrowLeft"] * many
    names = (there_and_back * (60 // len(there_and_back) + 1))[:60]
    page.locator("[role=slider]").nth(number).press("Home")
    page.wait_for_timeout(1000)
    return tuple(page.evaluate("([at, names]) => drag(at, names, 1000 / 60)", [number, names]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--bench", nargs="+", choices=NAMES, default=NAMES)
    parser.add_argument("--events", type=int, default=98)
    parser.add_argument("--samples", type=int, nargs="+", default=[2000, 20_000])
    chosen = parser.parse_args()
    print(
        f"{'bench':10} {'samples':>8} {'ours':>9} {'90 %':>9} {'interact':>9} {'ratio':>6} {'drag':>9} {'pictures':>9}"
    )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for name in chosen.bench:
            for samples in chosen.samples:
                print_line(browser, name, samples, chosen.events)


def print_line(browser, name: str, samples: int, events: int) -> None:
    bench = module(name)
    with Served(browser, source(STAGE, name, samples)) as page:
        ours = timed(page, bench, events)
        late, pictures = dragged(page, bench)
    with Served(browser, source(INTERACT, name, samples)) as page:
        plain = timed(page, bench, max(20, events // 3))
    middle, usual = statistics.median(ours), statistics.median(plain)
    tenth = statistics.quantiles(ours, n=10)[-1]
    print(
        f"{name:10} {samples:8} {middle:6.1f} ms {tenth:6.1f} ms {usual:6.1f} ms {usual / middle:6.1f} {late:6.0f} ms {pictures:9}",
        flush=True,
    )


if __name__ == "__main__":
    main()

"""With every request to anything but this computer refused: what was refused, and what the browser logged.

The list is kept as artefacts/offline.txt.
"""

import pytest
from conftest import ARTEFACTS
from demo_page import choose, open_demo, restart
from test_bench_in_lesson import lessons, shown, study  # noqa: F401 (fixtures)

from halfcycle.benches import NAMES

OUTSIDE = "http://192.0.2.7/picture.png"  # an address for documentation, RFC 5737
HARMLESS = ("debug", "info", "log")


@pytest.fixture(scope="module")
def report():
    """Lines that are written down at the end."""
    lines = []
    yield lines
    ARTEFACTS.mkdir(exist_ok=True)
    (ARTEFACTS / "offline.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


def written(report, where, screen):
    report += [f"{where}: refused {address}" for address in screen.refused]
    report += [f"{where}: logged as {kind}: {text}" for kind, text in screen.console]


def test_a_request_to_another_computer_is_refused_and_listed(screen, report):
    """The tests below prove nothing if this one fails."""
    screen.page.set_content(f'<img src="{OUTSIDE}" alt="from outside">')
    screen.page.wait_for_load_state("networkidle")
    written(report, "a page that does ask", screen)
    assert screen.refused == [OUTSIDE]
    assert any("ERR_FAILED" in text for text in screen.errors())
    assert any(OUTSIDE in line for line in report)


def test_the_demo_page_asks_nobody_and_logs_nothing(screen, address, report):
    open_demo(screen.page, address)
    for name in NAMES:
        choose(screen.page, name)
        restart(screen.page, name)
    written(report, "demo page", screen)
    assert screen.refused == []
    assert [said for said in screen.console if said[0] not in HARMLESS] == []


def test_a_lesson_asks_nobody_and_logs_no_fault(study, report):  # noqa: F811
    for name in NAMES:
        shown(study, name)
    written(report, "lesson", study.screen)
    assert study.screen.refused == []
    assert study.screen.errors() == []

"""The instructor's pages in a real browser: report, feedback, and nbgrader's page for marking by hand, on a desk and on a phone.

Sorting by keys and `aria-sort`: WAI-ARIA Authoring Practices, "Sortable Table Example" (from memory). Rules: Deque's axe-core.
"""

import base64
import csv
import io
import re
from dataclasses import replace
from datetime import UTC, datetime

import nbformat
import pytest
from test_accessible import axe, faults  # noqa: F401 (fixture)

from autograde import review
from autograde.cli import main
from autograde.cohort import COHORT
from autograde.new import opened
from autograde.reports.facts import Facts, HandedIn, Row
from autograde.reports.page import page as report_page
from autograde.reports.tables import tables

NOW = datetime(2026, 3, 3, 8, 5, tzinfo=UTC)
SIZES = {"desk": {"width": 1280, "height": 720}, "phone": {"width": 390, "height": 844}}
LESSON = "10_the_service_call"
FORMGRADER_S_OWN = {
    "color-contrast",  # its grey bars, and the blue of its links on them
    "html-has-lang",  # its page says no language
    "label",  # its field for the points has no name
    "link-in-text-block",  # its anchors beside headings
    "list",  # its bar of links
    "scrollable-region-focusable",  # code that is wider than its cell
}
"""Rules that nbgrader's page for marking breaks by itself; anything else there, or one of them mended, fails the test."""


def facts():
    """Two lessons and the invented cohort: every section of the report has something to show."""
    people, lessons = {each.learner.id: each.learner for each in COHORT}, ("01_volts", "03_one_diode")
    rows = []
    for n, learner in enumerate(people):
        for lesson in lessons:
            for k, item in enumerate(("peak", "mean", "coil")):
                verdict = ("right", "right", "trap:rms-for-peak", "wrong")[(n + k * n // 3) % 4]
                earned = {"right": 2.0, "wrong": 0.0}.get(verdict, 0.5)
                ratio = 1.3 if verdict == "wrong" else None
                twins = ("amara",) if learner == "leilani" else ()
                rows.append(
                    Row(
                        learner,
                        lesson,
                        f"{lesson[:2]}-{item}",
                        earned,
                        2.0,
                        verdict,
                        "Not the peak.",
                        1.0,
                        "V",
                        twins,
                        ratio=ratio,
                    )
                )
    hand_ins = tuple(
        HandedIn(who, lesson, NOW, n == 3, 1 + n % 2, ("Look.",) if n == 4 else ())
        for n, who in enumerate(people)
        for lesson in lessons
    )
    spent = {(who, lesson): 0.4 + 0.05 * n for n, who in enumerate(people) for lesson in lessons}
    return Facts(
        "Fennel Street Library",
        people,
        lessons,
        tuple(rows),
        hand_ins,
        spent=spent,
        planned=dict.fromkeys(lessons, 0.75),
    )


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    place = tmp_path_factory.mktemp("report") / "report.html"
    place.write_text(report_page(facts(), now=NOW), encoding="utf-8")
    return place


@pytest.fixture
def shown(screen, report):
    """The report as a file, as an instructor opens it."""
    screen.page.set_viewport_size(SIZES["desk"])
    screen.page.context.unroute("**/*")
    screen.page.goto(report.as_uri())
    return screen


@pytest.mark.parametrize("size", SIZES)
def test_the_report_has_no_serious_fault_and_is_not_cut_off(shown, axe, size):  # noqa: F811
    shown.page.set_viewport_size(SIZES[size])
    shown.shot(f"report-{size}", full_page=True)
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size]["width"]
    sections = shown.page.evaluate("[...document.querySelectorAll('section')].map(one => one.id)")
    assert sections == [
        "glance",
        "stuck",
        "misconceptions",
        "look",
        "unexplained",
        "items",
        "twins",
        "hours",
        "person",
        "sources",
    ]
    assert shown.errors() == []
    assert faults(shown.page, axe) == set()


def names(table):
    return table.locator("tbody th").all_text_contents()


def shares(table):
    cells = table.locator("tbody tr").evaluate_all("rows => rows.map(row => row.cells[1].dataset.sort)")
    return [float(cell) for cell in cells]


def test_a_table_is_sorted_by_keys_alone(shown):
    page = shown.page
    table = page.locator("#glance table")
    head = table.get_by_role("columnheader", name="All")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('th')?.textContent") == "All":
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none", "one sees where one is"
    before = names(table)
    page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "ascending" and shares(table) == sorted(shares(table))
    page.keyboard.press("Space")
    assert head.get_attribute("aria-sort") == "descending" and shares(table) == sorted(shares(table), reverse=True)
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") is None and names(table) == sorted(before)


def test_every_part_that_scrolls_can_be_reached_by_keys(shown):
    shown.page.set_viewport_size(SIZES["phone"])
    wide = "[...document.querySelectorAll('.scroll, .picture')].filter(one => one.scrollWidth > one.clientWidth)"
    assert shown.page.evaluate(f"{wide}.length") > 0
    assert shown.page.evaluate(f"{wide}.every(one => one.tabIndex === 0 && one.getAttribute('aria-label'))")


def test_figures_are_saved_from_the_page_itself(shown, tmp_path):
    with shown.page.expect_download() as waiting:
        shown.page.get_by_role("link", name="Save these figures as items.csv").press("Enter")
    waiting.value.save_as(tmp_path / "items.csv")
    found = (tmp_path / "items.csv").read_text(encoding="utf-8-sig")
    assert waiting.value.suggested_filename == "items.csv" and found == tables(facts())["items.csv"]
    assert len(list(csv.DictReader(io.StringIO(found)))) == 6


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_the_report_prints_whole_and_without_what_only_a_screen_can_do(shown, paper):
    shown.page.emulate_media(media="print")
    assert not shown.page.locator(".save").first.is_visible()
    wide = "[...document.querySelectorAll('.scroll, .picture')].filter(one => getComputedStyle(one).overflowX !== 'visible').length"
    assert shown.page.evaluate(wide) == 0, "nothing is hidden behind a scroll bar on paper"
    button = "getComputedStyle(document.querySelector('thead button')).display"
    assert shown.page.evaluate(button) == "contents", (
        "Chromium leaves a button out of a heading that it repeats overleaf"
    )
    data = shown.page.pdf(format=paper)
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", data)) <= 12


def test_a_stranger_s_script_does_not_run_even_if_it_got_in(screen, tmp_path):
    """The policy of the page, not only the escaping: a second script with other words is refused by the browser."""
    text = report_page(replace(facts(), course="x"), now=NOW).replace(
        "</main>", "<script>document.title = 'mine'</script></main>"
    )
    screen.page.set_content(text)
    assert screen.page.title() == "x: report" and screen.page.locator("thead button").count() > 0


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """Lesson 10, handed in by one learner with a text that a person has to mark."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "list.csv").write_text("id,first,last\namara,Amara,Okafor\n")
    here = folder / "course"
    for argv in (
        ["new", "--title", "Fennel Street Library"],
        ["enrol", folder / "list.csv"],
        ["release", "--lesson", "10"],
    ):
        assert main([argv[0], str(here), *map(str, argv[1:])]) == 0
    nb = nbformat.read(here / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    for cell in nb.cells:
        if cell.cell_type == "markdown" and cell.metadata.get("nbgrader", {}).get("solution"):
            cell.source = "The charging actuator fooled the thermostat; I moved the filter to the bus."
    (folder / "inbox" / "amara").mkdir(parents=True)
    nbformat.write(nb, folder / "inbox" / "amara" / f"{LESSON}.ipynb")
    assert main(["collect", str(here), str(folder / "inbox")]) == 0
    assert main(["grade", str(here), "--unfenced"]) in (0, 1)
    assert main(["report", str(here)]) in (0, 1)
    return here


@pytest.mark.parametrize("size", SIZES)
def test_a_feedback_page_has_no_serious_fault_and_fits(screen, axe, course, size):  # noqa: F811
    place = course / "feedback" / "amara" / LESSON / f"{LESSON}.html"
    screen.page.set_viewport_size(SIZES[size])
    screen.page.context.unroute("**/*")
    screen.page.goto(place.as_uri())
    screen.shot(f"feedback-{size}", full_page=True)
    assert screen.page.get_by_role("table").first.is_visible()
    assert faults(screen.page, axe) == set()
    assert screen.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size]["width"]
    screen.page.keyboard.press("Tab")
    screen.page.keyboard.press("Enter")
    assert screen.page.evaluate("location.hash").startswith("#10-")
    assert screen.page.evaluate("document.querySelector(':target')?.getBoundingClientRect().top") == pytest.approx(
        0, abs=40
    )


@pytest.mark.parametrize("size", SIZES)
def test_a_text_is_marked_by_keys_alone_and_counts(screen, axe, course, size):  # noqa: F811
    mark = {"desk": 3.0, "phone": 2.0}[size]
    page = screen.page
    page.set_viewport_size(SIZES[size])
    with opened(course) as book:
        name = book.find_submission(LESSON, "amara").notebooks[0].id
    with review.formgrader(course) as (_, address):
        page.goto(address)
        page.goto(re.sub(r"/formgrader.*", f"/formgrader/submissions/{name}", address))
        points = page.locator("input.score:visible").last
        points.wait_for(timeout=60_000)
        assert {rule for rule, _ in faults(page, axe)} == FORMGRADER_S_OWN
        for _ in range(400):
            page.keyboard.press("Tab")
            if page.evaluate(
                "document.activeElement.matches('input.score') && [...document.querySelectorAll('input.score')].at(-1) === document.activeElement"
            ):
                break
        page.keyboard.press("ControlOrMeta+A")
        with page.expect_response(lambda answer: "/api/grade/" in answer.url and answer.request.method == "PUT"):
            page.keyboard.type(f"{mark:g}")
            page.keyboard.press("Tab")
        screen.shot(f"marking-{size}")
    with opened(course) as book:
        by_hand = [
            grade.manual_score
            for grade in book.find_submission(LESSON, "amara").notebooks[0].grades
            if grade.manual_score is not None
        ]
    assert mark in by_hand


def test_the_saved_figures_are_what_the_page_holds(report):
    """Base64 in a link is easily broken by one wrong letter; every one is read back here."""
    for name, data in re.findall(
        r'download="([^"]+)" href="data:text/csv;charset=utf-8;base64,([^"]+)"', report.read_text(encoding="utf-8")
    ):
        assert base64.b64decode(data).decode("utf-8-sig") == tables(facts())[name]

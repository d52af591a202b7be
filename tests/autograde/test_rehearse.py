"""The whole evening for real: an invented cohort through every command, and the stock nbgrader programs in its folder.

The outside check here is the plan itself: what each invented learner was made to believe was written down before
anything was graded, and the marking must find exactly that, item by item.
"""

import csv
import io
import json
import re
import shutil
import socket
import subprocess
import urllib.request
from collections import Counter
from urllib.parse import urlsplit

import nbformat
import pytest

from autograde import records, review
from autograde.by_hand import hand_marked
from autograde.cli import main
from autograde.cohort import COHORT, answers
from autograde.collect import history
from autograde.course import DEFAULT_COURSE
from autograde.fence import why_no_fence
from autograde.marking import TABLE, load
from autograde.new import opened
from autograde.rehearse import roster_csv
from autograde.release import due_dates, sources

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
LESSONS = sources()
BELIEFS = sorted({belief for person in COHORT for belief in (*person.beliefs, *person.first_beliefs)})
FEEDBACK_HINT = "Reread “"


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """The rehearsed course; made once, and only read by the tests."""
    folder = tmp_path_factory.mktemp("evening") / "course"
    assert main(["rehearse", str(folder), "--workers", "2"]) == 0
    return folder


@pytest.fixture
def copy(course, tmp_path):
    """A copy of it to spoil."""
    return shutil.copytree(course, tmp_path / "course")


@pytest.fixture(scope="module")
def marks(course):
    """``{(learner, lesson): marks record}``."""
    found = map(records.read, records.all_marks(course))
    return {(record["learner"], record["lesson"]): record for record in found}


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def planted(course):
    return rows(course / "planted.csv")


def texts(course, lesson):
    """``{item: points}`` of the texts that a person marks."""
    book = nbformat.read(course / "release" / lesson / f"{lesson}.ipynb", as_version=4)
    return {item: cell.metadata.nbgrader["points"] for item, cell in hand_marked(book).items()}


def program(course, *argv):
    done = subprocess.run(argv, cwd=course, capture_output=True, text=True, check=False, timeout=600)
    assert done.returncode == 0, done.stderr[-2000:]
    return done


def run(capsys, *argv):
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def test_the_cohort_is_what_was_asked_for():
    assert len(COHORT) == 22 == len({person.learner.id for person in COHORT})
    assert [sum(map(bool, (getattr(person, name) for person in COHORT))) for name in ("blank", "late", "copies")] == [
        1,
        1,
        1,
    ]
    assert all(person.understanding for person in COHORT)
    assert sum(bool(person.first_beliefs) for person in COHORT) == sum(person.slips_prefix for person in COHORT) == 1


def test_between_them_they_fall_into_every_trap_and_every_slip(course):
    """Each trap of each item, each sign and each million, was handed in by somebody; what it earned is tested below."""
    found = {(line["item"], line["planted"]) for line in planted(course)}
    for lesson in LESSONS:
        keys, traps = load(lesson)
        for item, key in keys.items():
            assert {(item, f"trap:{trap.name}") for trap in traps[item]} <= found
            if key.unit != TABLE:
                assert (item, "polarity") in found and (item, "scale:1000000") in found


@pytest.mark.parametrize("belief", BELIEFS)
def test_every_belief_is_a_trap_of_some_lesson(belief):
    names = {trap.name for lesson in LESSONS for own in load(lesson)[1].values() for trap in own}
    assert belief in names


def test_every_learner_handed_in_every_lesson_and_all_is_marked(marks):
    assert set(marks) == {(person.learner.id, lesson) for person in COHORT for lesson in LESSONS}
    assert not [record for record in marks.values() if record["person"] or record["notes"]]


@pytest.mark.parametrize("person", COHORT, ids=lambda person: person.learner.id)
def test_the_marking_finds_exactly_what_was_planted(person, course, marks):
    lines = [line for line in planted(course) if line["learner"] == person.learner.id]
    assert len(lines) == sum(len(load(lesson)[0]) for lesson in LESSONS)
    for line in lines:
        record = marks[person.learner.id, line["lesson"]]
        mark = record["items"][line["item"]]
        if line["planted"].startswith("fits:"):
            others = {flag["item"]: flag["learners"] for flag in record["flags"]}
            assert mark["verdict"] not in ("right", "no answer") and mark["points"] < mark["possible"], line
            assert line["planted"].removeprefix("fits:") in others[line["item"]], line
        else:
            assert mark["verdict"] == line["planted"], line
            assert bool(mark["hint"]) == (mark["verdict"] != "right"), line


def test_what_was_planted_is_not_thin(course):
    """Every belief shows somewhere, and the right answers are a good part, so that agreeing is no accident."""
    counts = Counter(line["planted"] for line in planted(course))
    assert {name.removeprefix("trap:") for name in counts if name.startswith("trap:")} >= {
        belief for person in COHORT for belief in person.beliefs
    }
    assert {"scale:1000", "scale:0.001", "fits:amara", "no answer"} <= set(counts)
    assert 0.3 < counts["right"] / counts.total() < 0.8


def test_points_are_full_for_the_perfect_nothing_for_the_blank_and_between_for_the_rest(marks):
    for (learner, _), record in marks.items():
        share = record["points"] / record["possible"]
        assert share == {"amara": 1.0, "kwame": 1.0, "ishaan": 0.0}.get(learner, share)
        assert 0 <= share <= 1


def test_the_late_one_is_late_once_and_the_second_of_two_hand_ins_counts(course):
    with opened(course) as gradebook:
        late = [
            (submission.student.id, assignment.name)
            for assignment in gradebook.assignments
            for submission in gradebook.assignment_submissions(assignment.name)
            if submission.total_seconds_late > 0
        ]
    assert late == [("juno", LESSONS[0])]
    kwame = next(person for person in COHORT if person.learner.id == "kwame")
    tries = {lesson: answers(kwame, DEFAULT_COURSE, lesson, first=True) for lesson in LESSONS}
    differ = [lesson for lesson in LESSONS if tries[lesson] != answers(kwame, DEFAULT_COURSE, lesson)]
    assert len(differ) >= len(LESSONS) // 2  # in the others, nothing was mended, and the same file counts once
    kept = {lesson: len(history(course, "kwame", lesson)) for lesson in LESSONS}
    assert kept == {lesson: 2 if lesson in differ else 1 for lesson in LESSONS}
    first = Counter(answer.verdict for lesson in LESSONS for answer in tries[lesson].values())
    assert first["trap:drop-forgotten"] and first["trap:rms-for-peak"], (
        "the first hand-in would have been marked otherwise"
    )


def test_the_report_says_that_all_was_found(course):
    text = (course / "reports" / "report.html").read_text(encoding="utf-8")
    count = len(planted(course))
    assert f"in {count} of {count} items" in text and "✗ differs" not in text
    assert all(person.learner.name.replace("'", "&#x27;") in text for person in COHORT)
    assert all(person.understanding.split(",")[0] in text for person in COHORT)
    table = rows(course / "reports" / "planted.csv")
    assert len(table) == count and {line["agrees"] for line in table} == {"True"}


def test_no_learner_had_a_solution_in_hand(course):
    for path in (course / "inbox").rglob("*.ipynb"):
        assert "SOLUTION" not in path.read_text(encoding="utf-8")


def test_stock_export_agrees_with_the_marks(course, marks, tmp_path):
    program(course, "nbgrader", "export", f"--CsvExportPlugin.to={tmp_path / 'grades.csv'}")
    lines = rows(tmp_path / "grades.csv")
    assert len(lines) == len(marks)
    for line in lines:
        record = marks[line["student_id"], line["assignment"]]
        assert float(line["raw_score"]) == pytest.approx(record["points"], abs=1e-9)
        assert float(line["max_score"]) == record["possible"] + sum(texts(course, line["assignment"]).values())


def test_the_report_s_tables_agree_with_the_marks(course, marks):
    lines = rows(course / "reports" / "marks.csv")
    totals = Counter()
    for line in lines:
        totals[line["learner"], line["lesson"]] += float(line["points"])
    assert {place: pytest.approx(record["points"]) for place, record in marks.items()} == dict(totals)


def test_feedback_pages_lead_with_the_hints_and_need_no_network(course, marks):
    for (learner, lesson), record in marks.items():
        text = (course / "feedback" / learner / lesson / f"{lesson}.html").read_text(encoding="utf-8")
        top = text[text.index('class="own-marks"') :].partition("</table>")[0]
        assert set(re.findall(r'href="#([^"]+)"', top)) == set(record["items"]) | set(texts(course, lesson))
        assert top.count(FEEDBACK_HINT) == sum(FEEDBACK_HINT in mark["hint"] for mark in record["items"].values())
        assert not re.search(r"<(script|link|img)[^>]*(src|href)=[\"']https?:", text)


def test_stock_generate_feedback_makes_the_same_page(copy):
    lesson = LESSONS[-1]
    page = copy / "feedback" / "hana" / lesson / f"{lesson}.html"
    before = page.read_text(encoding="utf-8")
    page.write_text("stale")
    program(copy, "nbgrader", "generate_feedback", lesson, "--student=hana", "--force")
    assert page.read_text(encoding="utf-8").split("<body>")[1] == before.split("<body>")[1]


def test_the_formgrader_shows_the_course_and_stops(course):
    lesson = LESSONS[0]
    fetch = urllib.request.build_opener(urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor())
    with review.formgrader(course) as (server, address):
        host, port = urlsplit(address).hostname, urlsplit(address).port
        assert host == "127.0.0.1"
        for own in {found[4][0] for found in socket.getaddrinfo(socket.gethostname(), None)} - {"127.0.0.1"}:
            with pytest.raises(OSError):  # nothing but the loopback address answers
                socket.create_connection((own, port), timeout=2)
        assert b"Manage Assignments" in fetch.open(address, timeout=60).read()
        scores = json.load(fetch.open(f"http://{host}:{port}/formgrader/api/submissions/{lesson}", timeout=60))
        assert {each["student"]: each["score"] for each in scores}["ishaan"] == 0
        assert len(scores) == len(COHORT)
        page = fetch.open(f"http://{host}:{port}/formgrader/gradebook/{lesson}/{lesson}", timeout=60).read()
        assert lesson.encode() in page
    assert server.poll() is not None
    with pytest.raises(OSError):
        socket.create_connection((host, port), timeout=2)


def test_explain_tells_the_whole_story(course, capsys):
    code, out, _ = run(capsys, "explain", course, "benedikt", "03-dc")
    assert code == 0
    for said in ("Own circuit", "first road", "second road", "within 1 %", "trap:rms-for-peak", "Hint:", "key version"):
        assert said in out
    roads = [float(found) for found in re.findall(r"road \(.*\): ([\d.]+) V", out)]
    assert len(roads) == 2 and roads[0] == pytest.approx(roads[1], rel=2e-3)
    assert "Answers" not in out and run(capsys, "explain", course, "benedikt", "03-nothing")[0] == 2


def test_a_change_by_hand_shows_in_explain_report_and_feedback_and_outlives_marking_again(copy, capsys):
    lesson = next(name for name in LESSONS if name.startswith("03"))
    with opened(copy) as gradebook:
        gradebook.find_grade("03-dc", lesson, lesson, "benedikt").manual_score = 1.25
        gradebook.find_comment("03-dc-answer", lesson, lesson, "benedikt").manual_comment = "Showed it at the bench."
        gradebook.db.commit()
    code, out, _ = run(capsys, "remark", copy, "--lesson", lesson)
    assert (code, "0 totals moved" in out) == (0, True)
    assert run(capsys, "report", copy, "--no-feedback")[0] == 0
    lines = rows(copy / "reports" / "marks.csv")
    assert [line["points"] for line in lines if (line["learner"], line["item"]) == ("benedikt", "03-dc")] == ["1.25"]
    out = run(capsys, "explain", copy, "benedikt", "03-dc")[1]
    assert "Changed by hand: from 0.5 to 1.25" in out and "Showed it at the bench." in out
    program(copy, "nbgrader", "generate_feedback", lesson, "--student=benedikt", "--force")
    page = (copy / "feedback" / "benedikt" / lesson / f"{lesson}.html").read_text(encoding="utf-8")
    assert "1.25 of 2" in page and "Changed by hand." in page and "Showed it at the bench." in page


def test_grading_again_does_nothing_twice(course, capsys):
    code, out, _ = run(capsys, "grade", course)
    first, *rest = out.strip().splitlines()
    assert (code, first) == (0, f"0 graded, {len(COHORT) * len(LESSONS)} unchanged, 0 not graded")
    waiting = [f"{item} of {len(COHORT) - 1} learners" for lesson in LESSONS for item in texts(course, lesson)]
    assert rest == [f"Waiting to be marked by hand: {', '.join(waiting)}. Next: autograde review {course}"]


def test_spoiled_notebooks_are_named_and_mended_and_nothing_else_is_touched(copy, capsys, tmp_path):
    """A broken one, one renamed with a locked cell deleted and an answer cell doubled, and a stranger's, in one inbox."""
    lesson = next(name for name in LESSONS if name.startswith("03"))
    graded = {path: path.read_bytes() for path in records.all_marks(copy)}
    book = nbformat.read(copy / "submitted" / "dalia" / lesson / f"{lesson}.ipynb", as_version=4)
    names = [cell.get("id") for cell in book.cells]
    del book.cells[names.index("03-dc")]
    book.cells.append(book.cells[names.index("03-coil-answer") - 1])
    inbox = tmp_path / "inbox"
    for place, data in (
        (f"amara/{lesson}.ipynb", b'{"cells": ['),
        ("dalia/my homework.ipynb", nbformat.writes(book).encode()),
        (f"nobody/{lesson}.ipynb", nbformat.writes(book).encode()),
    ):
        (inbox / place).parent.mkdir(parents=True)
        (inbox / place).write_bytes(data)
    with opened(copy) as gradebook:
        due = due_dates(gradebook)[lesson]
    (inbox / "dalia" / "timestamp.txt").write_text(f"{due:%Y-%m-%d %H:%M:%S} UTC")
    code, out, said = run(capsys, "collect", copy, inbox)
    assert code == 1 and "2 files" in said
    assert (
        f"amara/{lesson}.ipynb is not a readable notebook" in out and f"nobody/{lesson}.ipynb names no learner" in out
    )
    assert "known by its cells" in out
    code, out, _ = run(capsys, "grade", copy)
    assert f"1 graded, {len(graded) - 1} unchanged" in out
    after = records.read(records.marks_path(copy, "dalia", lesson))
    before = json.loads(graded[records.marks_path(copy, "dalia", lesson)])
    assert {item: mark["verdict"] for item, mark in after["items"].items()} == {
        item: mark["verdict"] for item, mark in before["items"].items()
    }
    assert any("03-dc was missing" in note for note in after["notes"])
    assert len(history(copy, "dalia", lesson)) == 2
    others = {path: data for path, data in graded.items() if path.parent.name != "dalia"}
    assert {path: path.read_bytes() for path in others} == others


def test_the_office_list_reads_back_as_the_cohort(tmp_path):
    from autograde.roster import read

    (tmp_path / "list.csv").write_text(roster_csv(), encoding="utf-8")
    assert [learner for _, learner in read(tmp_path / "list.csv")] == [person.learner for person in COHORT]


@pytest.mark.parametrize("size", [(1280, 720), (390, 844)])
@pytest.mark.parametrize("page", ["reports/report.html", f"feedback/hana/{LESSONS[-1]}/{LESSONS[-1]}.html"])
def test_pages_fit_a_projector_and_a_phone_and_ask_nothing_of_the_network(course, chromium, size, page):
    with chromium.new_context(viewport=dict(zip(("width", "height"), size, strict=True))) as context:
        sheet = context.new_page()
        asked, errors = [], []
        sheet.on("request", lambda request: asked.append(request.url))
        sheet.on("pageerror", lambda error: errors.append(str(error)))
        sheet.goto((course / page).as_uri())
        wide = sheet.evaluate("document.documentElement.scrollWidth")
        unnamed = sheet.evaluate("[...document.querySelectorAll('svg[role=img]')].filter(s => !s.ariaLabel).length")
    assert [url for url in asked if urlsplit(url).scheme not in ("file", "data")] == []
    assert wide <= size[0] and not unnamed
    assert not errors or "feedback" in page

"""Papers: the gradebook's table, OneRoster files, hours and training records, and who gets a certificate."""

import csv
import io
import re
import shutil
import zipfile
from datetime import UTC, datetime

import pytest
from nbgrader.api import Gradebook

from autograde import hours
from autograde.cli import main
from autograde.new import opened
from autograde.papers import oneroster, training_page
from autograde.papers.standing import Standing, standings
from autograde.roster import Learner, learners

ROSTER = 'id,first,last,group\namara,Amara,"Okafor, Jr.",spring\nben,=1+1,Lindqvist,spring\nchen,Wei,Chen,autumn\n'
LESSON = "03_one_diode"
MARKS = {"amara": 1.0, "ben": 0.5}


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Three learners and lesson 03; Amara has all its points, Ben half of them and was late, Chen handed nothing in."""
    folder = tmp_path_factory.mktemp("papers")
    (folder / "list.csv").write_text(ROSTER)
    course = folder / "course"
    for argv in (["new", "--title", "Fennel Street Library"], ["enrol", folder / "list.csv"],
                 ["release", "--lesson", "03", "--due", "03=2026-03-02T18:00+00:00"]):  # fmt: skip
        assert main([argv[0], str(course), *map(str, argv[1:])]) == 0
    with opened(course) as book:
        _mark(book)
    return course


def _mark(book: Gradebook) -> None:
    for learner, share in MARKS.items():
        made = book.add_submission(LESSON, learner)
        made.timestamp = datetime(2026, 3, 1 if share == 1 else 5, 12)
        for grade in made.notebooks[0].grades:
            grade.auto_score, grade.needs_manual_grade = share * grade.max_score, False
    book.db.commit()


@pytest.fixture
def course(template, tmp_path):
    return shutil.copytree(template, tmp_path / "course")


def run(capsys, *argv):
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def table(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_gradebook_is_what_nbgrader_writes_and_every_row_has_its_columns(course, capsys):
    assert run(capsys, "export", course)[0] == 0
    rows = table((course / "exports" / "gradebook.csv").read_text())
    names = [(row["student_id"], row["last_name"], row["first_name"]) for row in rows]
    assert names == [("chen", "Chen", "Wei"), ("ben", "Lindqvist", "'=1+1"), ("amara", "Okafor, Jr.", "Amara")]
    most = float(rows[0]["max_score"])
    assert [float(row["score"]) for row in rows] == [0.0, most / 2, most]
    assert None not in rows[2] and rows[2]["timestamp"] == "2026-03-01 12:00:00" and rows[0]["timestamp"] == ""


def test_oneroster_files_name_each_other_and_the_points(course, capsys):
    """1EdTech, OneRoster 1.2 CSV binding: columns as in two open implementations of it, words from memory."""
    assert run(capsys, "export", course)[0] == 0
    with zipfile.ZipFile(course / "exports" / "oneroster.zip") as box:
        found = {name: table(box.read(name).decode()) for name in box.namelist()}
    assert sorted(found) == ["lineItems.csv", "manifest.csv", "results.csv"]
    manifest = {row["propertyName"]: row["value"] for row in found["manifest.csv"]}
    assert (manifest["manifest.version"], manifest["oneroster.version"]) == ("1.0", "1.2")
    assert {name for name, value in manifest.items() if value == "bulk"} == {"file.lineItems", "file.results"}
    assert sum(name.startswith("file.") for name in manifest) == 21
    (item,), results = found["lineItems.csv"], {row["studentSourcedId"]: row for row in found["results.csv"]}
    assert tuple(item) == oneroster.LINE_ITEMS and tuple(results["ben"]) == oneroster.RESULTS
    assert (item["title"], item["dueDate"], item["status"]) == ("03 one diode", "2026-03-02", "active")
    assert {row["lineItemSourcedId"] for row in results.values()} == {item["sourcedId"]}
    assert {row["classSourcedId"] for row in results.values()} == {item["classSourcedId"]}
    assert float(results["amara"]["score"]) == float(item["resultValueMax"]) == 2 * float(results["ben"]["score"])
    assert [results[who]["scoreStatus"] for who in ("amara", "ben", "chen")] == ["fully graded"] * 2 + ["not submitted"]
    assert [results[who]["late"] for who in ("amara", "ben", "chen")] == ["false", "true", "false"]
    assert results["chen"]["missing"] == "true" and results["chen"]["score"] == ""
    assert len({row["sourcedId"] for row in results.values()}) == 3


def test_ids_stay_the_same_from_one_export_to_the_next(course, capsys):
    def ids():
        assert run(capsys, "export", course)[0] == 0
        return [row["sourcedId"] for row in table((course / "exports" / "oneroster" / "results.csv").read_text())]

    assert ids() == ids()


def test_what_waits_for_a_person_is_partially_graded_and_not_passed():
    waiting = Standing("amara", LESSON, 20.0, 20.0, marked=True, waits=True)
    now = datetime(2026, 3, 3, tzinfo=UTC)
    (row,) = table(oneroster.files("x", {"amara": [waiting]}, now)["results.csv"])
    assert (row["scoreStatus"], row["incomplete"]) == ("partially graded", "true")
    assert waiting.result(0) == "waits for marking"


def test_hours_are_added_up_replaced_by_the_same_day_and_never_guessed(course, capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(
        "\ufeffHours;Date;Learner;Lesson\n1,5;2026-03-01;amara;3\n0.5;2026-03-02;amara;03_one_diode\n", encoding="utf-8"
    )
    code, out, _ = run(capsys, "hours", course, log, "--plan", "03=1.25")
    assert code == 0 and "line 2: amara, 03_one_diode, 2026-03-01: 1.5 h added" in out
    log.write_text("learner,lesson,date,hours\namara,03,2026-03-01,1\n")
    assert "changed from 1.5 h" in run(capsys, "hours", course, log)[1]
    assert "already there" in run(capsys, "hours", course, log)[1]
    with opened(course) as book:
        found = standings(course, book, learners(course))
    assert [(own[0].hours, own[0].planned) for own in found.values()] == [(1.5, 1.25), (0.0, 1.25), (0.0, 1.25)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("learner,lesson,date\n", "“hours”"),
        ("learner,lesson,date,hours\nnobody,03,2026-03-01,1\n", "nobody"),
        ("learner,lesson,date,hours\namara,99,2026-03-01,1\n", "'99'"),
        ("learner,lesson,date,hours\namara,03,1.3.26,1\n", "1.3.26"),
        ("learner,lesson,date,hours\namara,03,2026-03-01,0\n", "above 0"),
        ("learner,lesson,date,hours\namara,03,2026-03-01,nan\n", "above 0"),
        ("learner,lesson,date,hours\namara,03,2026-03-01,25\n", "above 0"),
        ("learner,lesson,date,hours\namara,03,2026-03-01,1\namara,3,2026-03-01,2\n", "of line 2"),
        ("learner,lesson,date,hours\namara,03\n", "date ''"),
    ],
)
def test_a_bad_log_of_hours_is_one_sentence_and_changes_nothing(course, capsys, tmp_path, text, words):
    (tmp_path / "log.csv").write_text(text)
    code, _, said = run(capsys, "hours", course, tmp_path / "log.csv")
    assert code == 2 and words in said and said.count("\n") == 1 and not (course / hours.LOG).exists()


@pytest.mark.parametrize("argv", [[], ["--plan", "3=1"], ["--plan", "03=x"], ["--plan", "03=-1"], ["nowhere.csv"]])
def test_hours_typed_wrongly_is_one_sentence(course, capsys, argv):
    code, _, said = run(capsys, "hours", course, *argv)
    assert code == 2 and said.count("\n") == 1 and not (course / hours.PLAN).exists()


@pytest.mark.parametrize(("paper", "points"), [("letter", (612, 792)), ("a4", (595.276, 841.89))])
def test_a_record_is_one_page_of_the_paper_asked_for(course, capsys, paper, points):
    """Letter: ANSI/ASME Y14.1, 8.5 in by 11 in; A4: ISO 216, 210 mm by 297 mm; 72 points to the inch."""
    code, out, _ = run(capsys, "record", course, "--paper", paper)
    assert code == 0 and "3 records" in out
    for name in MARKS:
        data = (course / "records" / f"{name}.pdf").read_bytes()
        assert len(re.findall(rb"/Type /Page\b", data)) == 1
        box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
        assert (float(box[1]), float(box[2])) == pytest.approx(points, abs=0.01)


def test_the_record_s_table_says_lesson_day_hours_and_result(course, capsys):
    assert run(capsys, "record", course)[0] == 0
    rows = {row["learner"]: row for row in table((course / "records" / "training.csv").read_text())}
    assert [rows[who]["result"] for who in ("amara", "ben", "chen")] == ["passed", "not yet, late", "not handed in"]
    assert (rows["amara"]["handed in"], rows["chen"]["handed in"], rows["chen"]["points"]) == ("2026-03-01", "", "")
    assert rows["amara"]["hours"] == "" and rows["amara"]["planned hours"] == "0.75"
    assert run(capsys, "record", course, "--at-least", "50")[0] == 0
    assert table((course / "records" / "training.csv").read_text())[1]["result"] == "passed, late"


def test_forty_lessons_and_long_names_still_make_one_page():
    own = [Standing("a", f"{n:02d}_{'long_' * 20}", 1.0, 20.0, marked=True) for n in range(40)]
    learner = Learner("a", "Wolfeschlegel" * 9, "$x^2$ \\frac", "", "g" * 200)
    now = datetime(2026, 3, 3, tzinfo=UTC)
    data = training_page.page(learner, own, course="c" * 300, paper="a4", at_least=70, now=now)
    assert data.startswith(b"%PDF") and len(re.findall(rb"/Type /Page\b", data)) == 1


def test_only_who_has_passed_everything_gets_a_certificate(course, capsys):
    code, out, _ = run(capsys, "certify", course)
    folder = course / "certificates"
    assert code == 0 and "amara.jwt: signed" in out and "ben: no certificate yet (03 not yet)" in out
    assert sorted(path.name for path in folder.iterdir()) == ["amara.jwt", "key.json", "private-key.pem"]
    before = (folder / "amara.jwt").read_bytes()
    assert "already signed" in run(capsys, "certify", course)[1] and (folder / "amara.jwt").read_bytes() == before
    code, said, _ = run(capsys, "verify", folder / "amara.jwt", "--key", folder / "key.json")
    assert code == 0 and "Amara Okafor, Jr." in said and "100 %" in said and "no licence" in said
    code, _, said = run(capsys, "certify", course, "--learner", "ben")
    assert code == 2 and said.count("\n") == 1 and not (folder / "ben.jwt").exists()


def test_a_lesson_released_later_or_an_end_makes_another_certificate(course, capsys):
    run(capsys, "certify", course)
    before = (course / "certificates" / "amara.jwt").read_bytes()
    assert "amara.jwt: signed" in run(capsys, "certify", course, "--valid-until", "2099-12-31")[1]
    assert (course / "certificates" / "amara.jwt").read_bytes() != before
    code, _, said = run(capsys, "certify", course, "--valid-until", "2020-01-01")
    assert code == 2 and "is past" in said


@pytest.mark.parametrize("command", ["record", "certify"])
@pytest.mark.parametrize(
    "argv",
    [["--learner", "nobody"], ["--at-least", "101"], ["--at-least", "x"], ["--valid-until", "x"], ["--paper", "a5"]],
)
def test_papers_asked_for_wrongly_are_one_sentence(course, capsys, command, argv):
    code, _, said = run(capsys, command, course, *argv)
    assert code == 2 and said.count("\n") == 1
    assert not (course / "records").exists() and not (course / "certificates").exists()


@pytest.mark.parametrize("command", ["export", "record", "certify"])
def test_a_course_without_learners_or_lessons_is_one_sentence(capsys, tmp_path, command):
    main(["new", str(tmp_path / "course")])
    code, _, said = run(capsys, command, tmp_path / "course")
    assert code == 2 and "enrol" in said and said.count("\n") == 1
    (tmp_path / "list.csv").write_text("id\namara\n")
    main(["enrol", str(tmp_path / "course"), str(tmp_path / "list.csv")])
    code, _, said = run(capsys, command, tmp_path / "course")
    assert code == 2 and "autograde release" in said and said.count("\n") == 1

"""Privacy: who is forgotten is nowhere, byte for byte, and a report with pseudonyms names nobody."""

import copy
import os
import re
import shutil
import signal
import sys
import time
import zipfile
from pathlib import Path

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write

from autograde.cli import main
from autograde.course import DEFAULT_COURSE
from autograde.fence import why_no_fence
from autograde.new import opened
from autograde.roster import learners
from halfcycle.variants import circuit

assert not why_no_fence(), why_no_fence()
LESSON, ITEM = "03_one_diode", "03-dc"
ROSTER = """id,first,last,email,group
zuleika,Zuleika,Quartermain,zq77@fennel-street.example,blue
ben,Ben,Lindqvist,ben@fennel-street.example,blue
ben_2,Benedikt,Haddad,bh@fennel-street.example,blue
"""
WORDS = re.compile(rb"zuleika|quartermain|zq77", re.IGNORECASE)
EVERYONE = re.compile(
    r"zuleika|quartermain|zq77|\bben\b|ben_2|benedikt|lindqvist|haddad|fennel-street\.example", re.IGNORECASE
)


def hand_in(course, place, learner, *, answers_of=None, words=""):
    book = nbformat.read(course / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    book = fill(copy.deepcopy(book), right_answers("03", circuit(DEFAULT_COURSE, LESSON, answers_of or learner)))
    book.cells.append(nbformat.v4.new_markdown_cell(words, id=f"own-{learner}"))
    write(place, book)


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A course that has seen everything: collected from an inbox inside it, graded, changed by hand, reported, exported. Only read."""
    course = tmp_path_factory.mktemp("privacy") / "course"
    assert main(["new", str(course)]) == 0
    (course / "office-list.csv").write_text(ROSTER)
    assert main(["enrol", str(course), str(course / "office-list.csv")]) == 0
    assert main(["release", str(course), "--lesson", "03"]) == 0
    inbox = course / "inbox"
    hand_in(course, inbox / "zuleika" / f"{LESSON}.ipynb", "zuleika", words="By Zuleika Quartermain")
    hand_in(course, inbox / f"Quartermain Zuleika_4711_{LESSON}.ipynb", "zuleika", words="second")
    hand_in(course, inbox / "ben" / f"{LESSON}.ipynb", "ben", answers_of="zuleika")
    hand_in(course, inbox / f"ben_2_{LESSON}.ipynb", "ben_2")
    assert main(["collect", str(course), str(inbox)]) == 0
    assert main(["grade", str(course)]) == 0
    with opened(course) as book:
        book.find_grade(ITEM, LESSON, LESSON, "zuleika").manual_score = 1.0
        book.find_comment(f"{ITEM}-answer", LESSON, LESSON, "zuleika").manual_comment = "Well done, Zuleika."
        book.db.commit()
    assert main(["report", str(course)]) == main(["report", str(course), "--pseudonyms"]) == 0
    assert main(["explain", str(course), "zuleika", ITEM]) == 0
    (course / "hours.csv").write_text(
        "learner,lesson,date,hours\nzuleika,03_one_diode,2026-03-02,2\nben_2,03_one_diode,2026-03-02,1\n"
    )
    (course / ".nbgrader.log").write_text("INFO: autograding zuleika\nINFO: autograding ben\n")
    for name in ("certificates/zuleika.jwt", "records/zuleika.pdf", "records/training.csv", "exports/gradebook.csv"):
        (course / name).parent.mkdir(exist_ok=True)
        (course / name).write_text("zuleika\n")
    (course / "certificates" / "key.json").write_text("{}")
    return course


@pytest.fixture
def course(full, tmp_path):
    return shutil.copytree(full, tmp_path / "course")


def run(capsys, *argv):
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def traces(course):
    """Every file that names the person in its path or in its bytes, zips looked into, the gradebook's free pages too."""
    found = []
    for path in sorted(course.rglob("*")):
        data = path.read_bytes() if path.is_file() else b""
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as box:
                data += b"\n".join([name.encode() + box.read(name) for name in box.namelist()])
        if WORDS.search(str(path.relative_to(course)).encode()) or WORDS.search(data):
            found.append(str(path.relative_to(course)))
    return found


def others(course):
    """What the others have: their marks in the gradebook, and their files."""
    with opened(course) as book:
        scores = {
            one.student.id: one.score for one in book.assignment_submissions(LESSON) if one.student.id != "zuleika"
        }
    names = ("submitted", "autograded", "history", "slips", "executed", "feedback")
    files = {
        path: path.read_bytes()
        for name in names
        for one in ("ben", "ben_2")
        for path in (course / name / one).rglob("*")
        if path.is_file()
    }
    return scores, files


def test_who_is_forgotten_is_nowhere(course, capsys):
    before, named = others(course), traces(course)
    for place in ("gradebook.db", "roster.csv", "office-list.csv", "hours.csv", "grading.jsonl", "by-hand.jsonl", ".nbgrader.log",
                  "submitted/zuleika", "history/zuleika", "marks/ben/03_one_diode.json", "reports/report.html"):  # fmt: skip
        assert place in named, place
    code, out, _ = run(capsys, "forget", course, "zuleika")
    assert code == 0 and traces(course) == []
    for said in ("submitted/zuleika", "autograded/zuleika", "feedback/zuleika", "history/zuleika: 2 files", "slips/zuleika", "marks/zuleika",
                 "executed/zuleika", "inbox/zuleika", f"inbox/Quartermain Zuleika_4711_{LESSON}.ipynb", "certificates/zuleika.jwt",
                 "records/zuleika.pdf", "records/training.csv", "reports: removed whole", "exports: removed whole", "hours.csv: 1 line",
                 "office-list.csv: 1 line", ".nbgrader.log: 1 line", "gradebook: the learner and 1 hand-in", "roster: Zuleika Quartermain",
                 "marks/ben/03_one_diode.json: whose circuit"):  # fmt: skip
        assert said in out, said
    assert others(course) == before and list(learners(course)) == ["ben", "ben_2"]
    assert (course / "certificates" / "key.json").is_file() and (course / f"inbox/ben_2_{LESSON}.ipynb").is_file()
    assert (course / "hours.csv").read_text().splitlines()[1:] == ["ben_2,03_one_diode,2026-03-02,1"]


def test_the_course_goes_on_without_the_person(course, capsys):
    assert run(capsys, "forget", course, "zuleika")[0] == 0
    assert run(capsys, "grade", course)[1].startswith("0 graded, 2 unchanged")
    assert run(capsys, "report", course)[0] == 0 and traces(course) == []
    code, _, said = run(capsys, "forget", course, "zuleika")
    assert code == 2 and "There is nothing of 'zuleika'" in said and said.count("\n") == 1


def test_an_id_that_begins_like_another_leaves_the_other_alone(course, capsys):
    code, out, _ = run(capsys, "forget", course, "ben")
    assert code == 0, out
    assert list(learners(course)) == ["zuleika", "ben_2"]
    assert (course / "submitted" / "ben_2").is_dir() and not (course / "submitted" / "ben").exists()
    assert (course / f"inbox/ben_2_{LESSON}.ipynb").is_file() and "ben_2" in (course / "hours.csv").read_text()


def test_a_dry_run_says_the_same_and_removes_nothing(course, capsys):
    before = traces(course)
    code, out, _ = run(capsys, "forget", course, "zuleika", "--dry-run")
    assert code == 0 and traces(course) == before and "Nothing has been removed" in out
    assert out.splitlines()[:-1] == run(capsys, "forget", course, "zuleika")[1].splitlines()[:-1]


def test_what_others_wrote_and_zips_of_many_are_named_and_left(course, capsys):
    hand_in(
        course, course / "submitted" / "ben" / LESSON / f"{LESSON}.ipynb", "ben", words="Asked Zuleika Quartermain."
    )
    with zipfile.ZipFile(course / "inbox" / "all.zip", "w") as box:
        box.writestr(f"zuleika_{LESSON}.ipynb", "{}")
    code, out, said = run(capsys, "forget", course, "zuleika")
    assert code == 1 and "2 files still to be looked at" in said
    assert (
        f"submitted/ben/{LESSON}/{LESSON}.ipynb still names zuleika" in out
        and "inbox/all.zip still names zuleika" in out
    )


def killed(argv, after):
    """Run a command in a child that is killed ``after`` so many seconds."""
    child = os.fork()
    if child == 0:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1), os.dup2(null, 2)
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, after)
        os._exit(main(argv))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_a_stop_at_any_moment_is_made_good_by_starting_again(course, tmp_path, capsys, share):
    twin = shutil.copytree(course, tmp_path / "twin")
    began = time.monotonic()
    assert main(["forget", str(twin), "zuleika"]) == 0
    ended = killed(["forget", str(course), "zuleika"], share * (time.monotonic() - began))
    assert ended in (0, -signal.SIGALRM)
    if traces(course):
        assert "zuleika" in learners(course)
        assert run(capsys, "forget", course, "zuleika")[0] == 0
    assert traces(course) == [] and others(course)[0] == others(twin)[0]


def everything(folder):
    return {path.name: path.read_text("utf-8") for path in folder.iterdir() if path.is_file()}


def test_a_report_with_pseudonyms_names_nobody_and_says_the_same(course, capsys):
    (course / "submitted" / "ben_2" / LESSON / f"{LESSON}.ipynb").write_text("{")
    shutil.rmtree(course / "marks" / "ben_2")
    assert run(capsys, "report", course, "--no-feedback")[0] == run(capsys, "report", course, "--pseudonyms")[0] == 0
    plain, masked = everything(course / "reports"), everything(course / "reports" / "pseudonyms")
    assert set(masked) == set(plain)
    for name, text in masked.items():
        text = text.replace(str(course), "")
        assert not EVERYONE.search(text), (name, EVERYONE.search(text))
        assert EVERYONE.search(plain[name]) or name not in ("marks.csv", "report.html")
    points = [sorted(re.findall(r",(\d+\.\d+),(\d+\.\d+),", each["marks.csv"])) for each in (plain, masked)]
    assert points[0] == points[1] and len(set(re.findall(r"L-[A-Z2-7]{6}", masked["report.html"]))) == 3


def test_pseudonyms_stay_the_same_within_a_course_and_differ_between_two(course, full, tmp_path, capsys):
    names = []
    for place in (course, course, full):
        if place is full:
            place = shutil.copytree(full, tmp_path / "other")
            (place / ".pseudonyms").unlink()
        assert run(capsys, "report", place, "--pseudonyms")[0] == 0
        names.append(set(re.findall(r"L-[A-Z2-7]{6}", (place / "reports/pseudonyms/marks.csv").read_text())))
    assert names[0] == names[1] and not names[0] & names[2]
    assert (course / ".pseudonyms").stat().st_mode & 0o077 == 0

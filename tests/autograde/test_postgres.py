"""A gradebook on a PostgreSQL server, started here: the same marks as in a file, and several people at it at once.

The outside checks are the server itself (its locks, its log, the bytes of its files) and the same course in SQLite.
"""

import copy
import importlib.util
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from database_server import running

sys.path.insert(0, str(Path(__file__).parents[1] / "submissions"))
from lesson import fill, right_answers, write

from autograde import by_hand, marking, review
from autograde.alone import LOCK
from autograde.cli import main
from autograde.course import DEFAULT_COURSE
from autograde.fence import why_no_fence
from autograde.new import opened
from autograde.release import sources
from autograde.trouble import Trouble
from halfcycle.variants import circuit

assert not why_no_fence(), why_no_fence()
LESSON = next(name for name in sources() if name.startswith("10"))
TEXT, ITEM = "10-recommendation", next(iter(marking.load("10")[0]))
# The order of these names is another by bytes, as SQLite sorts, than as this server sorts.
LEARNERS = {"amara": "Okafor", "bo": "de Vries", "chen": "Ångström", "dalia": "Zola", "zuleika": "quartermain"}
LATE, WRONG = "bo", "dalia"


@pytest.fixture(scope="module")
def server():
    with running() as server:
        yield server


def run(capsys, *argv):
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def hand_in(inbox, course, learner):
    nb = nbformat.read(course / "release" / LESSON / f"{LESSON}.ipynb", as_version=4)
    right = right_answers("10", circuit(DEFAULT_COURSE, LESSON, learner))
    right[ITEM] = right[ITEM] * 1.04 if learner == WRONG else right[ITEM]
    nb = fill(copy.deepcopy(nb), right)
    cell = by_hand.hand_marked(nb)[TEXT]
    cell.source = cell.source.replace("Write your answer here.", f"It was the capacitor, says {learner}.")
    write(inbox / learner / f"{LESSON}.ipynb", nb)
    day = 9 if learner == LATE else 1
    (inbox / learner / "timestamp.txt").write_text(f"2026-03-0{day} 12:00:00 UTC\n")


def begun(folder, *new, executed=None):
    """A new course with everything collected; ``executed`` is that of a course with the same hand-ins, to save the time."""
    course = folder / "course"
    (folder / "roster.csv").write_text(
        "id,first,last\n" + "".join(f"{name},{name},{last}\n" for name, last in LEARNERS.items())
    )
    assert main(["new", str(course), "--title", "Fennel Street", *new]) == 0
    assert main(["enrol", str(course), str(folder / "roster.csv")]) == 0
    assert main(["release", str(course), "--lesson", "10", "--due", "10=2026-03-02T18:00+00:00"]) == 0
    for learner in LEARNERS:
        hand_in(folder / "inbox", course, learner)
    assert main(["collect", str(course), str(folder / "inbox")]) == 0
    if executed:
        shutil.copytree(executed, course / "executed")
    return course


@pytest.fixture(scope="module")
def in_a_file(tmp_path_factory):
    """The course on SQLite, graded. Only read."""
    course = begun(tmp_path_factory.mktemp("file"))
    assert main(["grade", str(course), "--workers", "2"]) == 0
    assert rows(course)["amara", ITEM] == (marking.load(LESSON)[0][ITEM].points, None, False)
    return course


@pytest.fixture(scope="module")
def not_yet_graded(server, in_a_file, tmp_path_factory):
    """The same course on the server. Only copied."""
    place = tmp_path_factory.mktemp("server")
    return begun(place, "--gradebook", server.create("fennel"), executed=in_a_file / "executed")


@pytest.fixture(scope="module")
def graded(server, not_yet_graded, tmp_path_factory):
    """The same, graded. Only copied."""
    course = copied(server, not_yet_graded, tmp_path_factory.mktemp("graded"))
    assert main(["grade", str(course)]) == 0
    return course


def copied(server, course, place):
    """A copy of the folder in ``place`` and of the database."""
    facts, fresh = json.loads((course / "course.json").read_text()), f"fennel_{os.urandom(4).hex()}"
    course = shutil.copytree(course, place / "course")
    facts["gradebook"] = server.create(fresh, like=facts["gradebook"].rpartition("/")[2])
    (course / "course.json").write_text(json.dumps(facts))
    return course


@pytest.fixture
def on_the_server(server, not_yet_graded, tmp_path):
    """A course on the server to work in, everything collected."""
    return copied(server, not_yet_graded, tmp_path)


@pytest.fixture
def course(server, graded, tmp_path):
    """A course on the server to work in, everything graded."""
    return copied(server, graded, tmp_path)


def database(course):
    return json.loads((course / "course.json").read_text())["gradebook"].rpartition("/")[2]


def give(course, learner, points, item=TEXT):
    """What nbgrader's page does when a person types a score."""
    with opened(course) as book:
        mark = book.find_grade(item, LESSON, LESSON, learner)
        mark.manual_score, mark.needs_manual_grade = points, False
        book.db.commit()


def rows(course, learners=LEARNERS):
    """``{(learner, item): (by machine, by hand, waits)}``, as nbgrader has it."""
    with opened(course) as book:
        return {
            (one.student.id, grade.name): (grade.auto_score, grade.manual_score, grade.needs_manual_grade)
            for one in book.assignment_submissions(LESSON)
            if one.student.id in learners
            for notebook in one.notebooks
            for grade in notebook.grades
        }


@pytest.fixture
def wider(monkeypatch):
    """The key of one item corrected: it takes 5 % now."""
    keys, traps = marking.load(LESSON)
    corrected = {**keys, ITEM: replace(keys[ITEM], rel_tol=0.05, version=keys[ITEM].version + 1)}, traps
    for module in ("marking", "explain", "neighbours", "preprocessors.mark_slips"):
        monkeypatch.setattr(f"autograde.{module}.load", lambda lesson, room="autograde": corrected)


def desk(capsys, course):
    """An evening at the desk: ``what was said``, and the files that leave it."""
    said, files = [], {}
    give(course, "amara", 4.5), give(course, WRONG, 2.0)
    for step in ("remark", ("remark", "--dry-run"), ("remark", "--yes"), ("report", "--no-feedback"), "export",
                 ("explain", WRONG, ITEM), ("forget", "zuleika", "--dry-run"), ("forget", "zuleika"), "grade", "export"):  # fmt: skip
        name, *rest = (step,) if isinstance(step, str) else step
        before = rows(course) if name == "remark" and "--yes" not in rest else None
        said.append((step, *run(capsys, name, course, *rest)))
        assert before is None or rows(course) == before
        for path in [*course.glob("reports/*.csv"), course / "exports/gradebook.csv"]:
            if path.is_file():
                files[len(said), path.name] = path.read_bytes()
    return said, files


def plain(said, course):
    """Without what is a place, a time, or how a database forgets."""
    text = "\n".join(f"{step} {code}\n{out}\n{err}" for step, code, out, err in said).replace(str(course), "COURSE")
    return re.sub(
        r"20\d\d-\d\d-\d\d[T ][\d:.+]+|gradebook: its (file|tables).*|grading.jsonl: .*", "", text
    ).splitlines()


def test_a_whole_evening_is_the_same_as_with_a_file(course, in_a_file, tmp_path, wider, capsys):
    file = shutil.copytree(in_a_file, tmp_path / "file" / "course")
    assert rows(course) == rows(file)
    (told, files), (told_of_file, files_of_file) = desk(capsys, course), desk(capsys, file)
    assert plain(told, course) == plain(told_of_file, file)
    assert files == files_of_file and rows(course) == rows(file)
    assert all(f"{WRONG}, {LESSON}: " in out and f"({ITEM} " in out for _, _, out, _ in told[:3])  # remark's preview
    assert [code for step, code, _, _ in told if step == "remark"] == [1]
    assert b"zuleika" in files[5, "gradebook.csv"] and b"zuleika" not in files[len(told), "gradebook.csv"]
    assert not (course / "gradebook.db").exists()


def on_disk(server, name, word):
    """The files of a database that hold ``word``, after the server has written everything down."""
    with server.connect(name) as connection:
        connection.execute("CHECKPOINT")
        (number,) = connection.execute("SELECT oid FROM pg_database WHERE datname = current_database()").fetchone()
    folder = server.folder / "data" / "base" / str(number)
    return [path.name for path in folder.iterdir() if word in path.read_bytes()]


def test_who_is_forgotten_is_in_no_file_of_the_server(server, course, capsys):
    with server.connect(database(course)) as connection, server.connect(database(course)) as reader:
        reader.execute("BEGIN ISOLATION LEVEL REPEATABLE READ"), reader.execute("SELECT 1")
        for _ in range(20):  # as the server does by itself now and then; its statistics hold samples of names
            connection.execute("ANALYZE")
    assert len(on_disk(server, database(course), b"zuleika")) > 2
    with server.connect(database(course)) as busy:
        busy.execute("BEGIN"), busy.execute("SELECT * FROM student")
        code, _, said = run(capsys, "forget", course, "zuleika")
        assert code == 2 and "end what uses them" in said and said.count("\n") == 1
    assert run(capsys, "forget", course, "zuleika")[0] == 0
    assert on_disk(server, database(course), b"zuleika") == []
    assert on_disk(server, database(course), b"amara")


INSTRUCTOR = """
import json, sys, time
from pathlib import Path
from autograde.new import opened
course, stop, log, lesson, item, *learners = sys.argv[1:]
course, stop, points, given = Path(course), Path(stop), float(log[-1]) / 8, 0
with opened(course) as book, open(log, "w") as out:
    print("ready", flush=True)
    while not stop.exists():
        for learner in learners:
            points, given = (points + 0.5) % 6, given + 1
            mark = book.find_grade(item, lesson, lesson, learner)
            mark.manual_score, mark.needs_manual_grade = points, False
            book.db.commit()
            print(json.dumps([learner, points]), file=out, flush=True)
        time.sleep(0.05)
"""
WITH_WIDER_KEY = """
import sys
from dataclasses import replace
from autograde import marking, neighbours
from autograde.cli import main
from autograde.preprocessors import mark_slips
keys, traps = marking.load(sys.argv[1])
keys = {**keys, sys.argv[2]: replace(keys[sys.argv[2]], rel_tol=0.05)}
marking.load = mark_slips.load = neighbours.load = lambda lesson, room="autograde": (keys, traps)
sys.exit(main(sys.argv[3:]))
"""


def in_the_page(address, course, learner, points):
    """Give ``points`` through nbgrader's page, as its buttons do."""
    with opened(course) as book:
        mark = book.find_grade(TEXT, LESSON, LESSON, learner)
        place, own = mark.id, mark.notebook.id
    root, _, token = address.replace("/formgrader?token=", "?").partition("?")
    head = {"Authorization": f"token {token}", "Content-Type": "application/json"}
    for url, data in (
        (f"grades?submission_id={own}", None),
        (f"grade/{place}", {"manual_score": points, "extra_credit": None}),
    ):
        body = None if data is None else json.dumps(data).encode()
        asked = urllib.request.Request(
            f"{root}/formgrader/api/{url}", body, head, method="PUT" if data is not None else "GET"
        )
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(asked, timeout=60) as answer:
            assert answer.status == 200
            answer.read()


def test_three_people_mark_by_hand_while_all_is_graded_and_marked_again(server, course, tmp_path):
    stop, said, impatient = tmp_path / "stop", len(server.log()), os.environ | {"PGOPTIONS": "-c lock_timeout=5s"}
    machine = {place: row[0] for place, row in rows(course).items()}
    own = [("amara", "bo", "chen"), ("dalia", "zuleika", "chen"), ("chen",)]
    logs = [tmp_path / f"log-{number}" for number in range(3)]
    people = [
        subprocess.Popen(
            [sys.executable, "-c", INSTRUCTOR, course, stop, log, LESSON, TEXT, *learners],
            env=impatient,
            stdout=subprocess.PIPE,
            text=True,
        )
        for log, learners in zip(logs, own, strict=True)
    ]
    try:
        assert [one.stdout.readline() for one in people] == ["ready\n"] * 3
        grade = [sys.executable, "-m", "autograde.cli", "grade", course, "--force"]
        again = [sys.executable, "-c", WITH_WIDER_KEY, LESSON, ITEM, "remark", course, "--yes"]
        for command in (grade, again):
            counts = [log.read_text().count("\n") for log in logs]
            assert subprocess.run(command, env=impatient, capture_output=True).returncode == 0
            assert all(log.read_text().count("\n") > count for log, count in zip(logs, counts, strict=True))
    finally:
        stop.touch()
        ended = [one.wait(timeout=60) for one in people]
    assert ended == [0, 0, 0]
    last = [dict(map(json.loads, log.read_text().splitlines())) for log in logs]
    found = rows(course)
    for person, learner in ((0, "amara"), (0, "bo"), (1, "dalia"), (1, "zuleika")):
        assert found[learner, TEXT][1] == last[person][learner]
    assert found["chen", TEXT][1] in [one["chen"] for one in last]
    possible = marking.load(LESSON)[0][ITEM].points
    told = [json.loads(line) for line in (course / "grading.jsonl").read_text().splitlines()]
    moved = [(one["learner"], one["after"] - one["before"], one["items"]) for one in told if one["event"] == "remarked"]
    earned = machine[WRONG, ITEM]
    assert moved == [(WRONG, possible - earned, [[ITEM, earned, possible]])]  # no mark by hand is taken for a move
    assert {place: row[0] for place, row in found.items()} == {**machine, (WRONG, ITEM): possible}
    assert not re.search("still waiting for|deadlock|canceling statement", server.log()[said:])


def test_the_page_holds_nothing_and_believes_nothing_old(server, course, capsys):
    with review.formgrader(course) as (_, address):
        in_the_page(address, course, "amara", 3.0)
        assert rows(course)["amara", TEXT][1:] == (3.0, False)
        give(course, "amara", 4.0)
        assert main(["grade", str(course), "--force", "--learner", "amara"]) == 0
        assert rows(course)["amara", TEXT][1:] == (4.0, True)  # nbgrader's rule: graded anew, so look again
        in_the_page(address, course, "amara", 3.0)
        assert rows(course)["amara", TEXT][1:] == (3.0, False)
        with server.connect(database(course)) as connection:
            held = connection.execute(
                "SELECT query FROM pg_stat_activity WHERE datname = current_database() AND state LIKE 'idle in transaction%'"
            )
            assert held.fetchall() == []
        assert run(capsys, "forget", course, "zuleika")[0] == 0


KILLED = """
import os, signal, sys
from autograde.book import Book
from autograde.cli import main
def stop(self, *_, done=[]):
    done.append(0)
    if len(done) == int(sys.argv[1]):
        self._db.flush()
        os.kill(os.getpid(), signal.SIGKILL)
Book._comments = stop
main(sys.argv[2:])
"""


def test_a_grading_killed_amid_a_transaction_leaves_neither_lock_nor_half_a_submission(
    server, on_the_server, in_a_file
):
    course, before = on_the_server, 2
    ended = subprocess.run([sys.executable, "-c", KILLED, str(before + 1), "grade", course], stdout=subprocess.DEVNULL)
    assert ended.returncode == -signal.SIGKILL
    with server.connect(database(course)) as connection:
        until = time.monotonic() + 30
        sessions = (
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        while connection.execute(sessions).fetchone() != (0,) and time.monotonic() < until:
            time.sleep(0.05)  # the server ends a session as soon as it hears that its other end is gone
        locks = connection.execute(
            "SELECT count(*) FROM pg_locks WHERE locktype IN ('advisory', 'transactionid', 'tuple')"
        )
        assert locks.fetchone() == (0,)
    assert len(rows(course)) > 0 and rows(course) == rows(in_a_file, list(LEARNERS)[:before])
    assert main(["grade", str(course)]) == 0
    assert rows(course) == rows(in_a_file)


def test_another_computer_at_the_same_gradebook_waits_its_turn(server, course, capsys):
    with server.connect(database(course)) as other:
        assert other.execute("SELECT pg_try_advisory_lock(%s)", (LOCK,)).fetchone() == (True,)
        for command in (("grade",), ("remark", "--yes"), ("forget", "zuleika")):
            code, _, said = run(capsys, command[0], course, *command[1:])
            assert code == 2 and "from another computer" in said and said.count("\n") == 1
    assert run(capsys, "grade", course)[0] == 0


def test_what_is_wrong_with_an_address_is_one_sentence_and_makes_nothing(server, course, tmp_path, capsys, monkeypatch):
    place = tmp_path / "new"
    monkeypatch.setenv("PGCONNECT_TIMEOUT", "5")
    full = server.address(database(course))
    for address, said in (
        (full, "give each course an empty one"),
        (server.address("nowhere"), "does not exist"),
        ("postgresql://dana@127.0.0.1:1/fennel", "check its address"),
        ("postgresql://dana@127.0.0.1:port/fennel", "check its address"),
    ):
        code, _, told = run(capsys, "new", place, "--gradebook", address)
        assert code == 2 and said in told and told.count("\n") == 1 and not place.exists(), told
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == "psycopg" else real(name, *rest)
    )
    code, _, told = run(capsys, "grade", course)
    assert code == 2 and "needs a driver; install it with" in told and told.count("\n") == 1


def test_a_password_is_for_one_alone_to_read_or_stands_in_no_file(server, tmp_path, capsys, monkeypatch):
    with server.connect() as connection:
        connection.execute("CREATE ROLE erin LOGIN PASSWORD 'brass'")
        connection.execute("CREATE DATABASE erins OWNER erin")
    place, address = tmp_path / "erins", server.address("erins").replace("dana@", "erin:brass@")
    code, out, _ = run(capsys, "new", place, "--gradebook", address)
    assert code == 0 and "for you alone to read" in out and (place / "course.json").stat().st_mode & 0o777 == 0o600
    (place / "course.json").write_text((place / "course.json").read_text().replace("brass", "$ERINS"))
    with pytest.raises(Trouble, match="password authentication failed"):
        opened(place)
    monkeypatch.setenv("ERINS", "brass")
    with opened(place) as book:
        assert book.students == []

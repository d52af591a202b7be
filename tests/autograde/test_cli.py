"""The instructor's commands as commands: help, exit codes, and one plain sentence on every bad input."""

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from autograde import commands
from autograde.cli import main, parser

COMMANDS = sorted(commands.COMMANDS)
ON_A_COURSE = [name for name in COMMANDS if name not in ("new", "rehearse", "verify")]
MORE = {
    "enrol": ["list.csv"],
    "collect": ["inbox"],
    "explain": ["amara", "03-dc"],
    "forget": ["amara"],
    "hours": ["hours.csv"],
}
ROSTER = "id,first,last\namara,Amara,Okafor\nben,Ben,Lindqvist\n"


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A course with two learners and lesson 03 released."""
    folder = tmp_path_factory.mktemp("course")
    (folder / "list.csv").write_text(ROSTER)
    for argv in (["new"], ["enrol", folder / "list.csv"], ["release", "--lesson", "03"]):
        assert main([argv[0], str(folder / "course"), *map(str, argv[1:])]) == 0
    return folder / "course"


@pytest.fixture
def course(template, tmp_path):
    return shutil.copytree(template, tmp_path / "course")


def run(capsys, *argv):
    """Run one command; return ``(exit code, stdout, stderr)``."""
    capsys.readouterr()
    code = main(list(map(str, argv)))
    return (code, *capsys.readouterr())


def one_sentence(text):
    return text.count("\n") == 1 and text.strip() and "Traceback" not in text


def unchanged(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0 and "COURSE" in capsys.readouterr().out


def test_the_parser_and_the_commands_are_the_same():
    (actions,) = [action for action in parser()._actions if action.choices]
    assert sorted(actions.choices) == COMMANDS


@pytest.mark.parametrize("command", ON_A_COURSE)
def test_no_such_folder_is_one_sentence_with_the_mend(command, capsys, tmp_path):
    code, _, said = run(capsys, command, tmp_path / "nowhere", *MORE.get(command, []))
    assert code == 2 and one_sentence(said)
    assert str(tmp_path / "nowhere") in said and "autograde new" in said
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("command", ON_A_COURSE)
def test_a_folder_that_is_no_course_is_left_alone(command, capsys, tmp_path):
    (tmp_path / "letters.txt").write_text("keep me")
    code, _, said = run(capsys, command, tmp_path, *MORE.get(command, []))
    assert code == 2 and one_sentence(said) and "no course folder" in said
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]


@pytest.mark.parametrize("command", ["new", "rehearse"])
def test_nothing_is_ever_overwritten(command, capsys, course, tmp_path):
    before = unchanged(course)
    code, _, said = run(capsys, command, course)
    assert code == 2 and one_sentence(said) and "choose a new folder" in said
    assert unchanged(course) == before
    (tmp_path / "file").write_text("x")
    code, _, said = run(capsys, command, tmp_path / "file")
    assert code == 2 and "is a file" in said


@pytest.mark.parametrize("command", ON_A_COURSE)
def test_a_damaged_course_json_is_one_sentence(command, capsys, course):
    (course / "course.json").write_text("{")
    code, _, said = run(capsys, command, course, *MORE.get(command, []))
    assert code == 2 and one_sentence(said) and "course.json is damaged" in said


@pytest.mark.parametrize(
    "argv",
    [[], ["mark", "course"], ["grade"], ["grade", "course", "--workers", "0"], ["grade", "course", "--workers", "x"],
     ["new", "course", "--colour", "red"], ["review", "course", "--port", "x"]],
)  # fmt: skip
def test_a_command_typed_wrongly_is_one_sentence(argv, capsys):
    code, _, said = run(capsys, *argv)
    assert code == 2 and one_sentence(said) and "--help" in said


def test_a_bad_roster_changes_nothing(capsys, course, tmp_path):
    before = unchanged(course)
    (tmp_path / "bad.csv").write_text("id,first\nchen,Chen\n,Dana\n")
    code, _, said = run(capsys, "enrol", course, tmp_path / "bad.csv")
    assert code == 2 and one_sentence(said) and "Line 3" in said and "bad.csv" in said
    assert unchanged(course) == before


def test_enrolled_learners_are_in_the_gradebook_too(course):
    from autograde.new import opened

    with opened(course) as gradebook:
        assert {(each.id, each.first_name) for each in gradebook.students} == {("amara", "Amara"), ("ben", "Ben")}


def test_one_broken_hand_in_does_not_hold_up_the_others(capsys, course, tmp_path):
    released = next((course / "release").glob("*/*.ipynb"))
    for learner, data in (("amara", b"{"), ("ben", released.read_bytes())):
        (tmp_path / "inbox" / learner).mkdir(parents=True)
        (tmp_path / "inbox" / learner / released.name).write_bytes(data)
    code, out, said = run(capsys, "collect", course, tmp_path / "inbox")
    assert code == 1 and one_sentence(said) and "1 file " in said
    assert f"amara/{released.name} is not a readable notebook" in out
    assert (course / "submitted" / "ben" / released.stem / released.name).is_file()


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["grade", "--lesson", "99_nothing"], "99_nothing"),
        (["grade", "--learner", "nobody"], "nobody"),
        (["release", "--lesson", "99"], "no lesson '99'"),
        (["release", "--lesson", "03", "--due", "01=2026-03-02"], "not being released"),
        (["collect", "nowhere"], "no inbox nowhere"),
        (["explain", "nobody", "03-dc"], "nobody"),
        (["explain", "amara", "03-dc"], "autograde grade"),
    ],
)
def test_a_name_that_is_not_there_is_one_sentence(argv, words, capsys, course):
    code, _, said = run(capsys, argv[0], course, *argv[1:])
    assert code == 2 and one_sentence(said) and words in said


def test_a_course_without_hand_ins_can_be_reported_and_graded(capsys, course):
    assert run(capsys, "report", course)[0] == 0
    assert (course / "reports" / "report.html").is_file()
    code, out, _ = run(capsys, "remark", course)
    assert code == 0 and "0 hand-ins marked again" in out


def test_a_read_only_folder_is_one_sentence(capsys, course, tmp_path, monkeypatch):
    (tmp_path / "more.csv").write_text("id\nchen\n")

    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    for argv in (["report", course], ["enrol", course, tmp_path / "more.csv"], ["new", tmp_path / "other"]):
        code, _, said = run(capsys, *argv)
        assert code == 2 and one_sentence(said) and "cannot be written (read-only file system)" in said, argv


def test_a_gradebook_that_cannot_be_opened_is_one_sentence(capsys, course):
    (course / "gradebook.db").unlink()
    (course / "gradebook.db").mkdir()
    code, _, said = run(capsys, "report", course)
    assert code == 2 and one_sentence(said) and "gradebook" in said


def test_a_port_in_use_is_one_sentence(capsys, course):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, _, said = run(capsys, "review", course, "--no-browser", "--port", port)
    assert code == 2 and one_sentence(said) and f"Port {port} " in said and "another with --port" in said
    assert run(capsys, "review", course, "--port", 99999)[0] == 2


def test_what_nobody_foresaw_is_one_sentence_and_stopping_is_no_failure(capsys, course, monkeypatch):
    def fail(_):
        raise ZeroDivisionError("division\nby zero")

    monkeypatch.setitem(commands.COMMANDS, "report", fail)
    code, _, said = run(capsys, "report", course)
    assert code == 2 and one_sentence(said) and "ZeroDivisionError: division" in said

    def stop(_):
        raise KeyboardInterrupt

    monkeypatch.setitem(commands.COMMANDS, "report", stop)
    code, _, said = run(capsys, "report", course)
    assert code == 1 and one_sentence(said) and "what was done is kept" in said


def test_the_program_finds_its_own_helpers_whatever_the_path(tmp_path):
    """nbgrader calls alembic as a program; a bare PATH must not break the entry point called directly."""
    program = Path(sys.executable).with_name("autograde")
    bare = {**os.environ, "PATH": os.pathsep.join(["/usr/bin", "/bin"])}
    done = subprocess.run(
        [program, "new", "course"], cwd=tmp_path, env=bare, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "course" / "gradebook.db").is_file()
    again = subprocess.run(
        [program, "new", "course"], cwd=tmp_path, env=bare, capture_output=True, text=True, check=False
    )
    assert again.returncode == 2 and one_sentence(again.stderr)

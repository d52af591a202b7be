"""The learners' packs: one a cohort, clean as it is sent, and it really starts with the command of its page."""

import io
import os
import re
import shutil
import signal
import subprocess
import tomllib
import urllib.request
import zipfile
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest

from autograde import pack_page, packs
from autograde.cli import main
from autograde.trouble import Trouble

LESSON = "03_one_diode"
ROSTER = "id,first,last,email,group\namara,Amara,Okafor,a@example.org,Blue crew\nben,Ben,Lindqvist,,blue-crew\ndalia,Dalia,Haddad,,\n"


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """Two groups whose names differ in signs alone, someone without a group, and lesson 03 released."""
    place = tmp_path_factory.mktemp("packs") / "course"
    roster = place.parent / "list.csv"
    roster.write_text(ROSTER)
    assert main(["new", str(place), "--name", "spring"]) == main(["enrol", str(place), str(roster)]) == 0
    assert main(["release", str(place), "--lesson", "03", "--due", "03=2026-03-02T18:00+00:00"]) == 0
    return place


def opened(path):
    """``{path inside the pack's one folder: content}``."""
    with zipfile.ZipFile(path) as box:
        names = box.namelist()
        assert {name.split("/")[0] for name in names} == {path.stem}
        return {name.partition("/")[2]: box.read(name) for name in names}


def test_there_is_one_pack_for_each_cohort_and_all_hold_the_same_lessons(course):
    found = {path.name: opened(path) for path in (course / "packs").iterdir()}
    assert set(found) == {"half-cycle.zip", "half-cycle-blue-crew-1.zip", "half-cycle-blue-crew-2.zip"}
    for files in found.values():
        (wheel,) = [name for name in files if name.endswith(".whl")]
        assert set(files) == {wheel, "start.py", "START-HERE.html", f"lessons/{LESSON}/{LESSON}.ipynb"}
        assert (
            files[f"lessons/{LESSON}/{LESSON}.ipynb"] == (course / "release" / LESSON / f"{LESSON}.ipynb").read_bytes()
        )


def test_nobody_is_named_in_a_pack(course):
    for path in (course / "packs").iterdir():
        text = b"\n".join(opened(path).values()).decode(errors="replace")
        assert not re.search(r"okafor|lindqvist|haddad|example\.org", text, re.IGNORECASE)


def test_the_page_says_the_one_command_and_the_last_day_and_needs_nothing_from_elsewhere(course):
    text = opened(course / "packs" / "half-cycle-blue-crew-1.zip")["START-HERE.html"].decode()
    assert f"<code>{pack_page.COMMAND}</code>" in text and "2026-03-02 18:00 UTC" in text and "Group: Blue crew" in text
    assert "http" not in text and "src=" not in text
    HTMLParser().feed(text)


def test_the_same_release_gives_the_same_page_and_program(course, tmp_path):
    again = shutil.copytree(course, tmp_path / "course")
    packs.write(again, "course", {LESSON: datetime(2026, 3, 2, 18, tzinfo=UTC)})
    one, other = (opened(each / "packs" / "half-cycle.zip") for each in (course, again))
    assert one["start.py"] == other["start.py"] and one["START-HERE.html"] == other["START-HERE.html"]


def test_a_pack_leaves_out_the_packages_that_the_checkout_leaves_out(course, course_checkout):
    text = opened(course / "packs" / "half-cycle.zip")["start.py"].decode()
    head = re.findall(r"^# ?(.*)$", text.partition('# ///\n"')[0].partition("# /// script\n")[2], re.MULTILINE)
    checkout = tomllib.loads((course_checkout / "pyproject.toml").read_text(encoding="utf-8"))
    overrides = checkout["tool"]["uv"]["override-dependencies"]
    assert overrides and tomllib.loads("\n".join(head))["tool"]["uv"]["override-dependencies"] == overrides


def rewritten(data, change):
    """The pack ``data`` after ``change`` of its ``{name: content}``."""
    with zipfile.ZipFile(io.BytesIO(data)) as box:
        files = {name.partition("/")[2]: box.read(name) for name in box.namelist()}
    change(files)
    return packs.pack("half-cycle", files)


def in_wheel(files, name, text):
    (wheel,) = [each for each in files if each.endswith(".whl")]
    out = io.BytesIO(files[wheel])
    with zipfile.ZipFile(out, "a") as box:
        box.writestr(name, text)
    files[wheel] = out.getvalue()


def in_lesson(files, old, new):
    name = f"lessons/{LESSON}/{LESSON}.ipynb"
    assert old in files[name]
    files[name] = files[name].replace(old, new, 1)


LEAKS = {
    "a key in the wheel": lambda files: in_wheel(files, "autograde/keys/lesson_03.py", "x = 1"),
    "a trap in the wheel": lambda files: in_wheel(files, "halfcycle/more.py", 'SLIP = "drop-forgotten"'),
    "a lesson in the wheel": lambda files: in_wheel(files, "halfcycle/more.ipynb", "{}"),
    "a roster": lambda files: files.update({"roster.csv": b"id\n"}),
    "a key beside it": lambda files: files.update({"lesson_03.py": b""}),
    "a notebook elsewhere": lambda files: files.update({"solved.ipynb": b"{}"}),
    "a hidden test": lambda files: in_lesson(files, b"hand_in(", b"### BEGIN HIDDEN TESTS\\n\\nhand_in("),
    "a solution": lambda files: in_lesson(files, b"= ...", b"= ...\\n### BEGIN SOLUTION"),
    "a trap": lambda files: in_lesson(files, b"# ", b"# drop-forgotten "),
}


@pytest.mark.parametrize("what", LEAKS)
def test_each_kind_of_leak_is_found_in_the_pack_itself(course, what):
    clean = (course / "packs" / "half-cycle.zip").read_bytes()
    assert packs.leaks_of(clean) == []
    assert packs.leaks_of(rewritten(clean, LEAKS[what]))


def test_a_pack_that_is_not_clean_is_not_written_and_the_old_one_stays(course, tmp_path, monkeypatch):
    copy = shutil.copytree(course, tmp_path / "course")
    before = {path: path.read_bytes() for path in (copy / "packs").iterdir()}
    monkeypatch.setattr(packs, "leaks_of", lambda data: ["the wheel names a trap"])
    with pytest.raises(Trouble, match="No pack was made, because the wheel names a trap"):
        packs.write(copy, "course", {})
    assert {path: path.read_bytes() for path in (copy / "packs").iterdir()} == before


def test_without_uv_the_lessons_are_released_and_it_is_said_that_there_is_no_pack(
    course, tmp_path, monkeypatch, capsys
):
    copy = shutil.copytree(course, tmp_path / "course")
    monkeypatch.delenv("UV", raising=False)
    monkeypatch.setattr(packs.shutil, "which", lambda _: None)
    assert main(["release", str(copy), "--lesson", "03"]) == 1
    out, err = capsys.readouterr()
    assert f"Released {LESSON}" in out and "the program uv is not there" in out and err.count("\n") == 1


def started(folder, home, *flags):
    """The running program of the pack and the address it prints, or (None, what it said)."""
    command = [
        os.environ.get("UV") or shutil.which("uv"),
        "run",
        *flags,
        "start.py",
        "--no-browser",
        "--learner",
        "amara",
    ]
    cache = subprocess.run([command[0], "cache", "dir"], capture_output=True, text=True, check=True).stdout.strip()
    plain = {name: text for name, text in os.environ.items() if name not in ("VIRTUAL_ENV", "PYTHONPATH")}
    env = {**plain, "HOME": str(home), "UV_CACHE_DIR": cache}
    run = subprocess.Popen(
        command, cwd=folder, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        text=True, start_new_session=True,
    )  # fmt: skip
    said = []
    for line in run.stdout:
        said.append(line)
        if "http://127.0.0.1" in line:
            return run, line.strip()
    run.wait()
    run.stdout.close()
    return None, "".join(said)


def test_a_pack_starts_with_its_one_command_and_shows_the_lesson(course, tmp_path):
    """As a learner does it: unpack, `uv run start.py`; with the packages of an earlier start if they are there."""
    home = tmp_path / "home"
    home.mkdir()
    with zipfile.ZipFile(course / "packs" / "half-cycle.zip") as box:
        box.extractall(tmp_path)
    run, said = started(tmp_path / "half-cycle", home, "--offline")
    if run is None:
        run, said = started(tmp_path / "half-cycle", home)
    assert run, said
    try:
        base, token = re.match(r"(http://[^/]+)/.*token=(\w+)", said).groups()
        with urllib.request.urlopen(f"{base}/api/contents/{LESSON}/{LESSON}.ipynb?token={token}", timeout=60) as answer:
            assert b"03-dc" in answer.read()
        assert (home / "half-cycle-study" / ".halfcycle.json").read_text().count('"spring"') == 1
    finally:
        os.killpg(run.pid, signal.SIGTERM)
        run.wait(timeout=60)
        run.stdout.close()

"""The command `halfcycle` as a person starts it: a real process, its sentences and its exit codes."""

import json
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request

import nbformat
import pytest
from nbformat.v4 import new_markdown_cell, new_notebook

from halfcycle import cli, demo

PROGRAM = shutil.which("halfcycle")


def halfcycle(*arguments, **options):
    return subprocess.run(
        [PROGRAM, *map(str, arguments)],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=300,
        **options,
    )


def refused(*arguments, **options):
    """The one sentence with which a command that cannot go on ends."""
    done = halfcycle(*arguments, **options)
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert re.fullmatch(r"[^\n]+\.\n", done.stderr), done.stderr
    return done.stderr


@pytest.fixture
def pack(tmp_path):
    path = tmp_path / "pack" / "01_a_lesson" / "01_a_lesson.ipynb"
    path.parent.mkdir(parents=True)
    nbformat.write(new_notebook(cells=[new_markdown_cell("# A lesson", id="01-title")]), path)
    return tmp_path / "pack"


class Running:
    """`halfcycle study` as a process, once it has printed its address; its server dies with it."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen(
            [PROGRAM, "study", "--no-browser", *map(str, arguments)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.said = ""
        for line in self.process.stdout:
            self.said += line
            if found := re.search(r"http://\S+", line):
                self.address = found[0]
                return
        raise AssertionError(f"no address was printed: {self.said}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        self.process.stdout.close()
        self.code = self.process.wait(timeout=60)


def test_help_names_both_commands_and_each_has_its_own():
    top = halfcycle("--help")
    assert top.returncode == 0 and "study" in top.stdout and "demo" in top.stdout
    for name, options in {
        "study": ("--no-browser", "--learner", "--course", "--lessons", "--port"),
        "demo": ("--bench", "--no-browser", "--handout", "--port"),
    }.items():
        shown = halfcycle(name, "--help")
        assert shown.returncode == 0 and all(option in shown.stdout for option in options)


def test_the_module_is_the_command():
    shown = subprocess.run([sys.executable, "-m", "halfcycle", "--help"], capture_output=True, text=True, timeout=120)
    assert shown.returncode == 0 and "study" in shown.stdout


def test_study_prints_an_address_that_answers_here_and_needs_its_token(tmp_path, pack):
    with Running(tmp_path / "study", "--lessons", pack, "--learner", "ana") as running:
        assert re.fullmatch(
            r"http://127\.0\.0\.1:\d+/lab/tree/01_a_lesson/01_a_lesson\.ipynb\?token=\w{48}", running.address
        )
        assert b"JupyterLab" in urllib.request.urlopen(running.address, timeout=60).read()
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(re.sub(r"/lab/.*", "/api/contents", running.address), timeout=60)
        extensions = urllib.request.urlopen(
            re.sub(r"/lab/tree/[^?]*", "/lab/api/settings", running.address), timeout=60
        ).read()
        assert json.loads(extensions)["settings"]
        port = int(re.search(r":(\d+)/", running.address)[1])
        other = refused("study", tmp_path / "other", "--lessons", pack, "--no-browser", "--port", port)
        assert f"Port {port} is in use" in other
    assert running.code == 0
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0, "the server outlived the command"
    assert "learner ana" in running.said and "01_a_lesson" in running.said


def test_the_last_place_is_opened_again(tmp_path, pack):
    with Running(tmp_path / "study", "--lessons", pack) as running:
        pass
    workspaces = tmp_path / "study" / ".halfcycle" / "workspaces"
    workspaces.mkdir(parents=True, exist_ok=True)
    layout = {"main": {"current": "notebook:01_a_lesson/01_a_lesson.ipynb"}}
    kept = json.dumps({"data": {"layout-restorer:data": layout}, "metadata": {"id": "default"}})
    (workspaces / "default.jupyterlab-workspace").write_text(kept, encoding="utf-8")
    with Running(tmp_path / "study") as again:
        assert "/lab/tree/01_a_lesson/" in again.address
    assert "New here" in running.said


def test_a_folder_that_is_open_already_gets_no_second_server(tmp_path, pack):
    folder = tmp_path / "study"
    whereabouts = folder / ".halfcycle" / "server.json"
    with Running(folder, "--lessons", pack) as running:
        assert whereabouts.stat().st_mode & 0o077 == 0, "others of this computer could read the token"
        second = halfcycle("study", folder, "--lessons", pack, "--no-browser")
        assert second.returncode == 0
        assert running.address in second.stdout and "open already" in second.stdout
        assert urllib.request.urlopen(running.address, timeout=60).status == 200, "the first one goes on"
        left_behind = whereabouts.read_text(encoding="utf-8")
    assert not whereabouts.exists()
    whereabouts.write_text(left_behind, encoding="utf-8")  # as after a power cut
    with Running(folder) as again:
        assert again.address != running.address


@pytest.mark.parametrize("port", [0, 65536, -1])
def test_a_number_that_is_no_port(tmp_path, pack, port):
    assert "is no port" in refused("study", tmp_path / "study", "--lessons", pack, f"--port={port}", "--no-browser")


def test_bad_places_end_in_a_sentence(tmp_path, pack):
    (tmp_path / "file").write_text("mine")
    assert "is a file" in refused("study", tmp_path / "file", "--lessons", pack)
    assert "no folder of lessons" in refused("study", tmp_path / "study", "--lessons", tmp_path / "nowhere")
    (pack / "01_a_lesson" / "01_a_lesson.ipynb").write_text("{")
    assert "01_a_lesson.ipynb" in refused("study", tmp_path / "study", "--lessons", pack)
    assert not (tmp_path / "study").exists()


def test_a_server_that_does_not_start_says_where_the_reason_stands(tmp_path, pack):
    config = tmp_path / "study" / ".halfcycle" / "config"
    config.mkdir(parents=True)
    (config / "jupyter_lab_config.py").write_text("raise SystemExit(3)")
    assert "server.log" in refused("study", tmp_path / "study", "--lessons", pack, "--no-browser")


def test_no_command_shows_how_to_use_it():
    assert halfcycle().returncode == 2 and halfcycle("nonsense").returncode == 2


def test_demo_hands_its_options_on(monkeypatch, tmp_path):
    asked = []
    monkeypatch.setattr(demo, "run", lambda **options: asked.append(options) or 0)
    assert cli.main(["demo", "--bench", "rectifier", "--no-browser", "--handout", str(tmp_path / "a.pdf")]) == 0
    assert asked == [{"bench": "rectifier", "open_browser": False, "handout": tmp_path / "a.pdf", "port": None}]


def test_demo_refuses_an_unknown_bench_in_a_sentence():
    assert "no bench called 'nonsense'" in refused("demo", "--bench", "nonsense", "--no-browser")

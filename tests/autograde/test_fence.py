"""The fence itself: what a process behind it sees, reaches and may use, as root's child and as anybody's."""

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from autograde import fence as fences
from autograde.fence import INSTALL, Fence, Limits, NoFence, fence, why_no_fence
from autograde.trouble import Trouble
from autograde.watch import Watch, resident_bytes

WHY_NOT = why_no_fence()
needs_fence = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or INSTALL)
WHO = ("made-for-tests", "amara")
CHECKOUT = Path(fences.__file__).resolve().parents[1]


@pytest.fixture(params=["as I am", "as an ordinary user"])
def user(request, monkeypatch):
    """Root's fence gives up root by changing its user; anybody else's by a user namespace: both are tried."""
    if request.param == "as an ordinary user" and os.geteuid() == 0:
        monkeypatch.setattr(fences.os, "geteuid", lambda: 1000)
    return request.param


def _run(code, kind=None, timeout=60):
    kind = kind or fence()
    with tempfile.TemporaryDirectory(prefix="hc-") as sockets:
        command = kind.command(["-c", code], sockets, WHO)
        return subprocess.run(command, capture_output=True, text=True, timeout=timeout, check=False)


def _json(code, **options):
    done = _run(code, **options)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@needs_fence
def test_it_sees_python_and_halfcycle_and_nothing_of_the_checkout(user):
    code = f"""
import json, os, halfcycle, numpy
checkout = {str(CHECKOUT)!r}
seen = {{place: sorted(os.listdir(place)) for place in ("/", checkout, checkout + "/shared_lib") if os.path.isdir(place)}}
seen["autograde"] = os.path.exists(checkout + "/autograde/keys")
print(json.dumps(seen))"""
    seen = _json(code)
    assert not seen["autograde"]
    assert {"home", "srv", "var", "mnt", "run"}.isdisjoint(seen["/"])
    assert set(seen.get(str(CHECKOUT), [])) <= {".venv", "shared_lib", "datasets"}
    assert set(seen.get(f"{CHECKOUT}/shared_lib", [])) <= {"halfcycle"}


@needs_fence
def test_it_cannot_import_the_grading_room(user):
    assert "No module named 'autograde'" in _run("import autograde").stderr


@needs_fence
def test_a_course_folder_stays_hidden_wherever_it_lies(user, tmp_path, monkeypatch):
    shown = tmp_path / "python"
    (shown / "course").mkdir(parents=True)
    (shown / "course" / "gradebook.db").write_text("marks")
    places = fences._places()
    monkeypatch.setattr(fences, "_places", lambda: [*places, str(shown)])
    code = f"import json, os; print(json.dumps([os.listdir({str(shown)!r}), os.listdir({str(shown / 'course')!r})]))"
    assert _json(code, kind=fence(hidden=[shown / "course"])) == [["course"], []]


@needs_fence
def test_its_environment_says_who_and_little_else(user, monkeypatch):
    monkeypatch.setenv("SECRET_TOKEN", "x")
    found = _json("import json, os; print(json.dumps(dict(os.environ)))")
    assert (found["HALFCYCLE_COURSE"], found["HALFCYCLE_LEARNER"]) == WHO
    assert "SECRET_TOKEN" not in found
    assert found["HOME"] == "/desk"


@needs_fence
def test_no_process_it_sees_carries_the_instructors_environment(user, monkeypatch):
    monkeypatch.setenv("SECRET_TOKEN", "never-to-be-seen")
    code = """
import glob, json
found = []
for place in glob.glob("/proc/[0-9]*/environ"):
    try:
        found.append(open(place).read())
    except OSError:
        pass
print(json.dumps(found))"""
    assert not [text for text in _json(code) if "never-to-be-seen" in text]


@needs_fence
def test_it_can_write_only_on_its_desk(user):
    code = f"""
import json
done = []
for place in ("/x", "/etc/x", "/dev/x", "/usr/x", {sys.prefix + "/x"!r}, {str(CHECKOUT / "shared_lib/halfcycle/x")!r}, "/fence/start.py", "/desk/x", "/tmp/x"):
    try:
        open(place, "w").write("x")
        done.append(place)
    except OSError:
        pass
print(json.dumps(done))"""
    assert _json(code) == ["/desk/x", "/tmp/x"]


@needs_fence
def test_no_word_gets_out(user):
    """A server of ours listens on this computer; nothing behind the fence can speak to it, nor to any address."""
    with socket.create_server(("127.0.0.1", 0)) as server, socket.socket(socket.AF_UNIX) as near:
        server.settimeout(0.2)
        near.bind("\0halfcycle-fence-test")
        near.listen()
        code = f"""
import json, socket
done = []
for family, place in ((socket.AF_INET, ("127.0.0.1", {server.getsockname()[1]})), (socket.AF_INET, ("192.0.2.1", 80)), (socket.AF_UNIX, "\\0halfcycle-fence-test")):
    try:
        with socket.socket(family) as one:
            one.settimeout(1)
            one.connect(place)
        done.append(str(place))
    except OSError:
        pass
print(json.dumps([done, [name for _, name in socket.if_nameindex()]]))"""
        assert _json(code) == [[], ["lo"]]
        assert _json(code, kind=NoFence())[0] == [str(("127.0.0.1", server.getsockname()[1])), "\0halfcycle-fence-test"]


@needs_fence
def test_no_other_process_is_there(user):
    code = "import json, os; print(json.dumps(sorted(int(p) for p in os.listdir('/proc') if p.isdigit())))"
    assert max(_json(code)) < 10


@needs_fence
def test_it_has_no_rights(user):
    status = _json("import json; print(json.dumps(open('/proc/self/status').read()))")
    found = dict(line.split(":\t", 1) for line in status.splitlines() if ":\t" in line)
    assert int(found["CapEff"], 16) == int(found["CapPrm"], 16) == 0
    assert found["NoNewPrivs"].strip() == "1"


@needs_fence
def test_root_is_given_up():
    if os.geteuid() == 0:
        assert _json("import os; print(os.getuid())") > 500_000_000
    else:
        assert _json("import os; print(os.getuid())") == os.getuid()


@needs_fence
@pytest.mark.parametrize(
    ("limits", "code", "said"),
    [
        ({"memory_bytes": 2**30}, "bytearray(2**30)", "MemoryError"),
        (
            {"file_bytes": 2**20},
            "open('/desk/x', 'wb').write(bytes(2**21 + 1)); open('/desk/x', 'ab').write(b'1')",
            "File too large",
        ),
        ({"desk_bytes": 2**20}, "[open(f'/desk/{n}', 'wb').write(bytes(2**19)) for n in range(5)]", "No space left"),
        ({"desk_bytes": 2**20}, "[open(f'/dev/shm/{n}', 'wb').write(bytes(2**19)) for n in range(5)]", "No space left"),
    ],
)
def test_it_is_bounded(user, limits, code, said):
    assert said in _run(code, kind=Fence(replace(Limits(), **limits))).stderr


@needs_fence
def test_processes_are_bounded():
    """Anybody's bound counts from what they run already; root's child is somebody new, who runs nothing."""
    running = 0 if os.geteuid() == 0 else fences._threads_of(os.geteuid())
    code = f"import os, time\nfor _ in range({running} + 100):\n    if os.fork() == 0:\n        time.sleep(2)\n        os._exit(0)"
    assert "temporarily unavailable" in _run(code, kind=Fence(replace(Limits(), processes=20))).stderr


@needs_fence
def test_processor_time_is_bounded(user):
    assert _run("while True: pass", kind=Fence(replace(Limits(), cpu_seconds=1))).returncode != 0


@needs_fence
def test_it_ends_with_whoever_started_it(tmp_path):
    """The grading is killed outright: nothing behind the fence goes on."""
    folder = _open_folder(tmp_path)
    inside = f"import time; open({str(folder / 'started')!r}, 'w').close(); time.sleep(120)"
    inner = fence().command(["-c", inside], folder, WHO)
    outer = f"import subprocess; p = subprocess.Popen({inner!r}, start_new_session=True); print(p.pid, flush=True); p.wait()"
    with subprocess.Popen([sys.executable, "-c", outer], stdout=subprocess.PIPE, text=True) as process:
        fenced = int(process.stdout.readline())
        while not (folder / "started").exists():
            threading.Event().wait(0.02)
        process.kill()
    for _ in range(100):
        if _state(fenced) in ("gone", "Z"):
            return
        threading.Event().wait(0.05)
    pytest.fail("it goes on")


@needs_fence
def test_it_does_not_outlive_its_time(user, monkeypatch):
    monkeypatch.setattr(fences, "_GRACE_SECONDS", 1)
    done = _run("import time; time.sleep(120)", kind=Fence(replace(Limits(), notebook_seconds=0)))
    assert done.returncode == 128 + signal.SIGALRM


def _state(pid):
    """One letter, or "gone"; Z is a process that has ended and whose new parent has not looked yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return "gone"


def _open_folder(tmp_path):
    folder = tmp_path / "sockets"
    folder.mkdir()
    return folder


def test_no_fence_still_says_who_and_hides_the_environment(monkeypatch):
    monkeypatch.setenv("SECRET_TOKEN", "x")
    found = _json("import json, os; print(json.dumps(dict(os.environ)))", kind=NoFence())
    assert found["HALFCYCLE_LEARNER"] == "amara"
    assert "SECRET_TOKEN" not in found


def test_without_bubblewrap_there_is_one_sentence(monkeypatch):
    monkeypatch.setattr(fences.shutil, "which", lambda name: None)
    with pytest.raises(Trouble, match=INSTALL):
        fence()
    assert isinstance(fence(unfenced=True), NoFence)


def test_a_computer_that_refuses_says_so(monkeypatch):
    refused = subprocess.CompletedProcess([], 1, "", "bwrap: No permissions to create a new namespace\n")
    monkeypatch.setattr(fences.shutil, "which", lambda name: name)
    monkeypatch.setattr(fences.subprocess, "run", lambda *a, **k: refused)
    with pytest.raises(Trouble, match="No permissions to create"):
        fence()


def test_the_watch_ends_what_outgrows_its_memory(tmp_path):
    hog = "import time; hoard = bytearray(200 * 2**20); hoard[::4096] = bytes(len(hoard[::4096])); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", hog], start_new_session=True) as process:
        with Watch(process.pid, tmp_path, replace(Limits(), memory_bytes=100 * 2**20)) as watch:
            process.wait(timeout=30)
        assert "memory" in watch.breach


def test_the_watch_ends_what_fills_the_shared_folder(tmp_path):
    (tmp_path / "big").write_bytes(b"x" * 2**21)
    with subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"], start_new_session=True) as process:
        with Watch(process.pid, tmp_path, replace(Limits(), file_bytes=2**20)) as watch:
            process.wait(timeout=30)
        assert "wrote" in watch.breach


def test_resident_memory_counts_children():
    code = "import subprocess, sys, time; p = subprocess.Popen([sys.executable, '-c', 'x = b\"1\" * 100_000_000; print(1, flush=True); import time; time.sleep(30)'], stdout=subprocess.PIPE); p.stdout.readline(); print(1, flush=True); time.sleep(30)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, start_new_session=True) as process:
        process.stdout.readline()
        found = resident_bytes(process.pid)
        os.killpg(process.pid, 9)
    assert found > 100_000_000

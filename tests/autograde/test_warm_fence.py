"""What the code in a warm fork sees, reaches and may use, as root's child and as anybody's."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from autograde import fence as fences
from autograde.fence import Fence, Limits, why_no_fence
from autograde.warm import Warm

WHY_NOT = why_no_fence()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "bubblewrap is there")
WHO = ("made-for-tests", "amara")
CHECKOUT = Path(fences.__file__).resolve().parents[1]


@pytest.fixture(scope="module", params=["as I am", "as an ordinary user"])
def warm(request, tmp_path_factory):
    """Root's forks become somebody else; anybody else's live in a user namespace: both are tried."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SECRET_TOKEN", "never-to-be-seen")
        if request.param == "as an ordinary user" and os.geteuid() == 0:
            patch.setattr(fences.os, "geteuid", lambda: 1000)
        places, shown = fences._places(), tmp_path_factory.mktemp("shown")
        (shown / "course").mkdir()
        shown.chmod(0o755)  # pytest's own folders are closed to everybody else
        (shown / "course" / "gradebook.db").write_text("marks")
        patch.setattr(fences, "_places", lambda: [*places, str(shown)])
        made = Warm(Fence(Limits(), (str(shown / "course"),)))
        made.shown = shown
        made.start()
    yield made
    made.close()


def _text(warm, code):
    result = warm.run({"who": WHO, "cells": [[0, code, "c0", False]]})
    return "".join(one.get("text", one.get("evalue", "")) for one in result["cells"]["0"]["outputs"]), result["stopped"]


def _json(warm, code):
    return json.loads(_text(warm, code)[0])


def test_it_sees_nothing_of_the_instructors(warm):
    code = f"""
import json, os
checkout, shown = {str(CHECKOUT)!r}, {str(warm.shown)!r}
seen = {{place: sorted(os.listdir(place)) for place in ("/", checkout, checkout + "/shared_lib", shown, shown + "/course") if os.path.isdir(place)}}
seen["keys"] = os.path.exists(checkout + "/autograde/keys")
print(json.dumps(seen))"""
    seen = _json(warm, code)
    assert not seen["keys"]
    assert {"home", "srv", "var", "mnt", "run"}.isdisjoint(seen["/"])
    assert set(seen.get(str(CHECKOUT), [])) <= {".venv", "shared_lib", "datasets"}
    assert set(seen.get(f"{CHECKOUT}/shared_lib", [])) <= {"halfcycle"}
    assert (seen[str(warm.shown)], seen[f"{warm.shown}/course"]) == (["course"], [])
    assert "No module named 'autograde'" in _text(warm, "import autograde")[0]


def test_its_environment_says_who_and_no_process_carries_another(warm):
    code = """
import glob, json, os
found = []
for place in glob.glob("/proc/[0-9]*/environ"):
    try:
        found.append(open(place).read())
    except OSError:
        pass
print(json.dumps([dict(os.environ), "".join(found)]))"""
    mine, others = _json(warm, code)
    assert (mine["HALFCYCLE_COURSE"], mine["HALFCYCLE_LEARNER"], mine["HOME"]) == (*WHO, "/desk")
    assert "SECRET_TOKEN" not in mine and "never-to-be-seen" not in others


def test_it_can_write_only_on_its_desk(warm):
    places = ["/x", "/etc/x", "/dev/x", "/usr/x", f"{sys.prefix}/x", "/fence/behind/x", "/proc/sys/kernel/hostname"]
    places += [str(CHECKOUT / "shared_lib/halfcycle/x"), "/desk/x", "/tmp/x"]
    code = f"""
import json
done = []
for place in {places!r}:
    try:
        open(place, "w").write("x")
        done.append(place)
    except OSError:
        pass
print(json.dumps(done))"""
    assert _json(warm, code) == ["/desk/x", "/tmp/x"]


def test_it_cannot_undo_the_fence(warm):
    code = """
import ctypes, json, os
libc = ctypes.CDLL(None)
done = {"umount": libc.umount2(b"/desk", 2), "mount": libc.mount(b"x", b"/tmp", b"tmpfs", 0, None),
        "remount": libc.mount(b"", b"/usr", b"", 32 | 4096, None), "trace": libc.ptrace(16, 1, 0, 0)}
for name, what in (("root", lambda: os.setuid(0) or 1 / (os.getuid() and 1 or 0)), ("kill", lambda: os.kill(1, 9) or 1 / 0)):
    try:
        what()
    except Exception as error:
        done[name] = type(error).__name__
status = dict(line.split(":\\t", 1) for line in open("/proc/self/status").read().splitlines() if ":\\t" in line)
done["rights"] = [int(status[name], 16) for name in ("CapInh", "CapPrm", "CapEff", "CapBnd", "CapAmb")]
done["more"] = status["NoNewPrivs"]
print(json.dumps(done))"""
    done = _json(warm, code)
    assert [done[name] for name in ("umount", "mount", "remount", "trace")] == [-1] * 4
    assert done["rights"] == [0] * 5
    assert done["more"] == "1"
    assert done["kill"] in ("PermissionError", "ZeroDivisionError")  # refused, or without any effect


def test_no_word_gets_out_and_none_goes_round(warm):
    """Not even the fence's own loopback is up; and a socket in the file system of this computer is not in sight."""
    with socket.create_server(("127.0.0.1", 0)) as server, socket.socket(socket.AF_UNIX) as near:
        server.settimeout(0.2)
        near.bind("\0halfcycle-warm-test")
        near.listen()
        code = f"""
import json, socket
own = socket.socket(); own.bind(("0.0.0.0", 0)); own.listen()
done = []
for family, place in ((socket.AF_INET, ("127.0.0.1", {server.getsockname()[1]})), (socket.AF_INET, ("192.0.2.1", 80)),
                      (socket.AF_INET, ("127.0.0.1", own.getsockname()[1])), (socket.AF_UNIX, "\\0halfcycle-warm-test")):
    try:
        with socket.socket(family) as one:
            one.settimeout(1)
            one.connect(place)
        done.append(str(place))
    except OSError:
        pass
print(json.dumps([done, [name for _, name in socket.if_nameindex()]]))"""
        assert _json(warm, code) == [[], ["lo"]]


def test_root_is_given_up(warm):
    if os.geteuid() == 0 and warm._process.args.count("--unshare-user") == 0:
        assert _json(warm, "import os; print(os.getuid())") > 500_000_000


@pytest.mark.parametrize(
    ("limits", "code", "said"),
    [
        ({"memory_bytes": 2**30}, "bytearray(2**30)", ""),
        ({"file_bytes": 2**20}, "f = open('/desk/x', 'wb', 0); f.write(bytes(2**20)); f.write(b'1')", "File too large"),
        ({"desk_bytes": 2**20}, "[open(f'/desk/{n}', 'wb').write(bytes(2**19)) for n in range(5)]", "No space left"),
        ({"desk_bytes": 2**20}, "[open(f'/dev/shm/{n}', 'wb').write(bytes(2**19)) for n in range(5)]", "No space left"),
        ({}, "[open(f'/tmp/{n}', 'w').close() for n in range(30_000)]", "No space left"),
        ({}, "kept = [open('/dev/null') for n in range(600)]", "Too many open files"),
    ],
)
def test_it_is_bounded(limits, code, said):
    warm = Warm(Fence(replace(Limits(), **limits)))
    result = warm.run({"who": WHO, "cells": [[0, code, "c0", False], [1, "1", "c1", False]]})
    (error,) = result["cells"]["0"]["outputs"]
    assert error["ename"] in ("OSError", "MemoryError")
    assert said in error["evalue"]
    assert result["stopped"] == ""
    warm.close()


def test_processes_are_bounded():
    warm = Warm(Fence(replace(Limits(), processes=20, memory_bytes=2**33)))  # what forks share counts for each of them
    running = 0 if os.geteuid() == 0 else fences._threads_of(os.geteuid())
    code = f"import os, time\nfor n in range({running} + 100):\n    if os.fork() == 0:\n        time.sleep(20)\n        os._exit(0)"
    said, stopped = _text(warm, code)
    assert "temporarily unavailable" in said, stopped
    assert _text(warm, "print('next')")[0] == "next\n"
    warm.close()


def test_processor_time_is_bounded():
    warm = Warm(Fence(replace(Limits(), cpu_seconds=1)))
    assert "Python ended" in _text(warm, "while True: pass")[1]
    warm.close()


@pytest.mark.parametrize(
    "code",
    [
        "hoard = bytearray(700 * 2**20)\nimport time; time.sleep(30)",
        "import os\nkept = []\nfor n in range(60):\n    kept.append(os.memfd_create('x'))\n    os.write(kept[-1], bytes(15 * 2**20))\nimport time; time.sleep(30)",
    ],
    ids=["of its own", "in files of memory"],
)
def test_memory_is_watched(code):
    """The bound on address space lies higher, so that the watch is what ends it."""
    limits = replace(Limits(), memory_bytes=500 * 2**20)
    warm = Warm(Fence(limits))
    command = warm._fence.zygote
    roomy = Fence(replace(limits, memory_bytes=4 * 2**30)).zygote
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Fence, "zygote", lambda self, number: roomy(number))
        assert "memory" in _text(warm, code)[1]
        assert _text(warm, "print('next')")[0] == "next\n"
    assert command
    warm.close()


def test_nobody_is_stopped_for_what_a_neighbour_keeps_in_memory():
    """Files in memory are nobody's: while one hoards them, the other is asked again with nobody beside it."""
    warm = Warm(Fence(replace(Limits(), memory_bytes=500 * 2**20)))
    hoard = "import os, time\nkept = []\nfor n in range(60):\n    kept.append(os.memfd_create('x'))\n    os.write(kept[-1], bytes(15 * 2**20))\ntime.sleep(30)"
    warm.start()
    with ThreadPoolExecutor(2) as threads:
        innocent = threads.submit(_text, warm, "import time; time.sleep(4); print('done')")
        hoarder = threads.submit(_text, warm, hoard)
        assert innocent.result() == ("done\n", "")
        assert "memory" in hoarder.result()[1]
    warm.close()


def test_it_ends_with_whoever_started_it(tmp_path):
    """The grading is killed outright: nothing behind the fence goes on."""
    inner = f"""
import sys, threading
from autograde.fence import fence
from autograde.warm import Warm
warm = Warm(fence())
task = {{"who": {WHO!r}, "cells": [[0, "import time, subprocess; p = subprocess.Popen(['sleep', '987.125']); time.sleep(60)", "c0", False]]}}
threading.Thread(target=warm.run, args=(task,), daemon=True).start()
import time
while warm._process is None:
    time.sleep(0.05)
print(warm._process.pid, flush=True)
time.sleep(60)"""
    with subprocess.Popen([sys.executable, "-c", inner], stdout=subprocess.PIPE, text=True) as process:
        int(process.stdout.readline())
        _wait(lambda: _sleepers())
        process.send_signal(signal.SIGKILL)
    _wait(lambda: not _sleepers())


def _sleepers():
    found = []
    for place in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            found += [place] if b"987.125" in place.read_bytes().split(b"\0")[:2] else []
        except OSError:
            continue
    return found


def _wait(so):
    for _ in range(600):
        if so():
            return
        threading.Event().wait(0.1)
    pytest.fail("it never came to that")

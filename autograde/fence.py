"""The fence: a submission's code runs behind it, and nothing of the instructor's is on the other side.

Behind the fence there is Python, `halfcycle`, the captures in ``datasets/`` and one small desk to work on, which is
also home. There is no network, no course folder, no home, no other process, no gradebook, no key, no lesson source.
Time, memory, processes and file sizes are bounded.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import halfcycle
from autograde.behind.apart import FOLDERS
from autograde.trouble import Trouble

__all__ = ["INSTALL", "Fence", "Limits", "NoFence", "fence", "why_no_fence"]

INSTALL = "sudo apt-get install bubblewrap"
DESK = "/desk"
_ROOM = Path(__file__).resolve().parent
_CHECKOUT = _ROOM.parent
_START = "/fence/start.py"
_BEHIND = "/fence/behind"
_SYSTEM = ("/usr", "/bin", "/sbin", "/lib", "/lib32", "/lib64")
_ETC = ("ld.so.cache", "ld.so.conf", "ld.so.conf.d", "localtime", "fonts", "alternatives")
_GRACE_SECONDS = 60  # for starting and ending, beyond the time a notebook may take
_FIRST_UID = 520_000_000  # far above every account; a uid of its own gives a fenced process its own process bound
_FIRST_WARM_UID, _ZYGOTES, _FORKS = 530_000_000, 4, 64  # side by side, each fork with a uid of its own
_ZYGOTE_RIGHTS = ("CAP_SYS_ADMIN", "CAP_SETPCAP")
_ZYGOTE = "import sys; sys.path.insert(0, '/fence'); from behind.zygote import main; main()"


@dataclass(frozen=True)
class Limits:
    """The bounds of one submission. Memory is address space for one process, and resident memory for all together."""

    cell_seconds: int = 30
    notebook_seconds: int = 120
    cpu_seconds: int = 90
    memory_bytes: int = 2**30
    file_bytes: int = 16 * 2**20
    desk_bytes: int = 64 * 2**20
    processes: int = 64
    output_bytes: int = 4 * 2**20


@dataclass(frozen=True)
class NoFence:
    """Bounded, with a bare environment, but with no fence: for an instructor who trusts every hand-in."""

    limits: Limits = field(default_factory=Limits)

    def command(self, inside, sockets, who):
        """Return the command line that runs the Python arguments ``inside`` for ``who``, a ``(course, learner)``."""
        folder = Path(sockets) / "desk"
        folder.mkdir(exist_ok=True)
        setting = _environment(str(folder), who)
        start = [sys.executable, str(_ROOM / "fence_start.py"), "0", *_bounds(self.limits, 0)]
        return [
            shutil.which("env") or "/usr/bin/env",
            "-i",
            "-C",
            str(folder),
            *(f"{k}={v}" for k, v in setting.items()),
            *start,
            *inside,
        ]


@dataclass(frozen=True)
class Fence:
    """A bubblewrap fence, cold (`command`) or warm (`zygote`). ``hidden`` folders stay out of sight even where they lie inside something that is shown."""

    limits: Limits = field(default_factory=Limits)
    hidden: tuple = ()

    def command(self, inside, sockets, who):
        """Return the command line that runs the Python arguments ``inside`` behind the fence for ``who``.

        ``sockets`` is the one folder that both sides can write; it holds the connection file.
        """
        uid = _FIRST_UID + os.getpid() if os.geteuid() == 0 else 0
        if uid:
            for place in (sockets, *Path(sockets).iterdir()):
                os.chown(place, uid, uid)
        sockets = str(Path(sockets).resolve())
        shown = [*_folders_above(sockets), "--bind", sockets, sockets]
        parts = [_namespaces(), self._desk(), _shown(), self._masks(), shown, ["--remount-ro", "/"]]
        parts += [["--setenv", name, value] for name, value in _environment(DESK, who).items()]
        start = [sys.executable, _START, "1", *_bounds(self.limits, uid)]
        return [*_bwrap(), *(argument for part in parts for argument in part), "--", *start, *inside]

    def zygote(self, number=0):
        """Return the command line of a warm interpreter (see `autograde.behind`); ``number`` tells those of one process apart.

        It keeps the rights that it needs to set its forks apart; they give up every one of them.
        """
        root = os.geteuid() == 0
        uid = _FIRST_WARM_UID + (os.getpid() * _ZYGOTES + number % _ZYGOTES) * _FORKS if root else 0
        rights = [argument for right in _ZYGOTE_RIGHTS for argument in ("--cap-add", right)]
        rights += [] if root else ["--uid", "0", "--gid", "0"]
        parts = [_namespaces(), rights, self._desk(), _shown(), self._masks(), ["--remount-ro", "/"]]
        parts += [["--setenv", name, value] for name, value in self.environment(("", "")).items()]
        limits = self.limits
        bounds = (uid, limits.cpu_seconds, limits.memory_bytes, limits.file_bytes, _processes(limits, uid))
        shown = [place for place in _places() if any(Path(place).is_relative_to(folder) for folder in FOLDERS)]
        start = [sys.executable, "-c", _ZYGOTE, DESK, *map(str, (*bounds, limits.desk_bytes)), *shown]
        return [*_bwrap(), *(argument for part in parts for argument in part), "--", *start]

    def environment(self, who):
        """Return the environment that the code of ``who``, a ``(course, learner)``, finds behind this fence."""
        return _environment(DESK, who)

    def _masks(self):
        shown = [Path(place) for place in _places()]
        hidden = [Path(place).resolve() for place in (_ROOM, _CHECKOUT / "lessons", *self.hidden)]
        covered = [place for place in hidden if any(place.is_relative_to(tree) for tree in shown) and place.is_dir()]
        return [argument for place in covered for argument in ("--tmpfs", str(place))]

    def _desk(self):
        size = str(self.limits.desk_bytes)
        places = ("/tmp", "/dev/shm", DESK)
        made = [argument for place in places for argument in ("--perms", "1777", "--size", size, "--tmpfs", place)]
        start = [*_folders_above(f"{_BEHIND}/any"), "--ro-bind", str(_ROOM / "fence_start.py"), _START]
        start += ["--ro-bind", str(_ROOM / "behind"), _BEHIND]
        return ["--proc", "/proc", "--dev", "/dev", *made, "--remount-ro", "/dev", *start, "--chdir", DESK]


def fence(*, unfenced=False, hidden=(), limits=None):
    """Return the fence of this computer, or a `NoFence` when the instructor asked for none; one sentence when there is none."""
    limits = limits or Limits()
    if unfenced:
        return NoFence(limits)
    if trouble := why_no_fence():
        raise Trouble(trouble)
    return Fence(limits, tuple(str(place) for place in hidden))


def why_no_fence():
    """Return one sentence saying why no submission can be fenced here, or "" when it can."""
    otherwise = "or use --unfenced if you trust every hand-in"
    if shutil.which("bwrap") is None:
        return f"Hand-ins run behind a bubblewrap fence, which is not installed: {INSTALL}, {otherwise}."
    trial = [
        "bwrap",
        *_namespaces(),
        "--proc",
        "/proc",
        "--dev",
        "/dev",
        *_shown(),
        "--",
        sys.executable,
        "-I",
        "-c",
        "",
    ]
    done = subprocess.run(trial, capture_output=True, text=True, check=False, timeout=60)
    if done.returncode == 0:
        return ""
    said = done.stderr.strip().splitlines()[-1:] or ["no reason given"]
    return f"This computer does not let bubblewrap fence a hand-in ({said[0]}); allow user namespaces, {otherwise}."


def _bwrap():
    """Bubblewrap with an empty environment: its own process is to be seen behind the fence, with all that it was given."""
    return [shutil.which("env") or "/usr/bin/env", "-i", shutil.which("bwrap") or "bwrap"]


def _namespaces():
    """As root the capability to become nobody is kept until the start; anyone else gets a user namespace."""
    apart = ["--unshare-net", "--unshare-pid", "--unshare-ipc", "--unshare-uts", "--unshare-cgroup-try"]
    rights = ["--cap-drop", "ALL"]
    if os.geteuid() == 0:
        rights += ["--cap-add", "CAP_SETUID", "--cap-add", "CAP_SETGID"]
    else:
        apart += ["--unshare-user"]
    return [*apart, *rights, "--hostname", "fence", "--die-with-parent", "--new-session", "--clearenv"]


def _places():
    """The trees of the instructor's computer that are shown, read-only."""
    package = Path(halfcycle.__file__).resolve().parent
    python = {Path(sys.prefix), Path(sys.base_prefix), Path(os.path.realpath(sys.executable)).parents[1]}
    shown = [*_SYSTEM, *sorted(map(str, python)), str(package), str(_CHECKOUT / "datasets")]
    return [place for place in shown if os.path.exists(place)]


def _shown():
    arguments = _folders_above("/etc/any")
    for place in _places():
        link = os.path.islink(place) and place in _SYSTEM
        shown = ["--symlink", os.readlink(place), place] if link else ["--ro-bind", place, place]
        arguments += [*_folders_above(place), *shown]
    for name in _ETC:
        arguments += ["--ro-bind-try", f"/etc/{name}", f"/etc/{name}"]
    return arguments


def _folders_above(place):
    """Make the folders above ``place`` passable: left alone, bubblewrap makes them for its own user only."""
    above = [str(folder) for folder in reversed(Path(place).parents) if str(folder) != "/"]
    return [argument for folder in above for argument in ("--perms", "0755", "--dir", folder)]


def _environment(desk, who):
    """Everything the code behind the fence finds in its environment; the place of a submission says who."""
    course, learner = who
    return {
        "PATH": os.pathsep.join((str(Path(sys.executable).parent), "/usr/bin", "/bin")),
        "HOME": desk,
        "TMPDIR": "/tmp",
        "LANG": "C.UTF-8",
        "MPLCONFIGDIR": f"{desk}/.matplotlib",
        "IPYTHONDIR": f"{desk}/.ipython",
        "PYTHONNOUSERSITE": "1",
        "PYTHONDONTWRITEBYTECODE": "1",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "HALFCYCLE_COURSE": course,
        "HALFCYCLE_LEARNER": learner,
    }


def _bounds(limits, uid):
    """The arguments of ``fence_start.py``. Its process bound counts from those this account runs already."""
    seconds = limits.notebook_seconds + _GRACE_SECONDS
    bounds = (limits.cpu_seconds, limits.memory_bytes, limits.file_bytes, _processes(limits, uid))
    return [str(n) for n in (uid, seconds, *bounds)]


def _processes(limits, uid):
    return limits.processes + (0 if uid else _threads_of(os.geteuid()))


def _threads_of(uid):
    count = 0
    for status in Path("/proc").glob("[0-9]*/task"):
        try:
            count += len(os.listdir(status)) if status.stat().st_uid == uid else 0
        except OSError:  # it ended while we looked
            continue
    return count

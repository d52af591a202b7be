"""A computer of its own for a hub: other users, other files, the same loopback address, gone without a trace at the end.

Mounts and processes live in namespaces that begin with one `unshare` and end with it; this needs root.
"""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIRST_ID, PATIENCE = 61_000, 300
_COPIED = ("autograde", "datasets", "lessons", "shared_lib", "README.md", "pyproject.toml", "uv.lock")

_LOADED = """
import importlib
for name in (
    "jupyterhub.app", "jupyterhub.singleuser.extension", "jupyterlab.labapp", "jupyter_lsp", "nbgrader.apps",
    "nbgrader.server_extensions.formgrader", "nbgrader.server_extensions.assignment_list", "ipykernel.kernelapp",
    "halfcycle.lesson", "halfcycle.benches", "terminado", "jupyter_server_terminals",
    "matplotlib.pyplot", "distributed.cli.dask_worker", "distributed.cli.dask_scheduler",
    "autograde.commands", "autograde.hub.exchange", "autograde.cluster", "autograde.early",
):
    try:
        importlib.import_module(name)
    except ImportError:
        pass
"""


def free_port():
    """A port of the loopback address that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def run(command, **options):
    """Run ``command`` and return what it printed; whatever it complained of when it failed."""
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, timeout=PATIENCE, **options)
    assert done.returncode == 0, f"{command}: {done.stdout}\n{done.stderr}"
    return done.stdout


def _take_compiled(environment):
    """Link what this environment has compiled into another one that holds the same packages; Python looks whether it fits."""
    for folder in Path(sys.prefix).glob("lib/python*/site-packages/**/__pycache__"):
        there = environment / folder.relative_to(sys.prefix)
        if there.parent.is_dir():
            there.mkdir(exist_ok=True)
            for file in folder.iterdir():
                if not (there / file.name).exists():
                    os.link(file, there / file.name)


class Machine:
    """``users`` with homes of their own; of the groups in ``groups`` (``{group: members}``)."""

    def __init__(self, users, groups):
        self.place = Path(tempfile.mkdtemp(prefix="hc-", dir="/tmp"))
        self.place.chmod(0o755)
        self.ids = {name: FIRST_ID + at for at, name in enumerate((*users, *groups))}
        self.homes = {name: self.place / "homes" / name for name in users}
        self._names(users, groups)
        for name, home in self.homes.items():
            home.mkdir(parents=True)
            os.chown(home, self.ids[name], self.ids[name])
        self._process, self._logs = None, []

    def __enter__(self):
        script = ["set -e", *self._mounts(), "echo ready", "exec cat"]
        command = ["unshare", "--mount", "--pid", "--fork", "--mount-proc", "sh", "-c", "\n".join(script)]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout.readline() == "ready\n", "no namespaces; the hub's tests need root"
        self._inside = Path(f"/proc/{self._process.pid}/task/{self._process.pid}/children").read_text().split()[0]
        return self

    def __exit__(self, *_):
        self._process.stdin.close()  # the first process ends, and every other of its namespace with it
        self._process.wait(timeout=PATIENCE)
        self._process.stdout.close()
        for log in self._logs:
            log.close()
        shutil.rmtree(self.place, ignore_errors=True)

    def command(self, name, *parts):
        """The command ``parts`` as the user ``name`` on this computer, with a plain environment."""
        home = self.homes.get(name, self.place)
        plain = ["env", "-i", "PATH=/usr/local/bin:/usr/bin:/bin", f"HOME={home}", "LANG=C.UTF-8"]
        inside = ["nsenter", "--target", self._inside, "--mount", "--pid", f"--wd={home}"]
        who = (
            ["setpriv", f"--reuid={self.ids[name]}", f"--regid={self.ids[name]}", "--init-groups"]
            if name != "root"
            else []
        )
        return [str(part) for part in (*inside, *who, *plain, "sh", "-c", 'umask 007; exec "$0" "$@"', *parts)]

    def run(self, name, *parts):
        """Run it and return what it printed."""
        return run(self.command(name, *parts))

    def start(self, name, *parts):
        """Start it, with its output in the file ``PROGRAM.log`` of ``place``."""
        self._logs.append(open(self.place / f"{Path(parts[0]).name}-{len(self._logs)}.log", "wb"))  # noqa: SIM115
        return subprocess.Popen(
            self.command(name, *parts), stdin=subprocess.DEVNULL, stdout=self._logs[-1], stderr=self._logs[-1]
        )

    def logs(self):
        """What everything that was started has said."""
        return "\n".join(path.read_text(errors="replace") for path in sorted(self.place.glob("*.log")))

    def install(self, room, learners):
        """Copy the checkout to ``room`` and make the environments of instructors and of ``learners``, as README.md in autograde/hub says."""
        for name in _COPIED:
            leave = shutil.ignore_patterns("__pycache__", ".ipynb_checkpoints")
            (shutil.copytree if (ROOT / name).is_dir() else shutil.copy)(
                ROOT / name, room / name, **({"ignore": leave} if (ROOT / name).is_dir() else {})
            )
        uv, python = os.environ.get("UV") or shutil.which("uv"), Path(sys._base_executable).resolve()
        sync = [uv, "sync", "--project", room, "--frozen", "--no-dev", "--quiet", "--python", python]
        own = {name: text for name, text in os.environ.items() if not name.startswith(("VIRTUAL_ENV", "UV_PROJECT"))}
        run([*sync, "--package", "halfcycle-autograde", "--extra", "hub", "--extra", "cluster"], env=own)
        run([*sync, "--no-editable", "--group", "hub"], env={**own, "UV_PROJECT_ENVIRONMENT": str(learners)})
        for place in (room / ".venv", learners):
            _take_compiled(place)
        # users cannot keep compiled modules there, and would compile again at every start
        warm = [subprocess.Popen([place / "bin/python", "-c", _LOADED]) for place in (room / ".venv", learners)]
        assert [process.wait(timeout=PATIENCE) for process in warm] == [0, 0]

    def _names(self, users, groups):
        """The names of this computer's users and groups, in files that are put over its own."""
        people = [f"{name}:x:{self.ids[name]}:{self.ids[name]}::{self.homes[name]}:/bin/sh" for name in users]
        own = [f"{name}:x:{self.ids[name]}:" for name in users]
        for group, members in groups.items():
            own.append(f"{group}:x:{self.ids[group]}:{','.join(members)}")
        for file, lines in (("passwd", people), ("group", own)):
            text = Path("/etc", file).read_text() + "\n".join(lines) + "\n"
            (self.place / file).write_text(text)
            (self.place / file).chmod(0o644)

    def _mounts(self):
        """The names; nothing of the real checkout; and Python, where it lies in a folder that only root may enter."""
        yield from (f"mount --bind {self.place / file} /etc/{file}" for file in ("passwd", "group"))
        base = Path(sys.base_prefix).resolve()
        closed = [folder for folder in reversed(base.parents) if not folder.stat().st_mode & 0o001]
        if closed:
            (self.place / "python").mkdir()
            yield f"mount --bind {base} {self.place / 'python'}"
            yield f"mount -t tmpfs -o mode=755 none {closed[0]}"
            yield f"mkdir -p {base} && mount --bind {self.place / 'python'} {base}"
        yield f"[ ! -d {ROOT} ] || mount -t tmpfs -o mode=700 none {ROOT}"

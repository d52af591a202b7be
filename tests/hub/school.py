"""A school's hub as README.md in autograde/hub sets it up: one instructor, two learners, a Dask cluster beside it."""

import json
import os
import shutil
import signal
import time
import urllib.request
from pathlib import Path

from machine import Machine, free_port, run

PROXY = "configurable-http-proxy@>=4.6 <6"
COURSE, LESSON, PASSWORD = "fennel-street", "00_before_you_open_the_panel", "for this test only"
INSTRUCTOR, LEARNERS = "rowan", ("amara", "bo")
PATIENCE_SECONDS = 120


class School:
    """The machine with everything on it; ``address`` is the hub's, ``cluster`` the Dask scheduler's."""

    def __init__(self, proxy):
        self.machine = Machine((INSTRUCTOR, *LEARNERS), {"instructors": [INSTRUCTOR]})
        self.site, self.room = self.machine.place / "site", self.machine.place / "room"
        self.course, self.programs = self.site / "course", self.room / ".venv" / "bin"
        self.port, self.hub_port, self.proxy_port, self._proxy = free_port(), free_port(), free_port(), proxy
        self.address, self.started = f"http://127.0.0.1:{self.port}", []

    def __enter__(self):
        for folder, mode, user in (
            (self.room, 0o750, "root"),
            (self.site, 0o755, "root"),
            (self.course, 0o2770, INSTRUCTOR),
        ):
            folder.mkdir()
            os.chown(folder, self.machine.ids.get(user, 0), self.machine.ids["instructors"])
            folder.chmod(mode)
        self.machine.install(self.room, self.site / "learners")
        self.machine.__enter__()
        try:
            self._open()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        for process in reversed(self.started):
            process.send_signal(signal.SIGTERM)
        self.machine.__exit__()
        for process in self.started:
            process.wait(timeout=PATIENCE_SECONDS)

    def autograde(self, command, *options):
        """Run the instructor's ``command`` on the course."""
        return self.machine.run(INSTRUCTOR, self.programs / "autograde", command, self.course, *options)

    @property
    def inbound(self):
        """Where hand-ins arrive."""
        return self.site / "exchange" / COURSE / "inbound"

    def environment(self, pid):
        """The environment of the process ``pid`` of the machine, as root reads it."""
        text = self.machine.run("root", "cat", f"/proc/{pid}/environ")
        return dict(entry.split("=", 1) for entry in text.split("\0") if "=" in entry)

    def routes(self, token):
        """The proxy's table of routes, asked for with its ``token``."""
        own = {"Authorization": f"token {token}"}
        request = urllib.request.Request(f"http://127.0.0.1:{self.proxy_port}/api/routes", headers=own)
        with urllib.request.urlopen(request, timeout=PATIENCE_SECONDS) as answer:
            return json.load(answer)

    def _open(self):
        self.cluster = self._start_cluster()
        roster = self.machine.homes[INSTRUCTOR] / "roster.csv"
        roster.write_text("id,first,last\namara,Amara,Okafor\nbo,Bo,Lindqvist\n", encoding="utf-8")
        self.autograde("new", "--name", COURSE, "--exchange", self.site / "exchange")
        self.autograde("enrol", roster)
        self.autograde("release", "--lesson", LESSON[:2])
        self._start_hub()
        self.autograde("hand-out")

    def _start_cluster(self):
        file, python = self.course.parent / "scheduler.json", self.programs / "python"
        common = ("--host", "127.0.0.1", "--no-dashboard")
        dask = (python, "-m", "distributed.cli.dask_scheduler")
        self.started.append(self.machine.start("root", *dask, *common, "--port", 0, "--scheduler-file", file))
        _until(lambda: file.exists() and file.read_text().endswith("}"), self.machine)
        address = json.loads(file.read_text(encoding="utf-8"))["address"]
        worker = (python, "-m", "distributed.cli.dask_worker", address, "--nthreads", 1, "--no-nanny")
        options = ("--local-directory", self.machine.homes[INSTRUCTOR] / "dask")
        self.started += [self.machine.start(INSTRUCTOR, *worker, *common, *options) for _ in range(2)]
        return address

    def _start_hub(self):
        config = self.room / "autograde" / "hub" / "jupyterhub_config.py"
        options = {
            "JupyterHub.authenticator_class": "dummy",
            "DummyAuthenticator.password": PASSWORD,
            "JupyterHub.bind_url": self.address,
            "JupyterHub.hub_port": self.hub_port,
            "ConfigurableHTTPProxy.api_url": f"http://127.0.0.1:{self.proxy_port}",
        }
        path = f"PATH={self._proxy}:{self.programs}:/usr/local/bin:/usr/bin:/bin"
        own = ("env", f"HALFCYCLE_SITE={self.site}", path, f"--chdir={self.site}", self.programs / "jupyterhub")
        words = [f"--{name}={value}" for name, value in options.items()]
        self.started.append(self.machine.start("root", *own, "-f", config, *words))
        _until(self._answers, self.machine)
        for file in (self.site / "settings").glob("*/config/jupyter_lab_config.json"):
            found = json.loads(file.read_text(encoding="utf-8"))
            found["LabApp"]["expose_app_in_browser"] = True  # so that a test can ask whether a kernel is connected
            file.write_text(json.dumps(found), encoding="utf-8")

    def _answers(self):
        try:
            with urllib.request.urlopen(f"{self.address}/hub/health", timeout=5) as page:
                return page.status == 200
        except OSError:
            return False


def proxy(folder):
    """The folder of programs with the proxy from npm, installed under ``folder``."""
    npm = shutil.which("npm")
    assert npm, "npm is missing; install it with: sudo apt-get install -y --no-install-recommends npm"
    run([npm, "install", "--prefix", folder, "--no-save", "--no-audit", "--no-fund", "--ignore-scripts", PROXY])
    return Path(folder, "node_modules", ".bin")


def _until(true, machine):
    end = time.monotonic() + PATIENCE_SECONDS
    while not true():
        assert time.monotonic() < end, f"it does not start:\n{machine.logs()}"
        time.sleep(0.1)

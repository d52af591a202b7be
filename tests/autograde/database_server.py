"""A PostgreSQL server of its own for a test: Debian's binaries, a temporary folder, loopback only, gone afterwards."""

import contextlib
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import psycopg

__all__ = ["BOUND", "Server", "running"]

BOUND = "2s"  # the server's log names every wait for a lock that lasts longer
USER, PASSWORD, LONGEST_S = "dana", "copper and a pair of pliers", "900"
SETTINGS = {
    "listen_addresses": "127.0.0.1",
    "unix_socket_directories": "",
    "fsync": "off",
    "log_lock_waits": "on",
    "deadlock_timeout": BOUND,
}


def _programs():
    """The folder with initdb; the newest of Debian's, which are on nobody's PATH."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    program = found[-1] if found else shutil.which("initdb")
    assert program, "PostgreSQL is missing; install it with: sudo apt-get install -y --no-install-recommends postgresql"
    return Path(program).parent


def _as_whom():
    """PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        with contextlib.suppress(KeyError):
            found = pwd.getpwnam(name)
            return {"user": found.pw_uid, "group": found.pw_gid, "extra_groups": []}
    raise AssertionError("there is no user but root to run PostgreSQL as")


@dataclass(frozen=True)
class Server:
    """A running server: its ``folder`` (data, log, password file) and its ``port`` on loopback."""

    folder: Path
    port: int

    def address(self, name):
        """The address of the database ``name``, without a password."""
        return f"postgresql://{USER}@127.0.0.1:{self.port}/{name}"

    def create(self, name, like="template1"):
        """Make a database, empty or a copy of another that nobody uses; return its address."""
        with self.connect() as server:
            server.execute(f"CREATE DATABASE {name} TEMPLATE {like}")
        return self.address(name)

    def connect(self, name="postgres"):
        """A psycopg connection to it, each statement a transaction of its own."""
        return psycopg.connect(self.address(name), password=PASSWORD, autocommit=True)

    def log(self):
        """What the server has said so far."""
        return (self.folder / "log").read_text(encoding="utf-8")


@contextlib.contextmanager
def running():
    """A `Server` with a password file for libpq in the environment; its letters are sorted as people do, not by their bytes."""
    folder, programs, whom = Path(tempfile.mkdtemp(prefix="fennel-")), _programs(), _as_whom()
    (folder / "password").write_text(PASSWORD)
    for path in (folder, folder / "password"):
        os.chown(path, whom.get("user", -1), whom.get("group", -1))
    how = ("--auth=scram-sha-256", f"--pwfile={folder / 'password'}", "--encoding=UTF8", "--locale=C.UTF-8")
    sorting = ("--locale-provider=icu", "--icu-locale=en-US")
    made = [programs / "initdb", "-D", folder / "data", "-U", USER, "--no-sync", *how, *sorting]
    try:
        subprocess.run(made, check=True, stdout=subprocess.DEVNULL, cwd=folder, **whom)
        with _started(folder, programs, whom) as server:
            yield server
    finally:
        shutil.rmtree(folder)


@contextlib.contextmanager
def _started(folder, programs, whom):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        server = Server(folder, probe.getsockname()[1])
    settings = [f"--{name}={value}" for name, value in SETTINGS.items()]
    command = ["timeout", "-s", "INT", LONGEST_S, programs / "postgres", "-D", folder / "data", "-p", str(server.port)]
    secret = folder / "pgpass"
    secret.write_text(f"127.0.0.1:{server.port}:*:{USER}:{PASSWORD}\n")
    secret.chmod(0o600)
    old = os.environ.get("PGPASSFILE")
    with (
        (folder / "log").open("wb") as log,
        subprocess.Popen([*command, *settings], stdout=log, stderr=log, cwd=folder, **whom) as process,
    ):
        os.environ["PGPASSFILE"] = str(secret)
        try:
            _wait(server, process)
            yield server
        finally:
            process.send_signal(2)
            os.environ.pop("PGPASSFILE")
            if old is not None:
                os.environ["PGPASSFILE"] = old


def _wait(server, process):
    until = time.monotonic() + 60
    while True:
        try:
            return server.connect().close()
        except psycopg.OperationalError:
            assert process.poll() is None and time.monotonic() < until, server.log()
            time.sleep(0.05)

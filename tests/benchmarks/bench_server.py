"""What one learner at work takes of a hub's memory: JupyterLab with one kernel in which a lesson has been run.

    uv run python tests/benchmarks/bench_server.py [--lessons 01,07] [--side-by-side 3] [--write FILE]

Servers run side by side on the loopback address, so that what they share (programs, libraries) counts once, as it does
on a hub. Written are the proportional memory (PSS) of a server and of its kernel, before and after the lesson, and the
processor time that opening and running the lesson took.
"""

import argparse
import contextlib
import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from pathlib import Path

import nbformat
import websocket
from bench_grading import family, pss

from autograde import release

_PATIENCE = 120


class Server:
    """One learner's JupyterLab in a folder of its own; use it as a context manager."""

    def __init__(self, home):
        self.token = secrets.token_hex(16)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        setting = {
            **os.environ,
            "JUPYTER_TOKEN": self.token,
            "HALFCYCLE_LEARNER": home.name,
            "HOME": str(home),
            "JUPYTER_CONFIG_DIR": str(home / "config"),
        }
        command = [sys.executable, "-m", "jupyter", "lab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={self.port}"]  # fmt: skip
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.process = subprocess.Popen(command, cwd=home, env=setting, **quiet)

    def __enter__(self):
        ends = time.monotonic() + _PATIENCE
        while True:
            try:
                return self.ask("api/status") and self
            except OSError:
                if time.monotonic() > ends:
                    raise
                time.sleep(0.2)

    def __exit__(self, *_):
        with contextlib.suppress(OSError):
            self.ask("api/shutdown", {})
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()

    def ask(self, place, data=None):
        """Ask the server's REST address ``place``."""
        headers = {"Authorization": f"token {self.token}", "Content-Type": "application/json"}
        body = None if data is None else json.dumps(data).encode()
        asked = urllib.request.Request(f"http://127.0.0.1:{self.port}/{place}", data=body, headers=headers)
        with urllib.request.urlopen(asked, timeout=30) as answer:
            return json.loads(answer.read() or b"null")

    def run(self, sources):
        """Run ``sources`` in a new kernel, one cell after another, as a browser would."""
        kernel = self.ask("api/kernels", {"name": "python3"})["id"]
        place = f"ws://127.0.0.1:{self.port}/api/kernels/{kernel}/channels?token={self.token}"
        wire = websocket.create_connection(place, timeout=_PATIENCE)
        for source in sources:
            _cell(wire, source)
        wire.close()

    def memory(self):
        """Return the bytes of the server itself and of all that it started (its kernels)."""
        own, *below = map(pss, family(self.process.pid))
        return own, sum(below)


def _cell(wire, source):
    ident = uuid.uuid4().hex
    header = {"msg_id": ident, "msg_type": "execute_request", "username": "", "session": ident, "version": "5.3"}
    content = {"code": source, "silent": False, "store_history": True, "user_expressions": {}, "allow_stdin": False}
    wire.send(
        json.dumps({"header": header, "parent_header": {}, "metadata": {}, "content": content, "channel": "shell"})
    )
    while True:
        told = json.loads(wire.recv())
        if told["parent_header"].get("msg_id") == ident and told["msg_type"] == "execute_reply":
            return


def _cpu(pid):
    ticks = 0
    for one in family(pid):
        with contextlib.suppress(OSError):
            ticks += sum(map(int, Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()[11:15]))
    return ticks / os.sysconf("SC_CLK_TCK")


def measured(lesson, count):
    """The figures of ``lesson`` as means over ``count`` servers side by side."""
    path = next(iter((Path(release.__file__).parents[1] / "lessons").glob(f"{lesson}_*/{lesson}_*.ipynb")))
    sources = [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]
    with tempfile.TemporaryDirectory() as place, contextlib.ExitStack() as stack:
        homes = [Path(place, f"apprentice-{number}") for number in range(count)]
        for home in homes:
            home.mkdir()
        servers = [stack.enter_context(Server(home)) for home in homes]
        empty = [one.memory()[0] for one in servers]
        cpu = [_cpu(one.process.pid) for one in servers]
        for one in servers:
            one.run(sources)
        spent = [_cpu(one.process.pid) - before for one, before in zip(servers, cpu, strict=True)]
        after = [one.memory() for one in servers]
    return {
        "server before, bytes": sum(empty) // count,
        "server, bytes": sum(server for server, _ in after) // count,
        "kernel, bytes": sum(kernel for _, kernel in after) // count,
        "cpu seconds": round(sum(spent) / count, 2),
        "side by side": count,
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--lessons", default="01,07")
    parser.add_argument("--side-by-side", type=int, default=3)
    parser.add_argument("--write", type=Path)
    args = parser.parse_args()
    found = {lesson: measured(lesson, args.side_by_side) for lesson in args.lessons.split(",")}
    for lesson, one in found.items():
        megabytes = {name: f"{value / 2**20:.0f} MB" if "bytes" in name else value for name, value in one.items()}
        print(f"lesson {lesson}: {megabytes}")
    if args.write:
        args.write.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()

"""Hand marking in nbgrader's own page: its server, started on this computer alone."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from autograde.trouble import Trouble, reason

__all__ = ["LOOPBACK", "formgrader"]

LOOPBACK = "127.0.0.1"
_PATIENCE_S = 60


def _port(wanted: int) -> int:
    """``wanted``, or any free port for 0; a port that is taken is one sentence."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOOPBACK, wanted))
        except (OSError, OverflowError) as error:
            why = reason(error) if isinstance(error, OSError) else "no such port"
            raise Trouble(
                f"Port {wanted} cannot be used ({why}); give another with --port, or leave it out."
            ) from error
        return probe.getsockname()[1]


def _command(course: Path, port: int) -> list[str]:
    options = {
        "ip": LOOPBACK,
        "port": port,
        "port_retries": 0,
        "open_browser": False,
        "root_dir": str(course),
        "log_level": "ERROR",
        "allow_root": True,
    }
    return [sys.executable, "-m", "jupyterlab", *(f"--ServerApp.{name}={value}" for name, value in options.items())]


def _answers(address: str) -> bool:
    try:
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(address, timeout=5) as page:
            return page.status == 200
    except (OSError, urllib.error.URLError):
        return False


def _wait(server: subprocess.Popen, address: str, course: Path) -> None:
    until = time.monotonic() + _PATIENCE_S
    while not _answers(address):
        if server.poll() is not None or time.monotonic() > until:
            raise Trouble(
                f"The marking page of {course} did not start; run “nbgrader db upgrade” in that folder and try again."
            )
        time.sleep(0.2)


@contextlib.contextmanager
def formgrader(course: Path, port: int = 0) -> Iterator[tuple[subprocess.Popen, str]]:
    """nbgrader's formgrader on ``course``, as ``(process, address)``; it is stopped on the way out."""
    course, port, token = course.resolve(), _port(port), secrets.token_urlsafe(24)
    address = f"http://{LOOPBACK}:{port}/formgrader?token={token}"
    server = subprocess.Popen(
        _command(course, port),
        cwd=course,
        env=os.environ | {"JUPYTER_TOKEN": token},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait(server, address, course)
        yield server, address
    finally:
        server.terminate()
        try:
            server.wait(timeout=10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()

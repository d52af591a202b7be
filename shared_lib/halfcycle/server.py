"""JupyterLab on a learner's folder: this computer only, no network, only what a lesson needs on the screen."""

import contextlib
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from pathlib import Path
from urllib.parse import quote

from halfcycle.trouble import Trouble, reason

__all__ = ["run", "write_settings"]

HOST = "127.0.0.1"
_FIRST_PORT, _LAST_PORT = 8888, 8987
_READY_SECONDS = 120
_SWITCHED_OFF = (
    "@jupyter-notebook/lab-extension",
    "@jupyter/nbgrader",
    "@jupyterlab/apputils-extension:announcements",
    "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
    "@jupyterlab/fileeditor-extension:language-server",
    "@jupyterlab/lsp-extension",
    "@jupyterlab/notebook-extension:language-server",
    "@jupyterlab/terminal-extension",
    "@voila-dashboards/jupyterlab-preview",
)
_SERVER_PARTS_OFF = ("assignment_list", "course_list", "formgrader", "validate_assignment")
_SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {"checkForUpdates": False, "fetchNews": "false"},
    "@jupyterlab/docmanager-extension:plugin": {"autosave": True, "autosaveInterval": 15},
    "@jupyterlab/notebook-extension:tracker": {"autoStartDefaultKernel": True, "kernelShutdown": True},
}


def run(folder, *, start, port=None, open_browser=True):
    """Serve ``folder`` until Ctrl-C or a signal ends it; ``start`` is the notebook to open. Return the exit code."""
    folder = Path(folder).resolve()
    if there := _already_serving(folder):
        _show(*there, start, "It is open already, from another window; that window ends it.", open_browser)
        return 0
    port, token = _free_port(port), secrets.token_hex(24)
    with _log(folder) as log, _serving(folder, port, token, log) as server:
        _wait_until_ready(server, port, log)
        _show(port, token, start, "Ctrl-C here ends it.", open_browser)
        with contextlib.suppress(KeyboardInterrupt):
            if server.wait() != 0:
                raise Trouble(f"JupyterLab ended by itself; the reason stands at the end of {log.name}.")
    return 0


def _show(port, token, start, how_it_ends, open_browser):
    address = f"http://{HOST}:{port}/lab/tree/{quote(start)}?token={token}"
    print(f"Open this address in a browser on this computer:\n\n    {address}\n\n{how_it_ends}", flush=True)
    if open_browser:
        webbrowser.open(address)


def _already_serving(folder):
    """Port and token of the server that has this folder open, or None: two would write over each other's notebooks."""
    try:
        there = json.loads(_whereabouts(folder).read_text(encoding="utf-8"))
        port, token = int(there["port"]), str(there["token"])
        ask = urllib.request.Request(f"http://{HOST}:{port}/api/status", headers={"Authorization": f"token {token}"})
        with urllib.request.urlopen(ask, timeout=5):
            return port, token
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _whereabouts(folder):
    return folder / ".halfcycle" / "server.json"


@contextlib.contextmanager
def _log(folder):
    try:
        write_settings(folder / ".halfcycle")
        file = open(folder / ".halfcycle" / "server.log", "w", encoding="utf-8")  # noqa: SIM115 (closed below)
    except OSError as error:
        raise Trouble(
            f"The folder {folder} cannot be written ({reason(error)}); make it writable, or name another folder."
        ) from error
    with file:
        yield file


@contextlib.contextmanager
def _serving(folder, port, token, log):
    """The server as a process of its own, ended whatever ends this one (a closed terminal sends a signal, too)."""
    ended = signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    server = subprocess.Popen(
        _command(folder, port),
        env=_environment(folder, token),
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=log,
        cwd=folder,
    )
    whereabouts = _whereabouts(folder)
    whereabouts.touch(mode=0o600)  # the token in it is for this account only
    whereabouts.write_text(json.dumps({"port": port, "token": token}), encoding="utf-8")
    try:
        yield server
    finally:
        whereabouts.unlink(missing_ok=True)
        server.terminate()
        try:
            server.wait(timeout=10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()
        signal.signal(signal.SIGTERM, ended)


def _command(folder, port):
    own = folder / ".halfcycle"
    options = {
        "ServerApp.ip": HOST,
        "ServerApp.port": port,
        "ServerApp.port_retries": 0,
        "ServerApp.open_browser": False,
        "ServerApp.answer_yes": True,
        "ServerApp.root_dir": folder,
        "ServerApp.terminals_enabled": False,
        "ServerApp.allow_root": True,
        "LabApp.app_settings_dir": own / "settings",
        "LabApp.user_settings_dir": own / "user-settings",
        "LabApp.workspaces_dir": own / "workspaces",
        "LabApp.check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
        "LabApp.extension_manager": "readonly",
    }
    return [sys.executable, "-m", "jupyterlab", *(f"--{name}={value}" for name, value in options.items())]


def _environment(folder, token):
    """This computer's environment, with the course's own Jupyter settings before any other and its programs found first."""
    config = str(folder / ".halfcycle" / "config")
    programs = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)])
    own = {"JUPYTER_CONFIG_DIR": config, "JUPYTER_CONFIG_PATH": config, "JUPYTER_TOKEN": token, "PATH": programs}
    kept = {name: text for name, text in os.environ.items() if not name.startswith("HALFCYCLE_")}  # the folder says who
    return {**kept, **own, "JUPYTER_PREFER_ENV_PATH": "1"}


def write_settings(own, *, stay_on=(), off_too=()):
    """Write the course's Jupyter settings into the folder ``own`` (``config/`` and ``settings/``).

    ``stay_on`` names what is not to be switched off as it is in a learner's own folder (parts of JupyterLab, and of
    nbgrader's server), ``off_too`` what JupyterLab is to leave out besides.
    """
    off = {f"nbgrader.server_extensions.{part}": False for part in _SERVER_PARTS_OFF if part not in stay_on}
    parts = [part for part in (*_SWITCHED_OFF, *off_too) if part not in stay_on]
    files = {
        "config/jupyter_server_config.json": {
            "ServerApp": {
                "jpserver_extensions": {**off, "voila.server_extension": False, "jupyter_lsp": False, "notebook": False}
            }
        },
        "config/labconfig/page_config.json": {"disabledExtensions": dict.fromkeys(parts, True)},
        "settings/overrides.json": _SETTINGS,
    }
    for name, content in files.items():
        (own / name).parent.mkdir(parents=True, exist_ok=True)
        (own / name).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def _free_port(wanted):
    if wanted is not None and not 1 <= wanted <= 65535:
        raise Trouble(f"{wanted} is no port; use a number from 1024 to 65535, or leave --port out.")
    for port in [wanted] if wanted else range(_FIRST_PORT, _LAST_PORT + 1):
        with socket.socket() as probe:
            if os.name != "nt":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with contextlib.suppress(OSError):
                probe.bind((HOST, port))
                return port
    if wanted:
        raise Trouble(
            f"Port {wanted} is in use or not allowed on this computer; name another with --port, or leave --port out."
        )
    raise Trouble(
        f"All ports from {_FIRST_PORT} to {_LAST_PORT} are in use; end a program that uses one, or name another with --port."
    )


def _wait_until_ready(server, port, log):
    for _ in range(_READY_SECONDS * 5):
        if server.poll() is not None:
            break
        with (
            contextlib.suppress(OSError, urllib.error.URLError),
            urllib.request.urlopen(f"http://{HOST}:{port}/api", timeout=5),
        ):
            return
        time.sleep(0.2)
    raise Trouble(f"JupyterLab did not start; the reason stands at the end of {log.name}.")

"""JupyterHub's configuration for the course: who gets a server, in which environment, as whom."""

from __future__ import annotations

import json
import os
import pwd
import sys
from pathlib import Path

from tornado import web

from autograde import course as courses
from autograde.files import write_whole
from autograde.hub.site import Site
from autograde.roster import learners
from halfcycle.server import write_settings

__all__ = ["configure"]

_NBGRADER = "@jupyter/nbgrader"
_STAY_ON = {
    "learner": (_NBGRADER, "assignment_list"),
    "instructor": ("formgrader", "@jupyterlab/terminal-extension"),
}
_OFF_TOO = {
    "learner": ("course-list", "create-assignment", "formgrader", "validate-assignment"),
    "instructor": (),  # nbgrader's page for marking cannot be shown inside another page, and has an address of its own
}
_LAB = {
    "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
    "custom_css": True,
    "extension_manager": "readonly",
}
_STYLE = """/* nbgrader's button Validate says “success” of a lesson without answers */
#fetched_assignments_list .nested_list_item button { display: none; }
"""
_FIRST = ["/bin/sh", "-c", 'umask "$0" && cd "$1" && shift && exec "$@"']  # terminals open where the server runs


def configure(c, site: Site) -> None:
    """Fill JupyterHub's configuration ``c`` for the course of ``site``; whatever is set afterwards wins."""
    found = site.prepare()
    for role in _STAY_ON:
        _write(site, role, found)
    own = site.folder / "hub"
    c.JupyterHub.bind_url = "http://127.0.0.1:8000"
    c.JupyterHub.cookie_secret_file = str(own / "cookie_secret")
    c.JupyterHub.db_url = f"sqlite:///{own / 'jupyterhub.sqlite'}"
    c.JupyterHub.spawner_class = "jupyterhub.spawner.LocalProcessSpawner"
    c.ConfigurableHTTPProxy.pid_file = str(own / "proxy.pid")
    c.Authenticator.allow_all = True  # `_prepare` sends away who is not on the roster
    c.Authenticator.blocked_users = {"root"}
    c.Spawner.env_keep = ["LANG", "LC_ALL"]
    c.Spawner.ip = "127.0.0.1"
    c.Spawner.pre_spawn_hook = lambda spawner: _prepare(spawner, site, found)


def _write(site: Site, role: str, found: courses.Settings) -> None:
    own = site.settings(role)
    off = [f"{_NBGRADER}:{part}" for part in _OFF_TOO[role]]
    write_settings(own, stay_on=_STAY_ON[role], off_too=off)
    lab = {"LabApp": {**_LAB, "app_settings_dir": str(own / "settings")}}
    write_whole(own / "config" / "jupyter_lab_config.json", json.dumps(lab, indent=1))
    write_whole(own / "config" / "custom" / "custom.css", _STYLE)
    exchange = {
        "CourseDirectory": {"course_id": found.course, "groupshared": True},
        "Exchange": {"root": found.exchange},
    }
    if role == "learner":
        write_whole(own / "config" / "nbgrader_config.json", json.dumps(exchange, indent=1))
    else:
        words = (
            f"from autograde.course import configure\n\nconfigure(get_config(), {str(site.course)!r})  # noqa: F821\n"
        )
        write_whole(own / "config" / "nbgrader_config.py", words)
    write_whole(own / "config" / "migrated", "")  # or each server would look for settings of old and note it here
    for path in (own.parent, own, *own.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)


def _prepare(spawner, site: Site, found: courses.Settings) -> None:
    """Before a server starts: the environment, the folder and the name that belong to this user."""
    name = spawner.user.name
    role = "instructor" if site.is_instructor(name) else "learner"
    if role == "learner" and name not in learners(site.course):
        raise _not_enrolled(name)
    home = Path(pwd.getpwnam(name).pw_dir)
    home.chmod(0o700)
    programs = site.learners_python if role == "learner" else Path(sys.executable).parent
    folder, umask = (str(home), "077") if role == "learner" else (str(site.course), "007")
    spawner.cmd = [*_FIRST, umask, folder, str(programs / "jupyterhub-singleuser")]
    spawner.args = [
        "--KernelManager.transport=ipc",  # what a kernel says over TCP every user of the computer could hear
        f"--ServerApp.terminals_enabled={role == 'instructor'}",
        "--ServerApp.terminado_settings={'shell_command': ['/bin/bash']}",  # a login shell would forget PATH
        f"--LabApp.user_settings_dir={home / '.halfcycle' / 'user-settings'}",
        f"--LabApp.workspaces_dir={home / '.halfcycle' / 'workspaces'}",
    ]
    spawner.notebook_dir = folder
    spawner.default_url = "/lab"
    spawner.environment = _environment(site, role, found.course, name, home, programs)


def _not_enrolled(name: str) -> web.HTTPError:
    sentence = f"{name} is not enrolled in this course; ask your instructor to enrol you."
    error = web.HTTPError(403, sentence)
    error.jupyterhub_message = sentence  # what JupyterHub shows
    return error


def _environment(site: Site, role: str, course: str, name: str, home: Path, programs: Path) -> dict[str, str]:
    return {
        "HALFCYCLE_COURSE": course,
        "HALFCYCLE_LEARNER": name,
        "JUPYTER_CONFIG_DIR": str(site.settings(role) / "config"),
        "JUPYTER_CONFIG_PATH": str(site.settings(role) / "config"),
        "JUPYTER_PREFER_ENV_PATH": "1",
        "JUPYTER_RUNTIME_DIR": str(home / ".run"),  # short: the paths of sockets are limited to about 100 characters
        "PATH": os.pathsep.join([str(programs), "/usr/local/bin", "/usr/bin", "/bin"]),
    }

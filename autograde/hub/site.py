"""Where everything of a hub lies, and who may do what there; file permissions alone keep learners apart.

| in the site's folder | owner, group, mode | what it is |
| --- | --- | --- |
| ``course/`` | an instructor, instructors, 2770 | the course folder |
| ``exchange/COURSE/outbound/`` | root, instructors, 2775 | released lessons |
| ``exchange/COURSE/inbound/`` | root, instructors, 3773 | hand-ins: a learner puts one in, and cannot list them |
| ``exchange/COURSE/feedback/`` | root, instructors, 2771 | pages whose names only their readers can work out |
| ``learners/`` | root, 755 | the learners' Python environment: halfcycle, nbgrader and jupyterhub, no grading room |
| ``settings/`` | root, 755 | JupyterLab's settings of learners and instructors, written at every start |
| ``hub/`` | root, 700 | JupyterHub's database, its cookie secret, the proxy's process id |
"""

from __future__ import annotations

import grp
import os
from dataclasses import dataclass
from pathlib import Path

from autograde import course as courses
from autograde.trouble import Trouble

__all__ = ["FEEDBACK", "INBOUND", "INSTRUCTORS", "OUTBOUND", "Site"]

INSTRUCTORS = "instructors"
OUTBOUND, INBOUND, FEEDBACK = "outbound", "inbound", "feedback"
_MODES = {"": 0o2775, OUTBOUND: 0o2775, INBOUND: 0o3773, FEEDBACK: 0o2771}


@dataclass(frozen=True)
class Site:
    """The hub in ``folder``; the instructors are the members of the Unix group ``instructors``."""

    folder: Path

    @property
    def course(self) -> Path:
        """The course folder."""
        return self.folder / "course"

    @property
    def exchange(self) -> Path:
        """The root of nbgrader's exchange."""
        return self.folder / "exchange"

    @property
    def learners_python(self) -> Path:
        """The folder of programs of the learners' environment."""
        return self.folder / "learners" / "bin"

    def settings(self, role: str) -> Path:
        """Where the settings of ``role`` ("learner" or "instructor") lie."""
        return self.folder / "settings" / role

    def is_instructor(self, name: str) -> bool:
        """Whether the user ``name`` belongs to the group of the instructors."""
        return name in _group().gr_mem

    def prepare(self) -> courses.Settings:
        """Make the hub's own folders and those of the exchange, and put their permissions right; needs root."""
        if not (self.course / "course.json").is_file():
            raise Trouble(f"There is no course in {self.course}; make one with: autograde new {self.course}")
        found = courses.settings(self.course)
        if found.exchange != str(self.exchange):
            raise Trouble(f'{self.course / "course.json"} needs the line "exchange": "{self.exchange}"; add it.')
        _folder(self.folder / "hub", 0o700)
        _folder(self.exchange, 0o755)
        for name, mode in _MODES.items():
            _folder(self.exchange / found.course / name, mode, _group().gr_gid)
        return found


def _group() -> grp.struct_group:
    try:
        return grp.getgrnam(INSTRUCTORS)
    except KeyError:
        raise Trouble(f"There is no group {INSTRUCTORS}; make it with: groupadd {INSTRUCTORS}") from None


def _folder(path: Path, mode: int, group: int = 0) -> None:
    path.mkdir(parents=True, exist_ok=True)
    os.chown(path, 0, group)
    path.chmod(mode)

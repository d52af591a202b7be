"""Packs: what a cohort's learners get, as one zip file that starts with one command and holds nothing of the instructor's.

``COURSE/packs/half-cycle-GROUP.zip`` holds one folder: the page of instructions, ``start.py``, the wheel of halfcycle and
the released lessons. It is looked through as it will be sent, before it is put in place.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path, PurePosixPath

import nbformat

from autograde import course as courses
from autograde import marking, pack_page
from autograde.files import sweep_parts, write_whole
from autograde.release import leaks
from autograde.roster import learners
from autograde.trouble import Trouble
from halfcycle.study import checkout
from halfcycle.variants import lessons as all_lessons

__all__ = ["FOLDER", "built_wheel", "leaks_of", "pack", "write"]

FOLDER = "packs"
_BUILD_SECONDS = 600
_WHEN = (2020, 1, 1, 0, 0, 0)  # the same pack is the same bytes
_FORBIDDEN = re.compile(r"autograde|/keys|/traps|\.ipynb$|roster|gradebook")


def write(course: Path, title: str, due: Mapping[str, datetime | None]) -> dict[str, Path]:
    """Write the pack of every group of ``course`` and return ``{group: path}``; learners without a group are the group "".

    ``due`` is the last moment (UTC) of each lesson, or None. Nothing is written when a pack is not clean.
    """
    released = {path.stem: path.read_bytes() for path in sorted((course / "release").glob("*/*.ipynb"))}
    if not released:
        raise Trouble(f"Nothing has been released from {course} yet; run: autograde release {course}")
    name, wheel = built_wheel()
    groups, made = _groups(course), {}
    for group in groups:
        files = _files(name, wheel, released, courses.settings(course).course)
        files[pack_page.PAGE] = pack_page.page(title, group, {each: due.get(each) for each in released}).encode()
        made[group] = pack(_slug(group, groups), files)
        if found := leaks_of(made[group]):
            raise Trouble(f"No pack was made, because {found[0]}; mend that and release again.")
    sweep_parts(course, (FOLDER,))
    places = {group: course / FOLDER / f"{_slug(group, groups)}.zip" for group in groups}
    for group, place in places.items():
        write_whole(place, made[group])
    return places


def built_wheel() -> tuple[str, bytes]:
    """``(file name, content)`` of the wheel of halfcycle, built from the checkout; without a network where that is possible."""
    root, uv = checkout(), os.environ.get("UV") or shutil.which("uv")
    if root is None or uv is None:
        missing = "the checkout" if root is None else "the program uv"
        raise Trouble(
            f"No pack was made, because {missing} is not there to build halfcycle from; install it and release again."
        )
    with tempfile.TemporaryDirectory() as folder:
        for offline in (["--offline"], []):
            command = [uv, "build", "--wheel", "--package", "halfcycle", "--out-dir", folder, "--quiet", *offline]
            try:
                done = subprocess.run(command, cwd=root, capture_output=True, timeout=_BUILD_SECONDS, check=False)
            except (OSError, subprocess.TimeoutExpired) as error:
                raise Trouble(
                    f"No pack was made, because halfcycle could not be built ({type(error).__name__})."
                ) from error
            if found := sorted(Path(folder).glob("halfcycle-*.whl")):
                return found[0].name, found[0].read_bytes()
    said = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no more is known"]
    raise Trouble(f"No pack was made, because halfcycle could not be built ({said[0]}); release again with a network.")


def _files(name: str, wheel: bytes, released: Mapping[str, bytes], course: str) -> dict[str, bytes]:
    notebooks = {f"lessons/{lesson}/{lesson}.ipynb": data for lesson, data in released.items()}
    return {name: wheel, pack_page.PROGRAM: pack_page.program(name, course).encode(), **notebooks}


def pack(name: str, files: Mapping[str, bytes]) -> bytes:
    """A zip with these ``files`` (paths inside it) in a folder ``name``."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for path, data in sorted(files.items()):
            member = zipfile.ZipInfo(f"{name}/{path}", _WHEN)
            member.external_attr = 0o644 << 16
            box.writestr(member, data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _groups(course: Path) -> list[str]:
    found = sorted({learner.group for learner in learners(course).values()})
    return found or [""]


def _slug(group: str, groups: list[str]) -> str:
    """The name of a group's pack; two groups whose names differ only in signs get a number."""
    plain = {each: re.sub(r"[^a-z0-9]+", "-", each.casefold()).strip("-") for each in groups}
    same = [each for each in groups if plain[each] == plain[group]]
    number = f"-{same.index(group) + 1}" if len(same) > 1 else ""
    return "-".join(filter(None, ("half-cycle", plain[group]))) + number


def leaks_of(data: bytes) -> list[str]:
    """Everything in the pack ``data`` that a learner must not have, or that does not belong there; empty when it is clean."""
    found, traps = [], _trap_names()
    with zipfile.ZipFile(io.BytesIO(data)) as box:
        for name in box.namelist():
            inside = PurePosixPath(*PurePosixPath(name).parts[1:])
            if inside.suffix == ".whl":
                found += [f"the wheel {said}" for said in _leaks_of_wheel(box.read(name), traps)]
            elif inside.suffix == ".ipynb" and inside.parts[:-1] == ("lessons", inside.stem):
                found += _leaks_of_lesson(inside.stem, box.read(name))
            elif str(inside) not in (pack_page.PAGE, pack_page.PROGRAM):
                found.append(f"the file {inside} does not belong into a pack")
    return found


def _leaks_of_lesson(lesson: str, data: bytes) -> list[str]:
    path = courses.LESSONS / lesson / f"{lesson}.ipynb"
    if not path.is_file():
        return [f"the lesson {lesson} has no source to hold it against"]
    source, shown = nbformat.read(path, as_version=4), nbformat.reads(data.decode(), as_version=4)
    return [f"in the lesson {lesson}, {said}" for said in leaks(source, shown, lesson)]


def _leaks_of_wheel(data: bytes, traps: list[str]) -> list[str]:
    with zipfile.ZipFile(io.BytesIO(data)) as box:
        names = box.namelist()
        text = "\n".join(box.read(name).decode(errors="replace") for name in names if name.endswith(".py"))
    found = [
        f"holds {name}"
        for name in names
        if _FORBIDDEN.search(name) or not name.startswith(("halfcycle/", "halfcycle-"))
    ]
    return found + [f"names the trap {trap}" for trap in traps if f'"{trap}"' in text or f"'{trap}'" in text]


def _trap_names() -> list[str]:
    return sorted({trap.name for lesson in all_lessons() for own in marking.load(lesson)[1].values() for trap in own})

"""A learner's folder: made from the released lessons, gone on with later, and never written over.

In the folder stand the lessons (``01_name/01_name.ipynb`` ...), ``captures/`` where there are any, ``.halfcycle.json``, which
says whose circuits to draw, and ``.halfcycle/``, where JupyterLab keeps this learner's settings and open tabs.
"""

import contextlib
import json
import os
import re
import sys
import tempfile
from pathlib import Path

from halfcycle.release import RELEASE_CONFIG, RELEASE_STEPS, released, strip
from halfcycle.trouble import Trouble, reason
from halfcycle.variants import DEFAULT_COURSE, DEFAULT_LEARNER, WHO_FILE

__all__ = ["RELEASE_CONFIG", "RELEASE_STEPS", "checkout", "lesson_files", "prepare", "strip", "study"]

DEFAULT_FOLDER = "half-cycle-study"
_ID = re.compile(r"[^\W_][\w.@-]{0,63}")


def study(folder=DEFAULT_FOLDER, *, learner=None, course=None, lessons=None, port=None, open_browser=True):
    """Make ``folder`` or go on with it, then run JupyterLab on it until it is stopped; return the exit code."""
    from halfcycle import server

    folder = Path(folder)
    new = prepare(folder, learner=learner, course=course, lessons=lessons)
    who = json.loads((folder / WHO_FILE).read_text(encoding="utf-8"))
    print(f"{folder}: learner {who['learner']}, course {who['course']}.", f"New here: {', '.join(new)}." if new else "")
    return server.run(folder, start=_start(folder), port=port, open_browser=open_browser)


def prepare(folder, *, learner=None, course=None, lessons=None):
    """Make ``folder`` or add to it what is new; return the names of the lessons that were added. Nothing is overwritten.

    Everything is read and stripped before the first write, so that a broken lesson leaves the folder as it was.
    """
    folder = Path(folder)
    _check_place(folder)
    sources = lesson_files(lessons)
    if not sources and not _lessons_in(folder):
        raise Trouble("There are no lessons here to start from; name the folder that holds them with --lessons FOLDER.")
    missing = {name: released(path) for name, path in sources.items() if not _notebook(folder, name).exists()}
    who = _who(folder, learner, course)
    try:
        if not (folder / WHO_FILE).exists():
            _write(folder / WHO_FILE, json.dumps(who, indent=1) + "\n")
        for name, text in missing.items():
            _write(_notebook(folder, name), text)
        _copy_captures(folder)
    except OSError as error:
        raise Trouble(
            f"The folder {folder} cannot be written ({reason(error)}); make it writable, or name another folder."
        ) from error
    return list(missing)


def lesson_files(lessons=None):
    """Return ``{name: path}`` of the lessons in the folder ``lessons``, or, without one, in the checkout this runs from."""
    if lessons is None:
        root = checkout()
        return _lessons_in(root / "lessons") if root else {}
    if not Path(lessons).is_dir():
        raise Trouble(f"There is no folder of lessons {lessons}; check its name.")
    found = _lessons_in(Path(lessons))
    if not found:
        raise Trouble(
            f"There are no lessons in {lessons}; each stands in a folder of its own, such as 01_name/01_name.ipynb."
        )
    return found


def checkout():
    """Return the root of the checkout this package runs from, or None when it was installed from a wheel."""
    root = Path(__file__).resolve().parents[2]
    return root if (root / "lessons").is_dir() and (root / "pyproject.toml").is_file() else None


def _lessons_in(folder):
    names = sorted(path.name for path in folder.glob("[0-9][0-9]_*") if path.is_dir())
    return {name: _notebook(folder, name) for name in names if _notebook(folder, name).is_file()}


def _notebook(folder, name):
    return folder / name / f"{name}.ipynb"


def _check_place(folder):
    root = checkout()
    if folder.exists() and not folder.is_dir():
        raise Trouble(f"{folder} is a file; name a folder for the lessons.")
    if root and (folder.resolve() == root or (root / "lessons") in [folder.resolve(), *folder.resolve().parents]):
        raise Trouble(
            f"{folder} belongs to the checkout itself; name a new folder for the learner, such as {DEFAULT_FOLDER}."
        )


def _who(folder, learner, course):
    known = _known(folder)
    for word, given, there in (("learner", learner, known.get("learner")), ("course", course, known.get("course"))):
        if given is not None and not _ID.fullmatch(given):
            raise Trouble(f"{given!r} cannot be a {word} id; use letters, digits, dots, hyphens and underscores only.")
        if given is not None and there is not None and given != there:
            raise Trouble(
                f"The folder {folder} belongs to {word} {there}, and its circuits with it; name another folder for {word} {given}."
            )
    if known:
        return known
    return {"course": course or DEFAULT_COURSE, "learner": learner or _ask()}


def _known(folder):
    path = folder / WHO_FILE
    if not path.exists():
        return {}
    try:
        known = json.loads(path.read_text(encoding="utf-8"))
        return {key: str(known[key]) for key in ("course", "learner")}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Trouble(
            f"The file {path} cannot be read, so it is not known whose folder this is; "
            "delete that file and start again with --learner and your id."
        ) from error


def _ask():
    while sys.stdin is not None and sys.stdin.isatty():
        try:
            said = input("Your learner id, as your instructor gave it (Enter alone goes on as guest): ").strip()
        except EOFError:
            break
        if not said or _ID.fullmatch(said):
            return said or DEFAULT_LEARNER
        print("An id has letters, digits, dots, hyphens and underscores only.")
    return DEFAULT_LEARNER


def _copy_captures(folder):
    root = checkout()
    for path in sorted((root / "datasets").rglob("*.csv")) if root else ():
        target = folder / "captures" / path.relative_to(root / "datasets")
        if not target.exists():
            _write(target, path.read_text(encoding="utf-8"))


def _write(path, text):
    """Write ``text`` all at once: a stop half-way leaves either no file or the whole one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.chmod(part, 0o644)
        os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(part)
        raise


def _start(folder):
    """The lesson to open, relative to ``folder``: the one last open there, else the first."""
    lessons = _lessons_in(folder)
    for path in (folder / ".halfcycle" / "workspaces").glob("*.jupyterlab-workspace"):
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
            layout = json.loads(path.read_text(encoding="utf-8"))["data"]["layout-restorer:data"]
            last = layout["main"]["current"].removeprefix("notebook:")
            if (folder / last).is_file():
                return last
    name = next(iter(lessons))
    return f"{name}/{name}.ipynb"

"""A small hostile cohort graded by an account without any right: the marks are those of root, and the fence is as warm."""

import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import nbformat
import pytest
from made_course import hand_in_recipe, new_course
from make import RECIPES, own

from autograde.grading import grade
from autograde.new import _CONFIG
from autograde.records import all_marks, read

CHECKOUT = Path(__file__).resolve().parents[2]
NUMBER, ACCOUNT = "05", "61234"  # of no entry in /etc/passwd
COHORT = (
    "is_perfect",
    "reads_other_processes",
    "writes_wherever_it_can",
    "speaks_to_the_network",
    "forges_slips_from_an_own_cell",
    "leaves_daemons_and_threads",
)


@pytest.fixture
def place():
    """A folder that every account can reach; pytest's own are closed."""
    with tempfile.TemporaryDirectory(prefix="hc-bare-") as folder:
        os.chmod(folder, 0o755)
        yield Path(folder)


def _opens_what_it_knows(course):
    """A recipe that need not search: outside of the fence its account owns the gradebook and may read the keys."""
    places = [f"{course}/gradebook.db", f"{course}/submitted/is_perfect", f"{CHECKOUT}/autograde/keys"]
    source = f"import os\nprint('seen', [place for place in {places!r} if os.path.exists(place)])"
    return replace(RECIPES["is_perfect"], name="opens_what_it_knows", change=lambda nb, right: own(nb, source))


def _closed_above(tree):
    """The topmost folder above ``tree`` that others may not pass, or None."""
    above = reversed(Path(tree).parents)
    return next((folder for folder in above if not folder.stat().st_mode & 0o001), None)


def _opened(stage):
    """Lines for a shell in a mount namespace of its own: Python and the checkout are reached past folders closed to others, and nothing else in those."""
    python = Path(os.path.realpath(sys.executable)).parents[1]
    closed = {tree: top for tree in (python, Path(sys.prefix), CHECKOUT) if (top := _closed_above(tree))}
    lines = []
    for number, tree in enumerate(closed):
        lines += [f"mkdir {stage}/{number}", f"mount --bind {shlex.quote(str(tree))} {stage}/{number}"]
    lines += [f"mount -t tmpfs -o mode=755 none {shlex.quote(str(top))}" for top in sorted(set(closed.values()))]
    for number, tree in enumerate(closed):
        lines += [f"mkdir -p {shlex.quote(str(tree))}", f"mount --move {stage}/{number} {shlex.quote(str(tree))}"]
    return lines


def _as_nobody(place, arguments):
    """Run Python with ``arguments`` by an account that owns ``place`` and nothing else; who is no root already is one."""
    home, command = place / "home", [sys.executable, *arguments]
    home.mkdir()
    bare = ["env", "-i", "-C", str(place), f"HOME={home}", "PATH=/usr/bin:/bin", "LANG=C.UTF-8", *command]
    if os.geteuid() == 0:
        (place / "stage").mkdir()
        lines = ["set -e", *_opened(place / "stage"), f"chown -R {ACCOUNT}:{ACCOUNT} {place}/home {place}/course"]
        given_up = ["--clear-groups", "--inh-caps=-all", "--bounding-set=-all"]
        who = ["setpriv", "--reuid", ACCOUNT, "--regid", ACCOUNT, *given_up, *bare]
        bare = ["unshare", "--mount", "sh", "-c", "\n".join([*lines, f"exec {shlex.join(who)}"])]
    return subprocess.run(bare, capture_output=True, text=True, check=False, timeout=300)


def _marks(course):
    return {str(path.relative_to(course)): {**read(path), "when": ""} for path in all_marks(course)}


def test_an_account_without_rights_gives_the_marks_that_root_gives(place, tmp_path, needs_fence):
    course, lesson, released = new_course(place, NUMBER, [*COHORT, "opens_what_it_knows"])
    cohort = [*(RECIPES[name] for name in COHORT), _opens_what_it_knows(course)]
    (course / "nbgrader_config.py").write_text(_CONFIG, encoding="utf-8")
    for recipe in cohort:
        hand_in_recipe(course, lesson, released, recipe)
    here = shutil.copytree(course, tmp_path / "course")
    done = _as_nobody(place, ["-m", "autograde.cli", "grade", str(course), "--workers", "1"])
    if "allow user namespaces" in done.stderr + done.stdout:  # the one sentence of a computer that forbids them
        assert done.returncode == 2
        return
    assert done.returncode == 0, done.stdout + done.stderr
    assert "which is slower" not in done.stderr  # each in a warm fork
    assert (course / "gradebook.db").stat().st_uid == (int(ACCOUNT) if os.geteuid() == 0 else os.geteuid())
    points = {one.learner: one.points for one in grade(here).outcomes}
    assert {name for name, found in points.items() if found} == {one.name for one in cohort if one.start == "right"}
    nb = nbformat.read(course / "autograded" / "opens_what_it_knows" / lesson / f"{lesson}.ipynb", as_version=4)
    assert "seen []\n" in [output.get("text") for cell in nb.cells for output in cell.get("outputs", [])]
    assert _marks(course) == _marks(here)

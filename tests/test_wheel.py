"""What a learner installs: the wheel is built as for a real release, opened, and looked through."""

import re
import shutil
import subprocess
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The folder with the wheel and the source archive of the root package."""
    uv = shutil.which("uv")
    assert uv, "uv is missing; install it with: python3 -m pip install uv"
    out = tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        [uv, "build", "--package", "halfcycle", "--out-dir", str(out), "--quiet"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    return out


@pytest.fixture(scope="module")
def wheel(built):
    (path,) = built.glob("halfcycle-*.whl")
    with zipfile.ZipFile(path) as archive:
        yield {name: archive.read(name) for name in archive.namelist()}


def test_the_wheel_holds_halfcycle_alone(wheel):
    assert {name.split("/")[0] for name in wheel if ".dist-info/" not in name} == {"halfcycle"}


def test_the_wheel_holds_every_module_of_halfcycle(wheel):
    wanted = {
        str(path.relative_to(ROOT / "shared_lib"))
        for path in (ROOT / "shared_lib" / "halfcycle").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert wanted <= set(wheel), wanted - set(wheel)


def test_the_wheel_holds_no_key_no_trap_and_no_lesson(wheel):
    assert not [name for name in wheel if re.search(r"autograde|/keys|/traps|lessons/|\.ipynb$|roster|gradebook", name)]
    from autograde import marking
    from halfcycle.variants import lessons

    traps = {trap.name for lesson in lessons() for own in marking.load(lesson)[1].values() for trap in own}
    assert traps
    text = b"\n".join(content for name, content in wheel.items() if name.endswith(".py"))
    assert not [name for name in traps if re.search(rb"[\"']" + re.escape(name.encode()) + rb"[\"']", text)]


def test_the_wheel_brings_the_command_and_no_grading_tools(wheel):
    (points,) = (text.decode() for name, text in wheel.items() if name.endswith("entry_points.txt"))
    assert "halfcycle = halfcycle.cli:main" in points and "autograde" not in points
    (about,) = (text.decode() for name, text in wheel.items() if name.endswith(".dist-info/METADATA"))
    needs = re.findall(r"^Requires-Dist: ([\w-]+)", about, re.MULTILINE)
    assert "jupyterlab" in needs and not {"nbgrader", "halfcycle-autograde", "scipy"} & set(needs)


def test_the_source_archive_holds_no_key_either(built):
    (path,) = built.glob("halfcycle-*.tar.gz")
    with tarfile.open(path) as archive:
        names = [name.partition("/")[2] for name in archive.getnames()]
    strays = [name for name in names if not name.startswith("shared_lib/halfcycle/")]
    assert set(strays) <= {"", "README.md", "pyproject.toml", "PKG-INFO", ".gitignore"}, strays

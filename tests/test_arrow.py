"""The flow goes one way: a learner's side never knows the grading room, and the grading room never needs a bench."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def modules(folder):
    return sorted(path for path in (ROOT / folder).rglob("*.py") if ".venv" not in path.parts)


def imports(path, package):
    """Every dotted name that the module at ``path`` imports, with ``from a import b`` as both ``a`` and ``a.b``."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = _base(path, package, node)
            yield base
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from _named_in_text(node.value)  # importlib and lists of classes name modules in texts


def _base(path, package, node):
    if not node.level:
        return node.module
    inside = path.parent.relative_to(package.parent).parts
    parts = inside[: len(inside) - node.level + 1]
    return ".".join([*parts, *([node.module] if node.module else [])])


def _named_in_text(text):
    return (
        [text]
        if text.replace(".", "").replace("_", "").isalnum() and text.partition(".")[0] in {"halfcycle", "autograde"}
        else []
    )


def within(name, package):
    return name == package or name.startswith(f"{package}.")


@pytest.mark.parametrize("path", modules("shared_lib/halfcycle"), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_learners_side_never_imports_the_grading_room(path):
    assert not [name for name in imports(path, ROOT / "shared_lib/halfcycle") if within(name, "autograde")]


@pytest.mark.parametrize("path", modules("autograde"), ids=lambda path: str(path.relative_to(ROOT)))
def test_the_grading_room_never_imports_a_bench(path):
    assert not [name for name in imports(path, ROOT / "autograde") if within(name, "halfcycle.benches")]


def test_the_reader_sees_every_way_to_import(tmp_path):
    """The two tests above prove nothing if this one fails."""
    path = tmp_path / "halfcycle" / "deep" / "module.py"
    path.parent.mkdir(parents=True)
    path.write_text(
        "import autograde.keys as k\nfrom autograde import marking\nfrom halfcycle import benches\nfrom .. import slips\n"
        "def late():\n    from halfcycle.benches.rectifier import x\n    import_module('autograde.fence')\n"
    )
    seen = set(imports(path, tmp_path / "halfcycle"))
    assert {"autograde.keys", "autograde.marking", "halfcycle.benches", "halfcycle.slips", "autograde.fence"} <= seen
    assert "halfcycle.benches.rectifier" in seen
    assert len(modules("shared_lib/halfcycle")) > 10 and len(modules("autograde")) > 5

"""The layers point one way, and files keep to one subject."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "patterns"

# Lowest first; a module may import from its own layer and from those before it.
LAYERS = [
    "errors", "version", "whole_file", "cores", "side_by_side", "timing", "scenes", "sizes", "clip",
    "rendering", "strip", "frame_source", "video", "measure", "safety", "planning", "present",
    "production", "web", "api", "cli",
]  # fmt: skip
FORBIDDEN = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}

FILES = sorted(PACKAGE.rglob("*.py"))


def layer(module: str) -> int:
    """Position of 'patterns.timing.rates' and the like; the package itself is above all."""
    parts = module.split(".")
    return LAYERS.index(parts[1]) if len(parts) > 1 else len(LAYERS)


def imports(path: Path) -> list[str]:
    """Modules of ours that a file imports when it runs (not those for type checks alone)."""
    found: list[str] = []
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.append(node.module)
    return [name for name in found if name.split(".")[0] == "patterns"]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_down(path: Path) -> None:
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    if path.name == "__main__.py":
        return
    own = layer(module.removesuffix(".__init__"))
    for name in imports(path):
        assert layer(name) <= own, f"{module} imports {name}, which lies above it"


def test_names_say_what_a_file_is_about() -> None:
    assert not [p for p in FILES if p.stem in FORBIDDEN]


def test_timing_has_no_arrays() -> None:
    for path in (PACKAGE / "timing").glob("*.py"):
        assert "numpy" not in path.read_text(encoding="utf-8"), path

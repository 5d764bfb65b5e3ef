"""The layers point one way, and files keep to one subject."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "patterns"

# Lowest first; a module may import from its own layer and from those before it.
LAYERS = [
    "errors", "version", "whole_file", "side_by_side", "timing", "picture", "drawing",
    "scenes", "clip", "strip", "frame_source", "video", "footage", "reading", "safety",
    "planning", "conform", "kit", "present", "web", "cli",
]  # fmt: skip
# Within the scenes: what both terrain and orbit look at lies below them.
SCENES = ["motion", "pattern", "ground", "bars", "terrain", "orbit", "table"]
MOST_LINES = 60
FORBIDDEN = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}

FILES = sorted(PACKAGE.rglob("*.py"))
MODULES = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in FILES}


def layer(module: str) -> tuple[int, int]:
    """Position of 'patterns.timing.rates' and the like; the package itself is above all."""
    parts = module.split(".")
    if len(parts) == 1:
        return (len(LAYERS), 0)
    inner = SCENES.index(parts[2]) + 1 if parts[1] == "scenes" and len(parts) > 2 else 0
    return (LAYERS.index(parts[1]), inner)


def imports(path: Path) -> list[str]:
    """Modules of ours that a file imports, those for type checks included."""
    found: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [name if name in MODULES else node.module for name in inner]
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


def test_no_module_stands_on_itself() -> None:
    below = {name: set(imports(path)) & set(MODULES) for name, path in MODULES.items()}
    done: set[str] = set()

    def visit(name: str, chain: tuple[str, ...]) -> None:
        assert name not in chain, " -> ".join((*chain, name))
        if name not in done:
            for lower in sorted(below[name]):
                visit(lower, (*chain, name))
            done.add(name)

    for name in MODULES:
        visit(name, ())


def test_functions_fit_a_screen() -> None:
    """Ruff holds complexity below 12 (pyproject.toml); this holds length, docstrings included."""
    long = {
        f"{path.relative_to(PACKAGE)}: {node.name}"
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno is not None
        and node.end_lineno - node.lineno >= MOST_LINES
    }
    assert not long

"""What is declared is what is used, and a checkout that is not installed runs."""

from __future__ import annotations

import ast
import importlib.util
import re
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from patterns.version import VERSION
from tests.chromium import unavailable

ROOT = Path(__file__).parents[1]
DISTRIBUTIONS = {"PIL": "pillow", "imageio_ffmpeg": "imageio-ffmpeg"}  # where names differ

NOT_INSTALLED = """
import importlib.metadata as metadata, runpy, sys
whole = metadata.Distribution.from_name
def from_name(name):
    if name == "evenhold":
        raise metadata.PackageNotFoundError(name)
    return whole(name)
metadata.Distribution.from_name = from_name
sys.argv[0] = "patterns"
runpy.run_module("patterns", run_name="__main__")
"""


NOTHING_AT_HAND = """
import runpy, sys
sys.modules["click"] = None  # as where it is not installed
sys.argv[0] = "patterns"
runpy.run_module("patterns", run_name="__main__")
"""


TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"),
    *("patterns", "tests", "outputs"),
}


def test_nothing_else_lies_at_the_top_level() -> None:
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("no clone, or no git: what is kept cannot be told from what was left behind")
    # whoever owns the clone
    asked = ["git", "-c", "safe.directory=*", "ls-files"]
    kept = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True)
    names = {line.partition("/")[0] for line in kept.stdout.splitlines()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def imported(folder: Path) -> set[str]:
    """Distributions that the modules under `folder` import, the standard library left out."""
    found = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                found.add(node.module.partition(".")[0])
    others = found - set(sys.stdlib_module_names) - {"patterns", "tests"}
    return {DISTRIBUTIONS.get(name, name) for name in others}


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w-]", text)[0] for text in requirements}


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    tomllib = pytest.importorskip("tomllib", reason="part of Python from 3.11 on")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = names(project["dependencies"] + project["optional-dependencies"]["web"])
    assert imported(ROOT / "patterns") == declared


def run(code: str, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=ROOT, capture_output=True, text=True, timeout=250, check=False,
    )  # fmt: skip


def test_a_checkout_that_is_not_installed_runs(tmp_path: Path) -> None:
    words = ["render", "bars", "--size", "360p", "--frames", "24", "--json"]
    done = run(NOT_INSTALLED, *words, "--out", str(tmp_path / "clip.mp4"))
    assert done.returncode == 0, done.stderr
    assert f'"made_by": "evenhold {VERSION}"' in done.stdout


def test_a_missing_package_is_one_line() -> None:
    done = run(NOTHING_AT_HAND, "cadence", "24")
    assert done.returncode == 1
    assert done.stderr.startswith("evenhold: the package click is missing: run  python -m pip")
    assert done.stderr.count("\n") == 1


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source distribution and the wheel, as `pip` has them built."""
    if importlib.util.find_spec("hatchling") is None:
        unavailable("hatchling", "python -m pip install hatchling")
    folder = tmp_path_factory.mktemp("built")
    command = [sys.executable, "-m", "hatchling", "build", "--directory", str(folder)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


def files_in(*places: str) -> set[str]:
    """What lies there in this checkout, compiled files left out."""
    found = (path for place in places for path in [ROOT / place, *(ROOT / place).rglob("*")])
    return {
        path.relative_to(ROOT).as_posix()
        for path in found
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_source_distribution_holds_all_that_tests_and_pages_need(built: Path) -> None:
    with tarfile.open(built / f"evenhold-{VERSION}.tar.gz") as archive:
        held = {member.name.partition("/")[2] for member in archive if member.isfile()}
    top = ("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore")
    assert held - {"PKG-INFO", "outputs/.gitkeep"} == files_in(
        *top, "patterns", "tests", ".ci", "outputs/gallery"
    )


def test_the_wheel_holds_the_package_with_all_that_it_reads(built: Path) -> None:
    with zipfile.ZipFile(built / f"evenhold-{VERSION}-py3-none-any.whl") as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    assert held == files_in("patterns")
    kinds = {Path(name).suffix for name in held} | {Path(name).name for name in held}
    assert kinds >= {".py", ".md", ".css", ".js", ".html", "py.typed"}

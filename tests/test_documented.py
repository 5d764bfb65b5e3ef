"""Docs that fail the build when they are stale."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from patterns.cli import COMMANDS, open_command
from patterns.timing.cadence import cadence, parse_display, slow_slip
from patterns.timing.rates import parse_rate
from tests.examples import loosely, made_again

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDES = sorted((ROOT / "patterns").rglob("*.md"))


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_is_in_the_readme_and_has_help(name: str) -> None:
    assert f"`evenhold {name}" in README
    assert open_command(name).help


def options(command: click.Command) -> list[click.Option]:
    context = click.Context(command)
    own = [p for p in command.get_params(context) if isinstance(p, click.Option)]
    if not isinstance(command, click.Group):
        return own
    inner = [command.get_command(context, name) for name in command.list_commands(context)]
    return own + [option for one in inner if one for option in options(one)]


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_option_has_help(name: str) -> None:
    for option in options(open_command(name)):
        assert option.help, option.name


def test_every_schema_is_documented() -> None:
    used: set[str] = set()
    for path in (ROOT / "patterns").rglob("*.py"):
        used |= set(re.findall(r'"(evenhold/[a-z-]+ \d+)"', path.read_text(encoding="utf-8")))
    assert used
    described = "".join(path.read_text(encoding="utf-8") for path in GUIDES)
    for schema in used:
        assert f"`{schema}`" in described or f'"{schema}"' in described, schema


@pytest.mark.parametrize(
    "path", [ROOT / "README.md", ROOT / "DEVELOPERS.md", *GUIDES], ids=lambda path: path.name
)
def test_pictures_and_links_exist(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", path.read_text(encoding="utf-8")):
        assert (path.parent / target).exists(), target


@pytest.mark.parametrize("path", [ROOT / "DEVELOPERS.md", *GUIDES], ids=lambda path: path.name)
def test_files_that_a_guide_names_exist(path: Path) -> None:
    places = [p.as_posix() for folder in ("patterns", "tests") for p in (ROOT / folder).rglob("*")]
    for name in re.findall(r"`(\w[\w/]*\.(?:py|js|css|html))`", path.read_text(encoding="utf-8")):
        assert any(place.endswith(f"/{name}") for place in places), name


def test_examples_of_the_readme_are_what_the_commands_print() -> None:
    """`python -m tests.examples` writes them anew; sizes of files may be another encoder's."""
    assert README.count("```console\n") >= 3
    assert loosely(made_again(README)) == loosely(README)
    for size_mb in re.findall(r"([\d.]+) MB", README):
        assert 0.5 < float(size_mb) < 5  # of a clip of two seconds


def test_no_rate_is_called_even_without_its_slip() -> None:
    """29.97 on 60 Hz breaks step every 16.7 s: 1001/60, by the arithmetic of near rates."""
    rows = dict(re.findall(r"^\| ([\d.]+) fps \| ([^|]+) \|", README, re.MULTILINE))
    assert len(rows) >= 7
    for name, held in rows.items():
        found = slow_slip(cadence(parse_rate(name), parse_display("60")))
        assert ("slip every" in held) == (found is not None), name
        if found is not None:
            assert f"{float(found.interval_s):.1f} s" in held, name
    for line in README.splitlines():
        if any(near in line for near in ("29.97", "59.94")) and "even" in line:
            assert "slip" in line or line.startswith("$"), line


def test_the_guides_fit_one_sitting() -> None:
    assert README.count("\n") <= 150
    assert DEVELOPERS.count("\n") <= 300
    glossary = DEVELOPERS.split("## Glossary\n")[1].split("\n## ")[0].strip()
    assert 10 < glossary.count("\n") + 1 <= 40
    described = DEVELOPERS.split("## Map\n")[1].split("\n## ")[0]
    for folder in (ROOT / "patterns").iterdir():
        if (folder / "__init__.py").exists():
            assert f"`{folder.name}/`" in described, folder.name
    for guide in GUIDES:
        assert f"({guide.relative_to(ROOT).as_posix()})" in DEVELOPERS, guide


def test_the_gallery_is_small() -> None:
    assert sum(p.stat().st_size for p in (ROOT / "outputs" / "gallery").iterdir()) < 2_000_000


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


def test_the_readme_opens_with_one_paragraph_then_what_to_type_on_each_system() -> None:
    parts = [b for b in README.split("\n\n") if b.strip()]
    assert parts[0].startswith("# ")
    assert len(parts[1]) > 300
    assert "\n" not in parts[1].strip()
    (windows,) = blocks(README, "bat")
    others, tests = blocks(README, "sh")[:2]
    assert windows.startswith("py -m venv .venv\n")
    assert (
        windows.replace("\\", "/").replace("Scripts", "bin").splitlines()[1:]
        == (others.splitlines()[1:])
    )
    assert others.splitlines()[-1] == ".venv/bin/evenhold kit"
    assert ".venv/bin/python -m tests" in tests


@pytest.mark.parametrize("language", ["bat", "sh", "console"])
@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_what_is_to_be_typed_can_be_typed_in_every_shell(text: str, language: str) -> None:
    """Windows' Command Prompt knows neither single quotes nor comments, zsh no comments either."""
    for block in blocks(text, language):
        for line in block.splitlines():
            if language == "console" and not line.startswith("$ "):
                continue  # what is printed
            assert "#" not in line
            assert "'" not in line
            assert "&&" not in line


def test_examples_of_the_help_can_be_typed_in_every_shell() -> None:
    for name in COMMANDS:
        help_text = open_command(name).help or ""
        for line in help_text.splitlines():
            if line.strip().startswith("evenhold "):
                assert not set("'#&$") & set(line), line

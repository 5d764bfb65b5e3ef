"""Docs that fail the build when they are stale."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import click
import pytest

from patterns.cli import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def found_command(name: str) -> click.Command:
    command = import_module(COMMANDS[name]).command
    assert isinstance(command, click.Command)
    return command


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_is_in_the_readme_and_has_help(name: str) -> None:
    assert f"`evenhold {name}" in README
    assert found_command(name).help


def options(command: click.Command) -> list[click.Option]:
    nested = command.commands.values() if isinstance(command, click.Group) else []
    own = [p for p in command.params if isinstance(p, click.Option)]
    return own + [o for inner in nested for o in options(inner)]


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_option_has_help(name: str) -> None:
    for option in options(found_command(name)):
        assert option.help, option.name


def test_every_schema_is_documented() -> None:
    used: set[str] = set()
    for path in (ROOT / "patterns").rglob("*.py"):
        used |= set(re.findall(r'"(evenhold/[a-z-]+ \d+)"', path.read_text(encoding="utf-8")))
    assert used
    for schema in used:
        assert schema in DEVELOPERS, schema


def test_pictures_and_links_of_the_readme_exist() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_gallery_is_small() -> None:
    assert sum(p.stat().st_size for p in (ROOT / "outputs" / "gallery").iterdir()) < 2_000_000


def test_the_readme_opens_with_one_paragraph_then_two_commands() -> None:
    blocks = [b for b in README.split("\n\n") if b.strip()]
    assert blocks[0].startswith("# ")
    assert len(blocks[1]) > 300
    assert "\n" not in blocks[1].strip()
    shell = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert "evenhold kit" in shell[0]
    assert "pytest" in shell[1]
    assert all(len(block.strip().splitlines()) == 1 for block in shell[:2])

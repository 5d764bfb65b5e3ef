"""What the command says of itself, and how it refuses."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from patterns.cli import COMMANDS, main, open_command
from patterns.cli.options import parse_folder


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 0
    captured = capsys.readouterr()
    assert captured.err == ""
    return captured.out


@pytest.mark.parametrize("words", [(), ("render",)])
def test_alone_it_prints_its_help_to_stdout(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    alone = printed(capsys, *words)
    assert alone == printed(capsys, *words, "--help")
    assert alone.count("\n") > 10


@pytest.mark.parametrize("words", [(), ("render",)])
def test_summaries_are_whole_sentences(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    listed = printed(capsys, *words).split("Commands:\n")[1]
    assert "..." not in listed
    summaries = re.split(r"\n  (?=\w)", "\n" + listed.rstrip())[1:]
    assert len(summaries) == (3 if words else len(COMMANDS))
    assert all(summary.endswith(".") for summary in summaries)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_is_listed_with_the_first_sentence_of_its_help(name: str) -> None:
    assert COMMANDS[name] == open_command(name).get_short_help_str(1000)


@pytest.mark.parametrize("words", ["--help", "--version"])
def test_the_list_of_commands_loads_none_of_them(words: str) -> None:
    code = (
        "import sys; from patterns.cli import main; main(sys.argv[1:]); "
        "sys.exit(sum(name.split('.')[0] in ('numpy', 'PIL') for name in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code, words], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout


@pytest.mark.parametrize(
    "words",
    [("kit",), ("plan",), ("present",), ("serve",), ("render",), ("render", "bars"),
     ("render", "terrain"), ("render", "orbit")],
)  # fmt: skip
def test_what_makes_or_serves_moving_pictures_shows_the_caution(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    said = " ".join(printed(capsys, *words, "--help").split())
    assert "sensitive to moving or flashing pictures" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("cadence", "24", "--display", "abc"), "hertz, such as 60, 90 or 120"),
        (("cadence", "24", "--scheme", "sepia"), "'sepia' is unknown: allowed are light, dark"),
        (("cadence", "24", "--display", "2000"), "hertz, such as 60, 90 or 120"),
        (("render", "bars", "--rate", "abc"), "rate 'abc' is not a rate: give frames a second"),
        (("render", "bars", "--size", "3x3"), "size 3x3 is not possible: its width"),
        (("render", "bars", "--seconds", "abc"), "--seconds 'abc' is not a number"),
        (("render", "bars", "--codec", "film"), "allowed are h264, "),
        (("render", "orbit", "--radius", "-3"), "20 to 1000 m: try 80"),
        (("render", "spiral"), "pattern 'spiral' is unknown: allowed are bars, terrain, orbit"),
        (("shoot",), "command 'shoot' is unknown: allowed are cadence, check, "),
        (("render", "bars", "--rat", "24"), "there is no option --rat: did you mean --rate"),
        (("cadence",), "RATE... is missing (see 'evenhold cadence --help')"),
        (
            ("render", "bars", "dam.mp4"),
            "'dam.mp4' is too much: allowed are options alone, each wi",
        ),
        (("kit", "dam", "weir"), "what to write is named after --out (see 'evenhold kit --help')"),
        (("plan", "dam"), "each with its own value (see 'evenhold plan --help')"),
        (("serve", "kit", "weir"), "'weir' is too much: allowed are one FOLDER and options"),
    ],
)
def test_a_refusal_names_what_was_typed_and_what_to_try(
    words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(list(words)) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert said in captured.err
    assert "Invalid value" not in captured.err


def every_option() -> dict[str, set[tuple[str, ...]]]:
    """Each option's spellings of type, default and help, over all commands."""
    found: dict[str, set[tuple[str, ...]]] = {}

    def look(command: click.Command) -> None:
        context = click.Context(command)
        if isinstance(command, click.Group):
            for name in command.list_commands(context):
                inner = command.get_command(context, name)
                assert inner is not None
                look(inner)
        for param in command.get_params(context):
            if isinstance(param, click.Option):
                said = (repr(param.type), str(param.default), param.help or "")
                found.setdefault(param.opts[0], set()).add(said)

    for name in COMMANDS:
        look(open_command(name))
    return found


def test_options_that_commands_share_are_the_same_in_each() -> None:
    found = every_option()
    shared = ("shutter", "size", "codec", "seed", "small", "jobs", "allow-flashing", "strip")
    for name in shared:
        kinds = found[f"--{name}"]
        assert len(kinds) == (2 if name == "strip" else 1), kinds  # present's is a flag
    # of a photo it is what the camera had; of a clip it is to be set
    assert len({kind for kind in found["--exposure"] if "--shutter" in kind[2]}) == 1


FOLDERS = [["kit", "--out"], ["present", "--out"], ["present", "--all", "--out"],
           ["plan", "--clips"], ["serve"]]  # fmt: skip


@pytest.mark.parametrize("words", FOLDERS)
def test_a_file_is_no_folder(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("bring the tripod")
    assert main([*words, str(notes)]) == 2
    said = capsys.readouterr().err
    option = words[-1] if len(words) > 1 else "FOLDER"
    assert said.startswith(f"evenhold: {option} '{notes}' is a file: name a folder")
    assert notes.read_text() == "bring the tripod"


@pytest.mark.parametrize("words", FOLDERS)
def test_a_folder_that_is_made_is_not_named_as_a_file(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, and nothing is made; a folder that is there may have any name."""
    clip = tmp_path / "p1.MP4"
    assert main([*words, str(clip)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"'{clip}' is a file's name, and a folder is wanted: leave .MP4 out" in said
    assert not list(tmp_path.iterdir())
    clip.mkdir()
    assert parse_folder(str(clip)) == clip
    assert parse_folder(str(tmp_path / "kit-23.976")) == tmp_path / "kit-23.976"


def test_the_kits_exposure_must_fit_every_rate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "kit"
    assert main(["kit", "--exposure", "1/50", "--rates", "24,60", "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert "exposure 1/50 s does not fit a frame at 60 fps" in said
    assert "the longest allowed is 1/60 s" in said
    assert not out.exists()

"""`evenhold serve` as a person runs it."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import pytest

from patterns.kit.kit import kit_clips, make_kit
from patterns.scenes.bars.pattern import BARS
from patterns.timing.cadence import Display
from tests.cli.running import environment, run, run_process, start
from tests.systems import signals
from tests.web.serving import observation


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four clips as long as what a device reports of one."""
    folder, size = tmp_path_factory.mktemp("serve") / "kit", (320, 180)
    rates = map(Fraction, (24, 25, 30, 60))
    clips = kit_clips([BARS.motion(*size)], rates, size=size, seconds=3)
    make_kit(folder, clips, (Display.fixed(60),))
    return folder


@contextmanager
def running(*words: str, cwd: Path) -> Iterator[subprocess.Popen[str]]:
    process = start("serve", *words, cwd=cwd)
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def lines_until(process: subprocess.Popen[str], word: str) -> list[str]:
    """Lines of standard output up to the one that holds `word`, or to its end."""
    assert process.stdout
    found: list[str] = []
    for line in process.stdout:
        found.append(line.rstrip("\n"))
        if word in line:
            break
    return found


def test_loopback_needs_no_key_and_ctrl_c_ends_it(kit: Path, tmp_path: Path) -> None:
    with running(str(kit), "--port", "0", cwd=tmp_path) as process:
        text = "\n".join(lines_until(process, "Ctrl-C"))
        address = re.search(r"http://localhost:\d+/", text)
        assert address
        assert "4 clips" in text
        with urllib.request.urlopen(address[0]) as answer:
            assert b"evenhold-bars-24fps.mp4" in answer.read()
        in_use(kit, address[0].split(":")[-1].rstrip("/"), tmp_path)
        if sys.platform != "win32":
            ended(process)


def ended(process: subprocess.Popen[str]) -> None:
    """Ctrl-C ends it at once, with 130."""
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=14)  # no fifteen seconds for a head to come
    assert process.returncode == 130
    assert errors.strip().splitlines()[-1] == "evenhold: stopped"
    assert "Traceback" not in errors


def in_use(kit: Path, port: str, folder: Path) -> None:
    """A second server is refused the port in one line."""
    second = run_process("serve", str(kit), "--port", port, cwd=folder)
    assert second.returncode == 2
    assert second.stdout == ""
    assert second.stderr.strip() == (
        f"evenhold: port {port} is in use: end the other program, or give another with --port"
    )


def test_the_local_network_gets_a_key_and_a_code(kit: Path, tmp_path: Path) -> None:
    from patterns.web.server import lan_addresses

    if not lan_addresses():
        pytest.skip("this machine is on no network")
    with running(str(kit), "--lan", "--port", "0", cwd=tmp_path) as process:
        lines = lines_until(process, "Ctrl-C")
        address = next(line.strip() for line in lines if "http://" in line)
        assert re.fullmatch(r"http://[\d.]+:\d+/[\w-]{22}/", address)
        assert len([line for line in lines if "█" in line or "##" in line]) > 15
        with urllib.request.urlopen(address) as answer:
            assert answer.status == 200
        bare = "/".join(address.split("/")[:3]) + "/"
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(bare)


def test_a_further_host_name_is_answered(kit: Path, tmp_path: Path) -> None:
    """With --quiet its address is all that is printed."""
    words = (str(kit), "--port", "0", "--host-name", "Boat.Local", "--quiet")
    with running(*words, cwd=tmp_path) as process:
        [line] = lines_until(process, "http")
        found = re.fullmatch(r"http://Boat\.Local:(\d+)/", line)
        assert found
        address = f"http://localhost:{found[1]}/"
        asked = urllib.request.Request(address, headers={"Host": "boat.local"})
        with urllib.request.urlopen(asked) as answer:
            assert answer.status == 200
        asked = urllib.request.Request(address, headers={"Host": "other.local"})
        with pytest.raises(urllib.error.HTTPError, match="421"):
            urllib.request.urlopen(asked)


def test_an_ascii_terminal_gets_ascii(kit: Path, tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "patterns", "serve", str(kit), "--lan", "--port", "0"],
        cwd=tmp_path,
        env=environment(PYTHONIOENCODING="ascii"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        lines = lines_until(process, "Ctrl-C")
        if lines != [""]:  # on no network
            assert "\n".join(lines).isascii()
    finally:
        process.kill()
        process.communicate()


def test_a_folder_without_clips_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    done = run("serve", "empty", "--port", "0", cwd=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert "holds no clip" in done.stderr


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = run("serve", "file", "--port", "0", cwd=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1


@signals
def test_a_missing_kit_is_rendered_first_and_can_be_stopped(tmp_path: Path) -> None:
    """The usual kit takes minutes: here only that it begins, says so, and leaves no half clip."""
    with running("new", "--port", "0", cwd=tmp_path) as process:
        assert process.stderr
        assert "new is missing: rendering the usual kit" in process.stderr.readline()
        end = time.monotonic() + 100
        while not list(tmp_path.glob("new/.*.part-*")) and time.monotonic() < end:
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
        assert process.returncode == 130
    assert not list((tmp_path / "new").glob("*.part*"))
    assert not (tmp_path / "new" / "kit.json").exists()


def test_without_the_extra_it_says_what_to_install(kit: Path, tmp_path: Path) -> None:
    """A Python that cannot find one of the packages, as after a bare install."""
    (tmp_path / "sitecustomize.py").write_text(
        "import importlib.util as u\n"
        "find = u.find_spec\n"
        "u.find_spec = lambda n, p=None: None if n == 'segno' else find(n, p)\n"
    )
    root = str(Path(__file__).parents[2])
    done = run_process(
        "serve", str(kit), cwd=tmp_path, PYTHONPATH=os.pathsep.join([str(tmp_path), root])
    )
    assert done.returncode == 2
    assert done.stderr.strip() == (
        "evenhold: serving needs segno: where Evenhold is installed, "
        "run python -m pip install segno"
    )


def test_compare_takes_what_a_device_sent(kit: Path, tmp_path: Path) -> None:
    """Two readings of two devices, as they lie in the folder."""
    files = []
    with running(str(kit), "--port", "0", cwd=tmp_path) as process:
        text = "\n".join(lines_until(process, "Ctrl-C"))
        base = re.search(r"http://localhost:\d+/", text)
        assert base
        for _ in range(2):
            request = urllib.request.Request(
                base[0] + "readings",
                data=json.dumps(observation()).encode(),
                headers={"Content-Type": "application/json"},
            )
            with urllib.request.urlopen(request) as answer:
                files.append(str(kit / "readings" / json.load(answer)["file"]))
    done = run("compare", *files, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "3:2" in done.stdout

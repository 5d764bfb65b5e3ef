"""`evenhold render`: what it makes, what it says, and what bad input gets."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from patterns.strip.read import StripReading, read_strip
from patterns.video.codecs import CODECS
from tests.cli.running import encoders_in, environment, program_of, run, run_process, start
from tests.systems import linux, signals

SMALL = ("--size", "640x360", "--frames", "12")  # at 24 a second two seams a second pass


def test_makes_a_clip_and_its_record_and_says_what_they_are(tmp_path: Path) -> None:
    done = run_process("render", "bars", "--rate", "23.976", *SMALL, "--frames", "24", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    clip = tmp_path / "outputs" / "bars-23.976fps-180deg-360p.mp4"
    record = json.loads(clip.with_suffix(".json").read_text())
    assert sorted(p.name for p in clip.parent.iterdir()) == [
        "bars-23.976fps-180deg-360p.json",
        "bars-23.976fps-180deg-360p.mp4",
    ]
    assert record["schema"] == "evenhold/clip 1"
    assert record["rate_exact"] == "24000/1001"
    assert record["bytes"] == clip.stat().st_size
    for words in ("23.976 (24000/1001) fps", "24 frames", "shutter 180 degrees", "px a frame",
                  "on   60 Hz", "on   90 Hz", "on  120 Hz"):  # fmt: skip
        assert words in done.stdout
    # 640 px in 7 s at 24000/1001 frames a second
    assert record["image_motion"]["fastest"]["px_per_frame"] == pytest.approx(
        640 / 7 * 1001 / 24000, abs=1e-4
    )


@pytest.mark.parametrize(
    ("codec", "pattern"),
    [*((codec, "bars") for codec in CODECS), ("h264", "terrain"), ("hevc", "orbit")],
)
def test_every_strip_number_decodes_for_every_codec(
    tmp_path: Path, pattern: str, codec: str
) -> None:
    """The file as PyAV decodes it, frame by frame."""
    name = f"clip{CODECS[codec].suffix}"
    words = ("--rate", "30000/1001", "--codec", codec, "--out", name, "--json")
    small = ("--size", "426x240", "--frames", "12")
    done = run("render", pattern, *small, *words, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    assert record == json.loads((tmp_path / "clip.json").read_text())
    with av.open(str(tmp_path / name)) as container:
        frames, near = list(container.decode(video=0)), None
        for n, frame in enumerate(frames):
            assert frame.pts is not None
            assert frame.time_base is not None
            assert frame.pts * frame.time_base == n * Fraction(1001, 30000)
            luma = np.asarray(frame.reformat(format="gray").to_ndarray(), np.uint8)
            found = read_strip(luma, near=near)
            assert isinstance(found, StripReading), found
            near = found.placement
            assert found.identity is not None
            assert (found.number, found.identity.rate) == (n, Fraction(30000, 1001))
            assert found.identity.clip == record["identity"]
    assert len(frames) == 12


def test_the_same_command_gives_the_same_bytes(tmp_path: Path) -> None:
    """In two processes, so that nothing depends on where objects lie or how text is hashed."""
    for name, how in (("a.mp4", run_process), ("b.mp4", run)):
        words = ("--size", "320x180", "--frames", "12", "--out", name)
        done = how("render", "terrain", *words, cwd=tmp_path)
        assert done.returncode == 0
    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()


def test_a_loop_closes_on_whole_periods(tmp_path: Path) -> None:
    done = run("render", "bars", "--seamless", "--size", "360p", "--seconds", "3",
               "--rate", "23.976",
               "--json", cwd=tmp_path)  # fmt: skip
    record = json.loads(done.stdout)
    speed = record["motion"]["speed_px_s"] * record["frames"] / record["rate"]
    assert record["loop"]["periods"] == 2
    assert speed / record["motion"]["period_px"] == pytest.approx(2, abs=1e-12)
    assert abs(record["loop"]["speed_change_percent"]) < 100 / record["frames"]


BAD = {
    "rate of nothing": (("--rate", "0"), "rate '0'"),
    "negative rate": (("--rate", "-24"), "rate '-24'"),
    "no number": (("--rate", "film"), "rate 'film'"),
    "rate too high": (("--rate", "481"), "480"),
    "shutter 361": (("--shutter", "361"), "0 to 360"),
    "exposure longer than a frame": (("--exposure", "1/20"), "longest allowed is 1/24 s"),
    "both shutter and exposure": (("--shutter", "90", "--exposure", "1/50"), "one of the two"),
    "odd size": (("--size", "641x360"), "even"),
    "absurd size": (("--size", "64000x36000"), "8192"),
    "size of nothing": (("--size", "big"), "WIDTHxHEIGHT"),
    "no frames": (("--frames", "0"), "1 to 65536"),
    "beyond the number cells": (("--frames", "65537"), "1 to 65536"),
    "no length": (("--seconds", "0"), "more than 0"),
    "both lengths": (("--seconds", "3", "--frames", "3"), "one of the two"),
    "unknown codec": (("--codec", "cinepak"), "h264"),
    "unknown strip": (("--strip", "left"), "bottom"),
    "suffix of another container": (("--out", "clip.avi"), ".mp4"),
    "folder is missing": (("--out", "missing/clip.mp4"), "missing"),
    "no such option": (("--fps", "24"), "--fps"),
    "beyond every level": (("--size", "8k", "--rate", "480"), "level"),
    "speed twice": (("--cross", "7", "--speed-px", "100"), "one of the two"),
    "width without a gap": (("--bar-width", "5000"), "gap"),
}


@pytest.mark.parametrize("what", list(BAD))
def test_bad_input_gets_one_line_and_exit_code_2(tmp_path: Path, what: str) -> None:
    words, said = BAD[what]
    done = run("render", "bars", *words, cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert not list(tmp_path.rglob("*.mp4"))


def test_unknown_pattern_names_the_patterns(tmp_path: Path) -> None:
    done = run("render", "waves", cwd=tmp_path)
    assert done.returncode == 2
    assert "allowed are bars, terrain, orbit" in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_file_that_exists_is_kept_unless_forced(tmp_path: Path) -> None:
    (tmp_path / "clip.mp4").write_text("mine")
    done = run("render", "bars", *SMALL, "--out", "clip.mp4", cwd=tmp_path)
    assert done.returncode == 2
    assert "--force" in done.stderr
    assert (tmp_path / "clip.mp4").read_text() == "mine"
    assert (
        run("render", "bars", *SMALL, "--out", "clip.mp4", "--force", cwd=tmp_path).returncode == 0
    )
    assert (tmp_path / "clip.mp4").stat().st_size > 1000


@pytest.mark.parametrize("words", [("--cross", "1.5"), ("--cross", "0.3", "--bars", "8")])
def test_a_clip_that_flashes_at_its_seam_is_refused(tmp_path: Path, words: tuple[str, ...]) -> None:
    """Once it passes; played in a loop it flashes three and a half times in a second."""
    words = ("render", "bars", "--size", "320x180", "--seconds", "2", *words, "--out", "clip.mp4")
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert "where its end meets its start in a loop: make it --seamless or longer" in done.stderr
    assert done.stderr.count("\n") == 1
    assert not list(tmp_path.iterdir())
    assert run(*words, "--seamless", cwd=tmp_path).returncode == 0


def test_flashing_bars_are_refused_unless_allowed(tmp_path: Path) -> None:
    """Sixteen bars that cross in a second flash 16 times a second at every place."""
    words = ("render", "bars", *SMALL, "--bars", "16", "--cross", "1", "--out", "clip.mp4")
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert "--allow-flashing" in done.stderr
    assert list(tmp_path.iterdir()) == []
    done = run(*words, "--allow-flashing", cwd=tmp_path)
    assert done.returncode == 0
    assert "EXCEEDS" in done.stdout


@pytest.mark.parametrize("exe", ["/nowhere/ffmpeg", "/bin/false"])
def test_an_encoder_that_is_missing_or_fails_is_one_line(tmp_path: Path, exe: str) -> None:
    done = run_process(
        "render", "bars", *SMALL, "--out", "c.mp4", cwd=tmp_path, IMAGEIO_FFMPEG_EXE=exe
    )
    assert done.returncode == 1, done.stderr
    assert "encoder" in done.stderr
    assert done.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def _wait_for_encoder(folder: Path, command: int) -> int:
    """Process that writes into `folder` and is neither the command nor a copy of it."""
    own = program_of(command)
    end = time.monotonic() + 120
    while time.monotonic() < end:
        found = [n for n in encoders_in(folder) if program_of(n) not in (None, own)]
        if found:
            return found[0]
        time.sleep(0.05)
    raise AssertionError("the encoder did not start")


@linux
@pytest.mark.parametrize(
    ("pattern", "number", "code"),
    [
        ("bars", signal.SIGINT, 130),
        ("bars", signal.SIGTERM, 143),
        ("terrain", signal.SIGINT, 130),
        ("orbit", signal.SIGTERM, 143),
    ],
    ids=["bars, Ctrl-C", "bars, terminate", "terrain, Ctrl-C", "orbit, terminate"],
)
def test_stopping_leaves_nothing(
    tmp_path: Path, pattern: str, number: signal.Signals, code: int
) -> None:
    """Each pattern, and each signal twice: where it is raised does not depend on which it is."""
    words = ("--size", "640x360", "--seconds", "600", "--out", str(tmp_path / "c.mp4"))
    process = start("render", pattern, *words, cwd=tmp_path)
    _wait_for_encoder(tmp_path, process.pid)
    time.sleep(0.3)
    process.send_signal(number)
    _, said = process.communicate(timeout=120)
    assert process.returncode == code
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []
    assert encoders_in(tmp_path) == []


@signals
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_stop_that_python_drops_stops_all_the_same(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    """Exceptions in the callback of a weak reference are dropped; nothing is said of them."""
    program = f"""
from patterns.frame_source import FrameSource

def draw(self, n, frame=None, whole=FrameSource.draw):
    if n == 3:
        stop({int(number)})
    return whole(self, n, frame)

FrameSource.draw = draw
"""
    words = ("render", "bars", "--size", "640x360", "--seconds", "600", "--out", "c.mp4")
    done = dropped(program, *words, cwd=tmp_path)
    said = ["it went on", *(["evenhold: stopped"] if code == 130 else [])]
    assert done.returncode == code
    assert list(filter(None, done.stderr.splitlines())) == said  # after a ^C a line is begun
    assert list(tmp_path.iterdir()) == []


@signals
def test_a_stop_that_python_drops_while_modules_are_loaded_stops_all_the_same(
    tmp_path: Path,
) -> None:
    program = f"""
class Watch:
    def find_spec(self, name, path=None, target=None):
        if name == "patterns.cli":
            stop({int(signal.SIGINT)})

sys.meta_path.insert(0, Watch())
"""
    done = dropped(program, "cadence", "24", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr.splitlines() == ["it went on", "evenhold: stopped"]


def dropped(program: str, *words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command after a program in which `stop(number)` sends it a signal that gets lost."""
    begin = """
import os, signal, sys, weakref
from patterns.__main__ import main

class Thing: pass

def stop(number):
    thing = Thing()
    watch = weakref.ref(thing, lambda _: os.kill(os.getpid(), number))
    del thing
    sys.stderr.write("it went on\\n")

# what a shell starts in the background has Ctrl-C ignored, these tests perhaps
signal.signal(signal.SIGINT, signal.default_int_handler)
"""
    return subprocess.run(
        [sys.executable, "-c", f"{begin}{program}\nsys.exit(main())", *words],
        cwd=cwd, env=environment(), capture_output=True, text=True, timeout=250, check=False,
    )  # fmt: skip


def test_an_encoder_that_is_killed_is_one_line(tmp_path: Path) -> None:
    if sys.platform != "linux":
        pytest.skip("looks into /proc")
    process = start(
        "render", "bars", "--seconds", "600", "--out", str(tmp_path / "c.mp4"), cwd=tmp_path
    )
    os.kill(_wait_for_encoder(tmp_path, process.pid), signal.SIGKILL)
    _, said = process.communicate(timeout=120)
    assert process.returncode == 1
    assert "killed" in said
    assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@linux
@pytest.mark.parametrize("pattern", ["terrain", "orbit"])
def test_no_process_outlives_a_command_that_is_killed(tmp_path: Path, pattern: str) -> None:
    words = ("--size", "640x360", "--seconds", "600", "--out", str(tmp_path / "c.mp4"))
    process = start("render", pattern, *words, cwd=tmp_path)
    _wait_for_encoder(tmp_path, process.pid)
    process.kill()
    process.communicate(timeout=120)
    end = time.monotonic() + 60
    while encoders_in(tmp_path) and time.monotonic() < end:
        time.sleep(0.05)
    assert encoders_in(tmp_path) == []


@linux
@pytest.mark.parametrize("after_s", [0.05, 0.1, 0.2, 0.3, 0.45, 0.6])
def test_ctrl_c_while_it_starts_leaves_nothing(tmp_path: Path, after_s: float) -> None:
    """At whatever moment it comes: no trace of Python, no file, no process.

    Before the interpreter has reached our code a signal is its own affair, so the test waits
    for the first line that we run.
    """
    code = (
        "import signal, sys; from patterns.__main__ import main; "
        # what a shell starts in the background has Ctrl-C ignored, these tests perhaps
        "signal.signal(signal.SIGINT, signal.default_int_handler); "
        "sys.stdout.write('x'); sys.stdout.flush(); sys.exit(main())"
    )
    words = ("render", "terrain", "--seconds", "600", "--out", str(tmp_path / "c.mp4"))
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
    )
    assert process.stdout is not None
    assert process.stdout.read(1) == b"x"
    time.sleep(after_s)
    process.send_signal(signal.SIGINT)
    try:
        _, said = process.communicate(timeout=120)
    finally:
        process.kill()  # of no effect unless it goes on
    assert process.returncode == 130
    assert said.strip() == b"evenhold: stopped"
    assert list(tmp_path.iterdir()) == []
    assert encoders_in(tmp_path) == []

"""Whatever goes wrong while a file is written: one clear line, nothing left behind."""

# ruff: noqa: PT012 - what these tests are about is what happens inside of the blocks
from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from contextlib import closing
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from patterns.errors import EncoderError, EvenholdError, OutputError, RequestError
from patterns.picture.planes import Planes
from patterns.video import process
from patterns.video.probe import PacketScan, probe
from patterns.video.reader import read_luma
from patterns.video.writer import BUFFERS, VideoSpec, VideoWriter
from tests.cli.running import encoders_in
from tests.systems import linux, posix
from tests.video.moving import moving_texture


def spec(path: Path, **changes: object) -> VideoSpec:
    return VideoSpec(**{"path": path, "width": 160, "height": 128, "rate": Fraction(24), **changes})  # type: ignore[arg-type]


def write(wanted: VideoSpec, frames: int = 5) -> None:
    with VideoWriter(wanted) as writer:
        for frame in moving_texture(frames):
            writer.write(frame)


def one_line(error: pytest.ExceptionInfo[EvenholdError]) -> str:
    text = str(error.value)
    assert text
    assert "\n" not in text
    assert "Traceback" not in text
    return text


def wait_until(met: Callable[[], bool], timeout_s: float = 60) -> bool:
    end = time.monotonic() + timeout_s
    while time.monotonic() < end:
        if met():
            return True
        time.sleep(0.02)
    return met()


def processes_that_name(text: str) -> list[int]:
    """Ids of all live processes with `text` in their command line, ours excepted."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            try:
                command = (entry / "cmdline").read_bytes().decode("utf-8", "replace")
            except OSError:
                continue
            if text in command and "ffmpeg" in command:
                found.append(int(entry.name))
    return found


def zombies() -> list[int]:
    """Our own children that have ended and were not waited for."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            state, parent = (entry / "stat").read_text().rpartition(")")[2].split()[:2]
        except OSError:
            continue
        if state == "Z" and int(parent) == os.getpid():
            found.append(int(entry.name))
    return found


def test_a_file_appears_only_when_it_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    with VideoWriter(spec(path)) as writer:
        writer.write(moving_texture(1)[0])
        assert not path.exists()
        (hidden,) = tmp_path.iterdir()
        assert hidden.name.startswith(".clip.mp4.part-")
    assert [p.name for p in tmp_path.iterdir()] == ["clip.mp4"]


def test_a_buffer_may_be_used_again_at_once(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    buffer = Planes.blank(160, 128)
    with VideoWriter(spec(path, codec="lossless")) as writer:
        for n in range(40):
            buffer.y[:] = 20 + 5 * n
            writer.write(buffer)
    assert [int(luma[7, 7]) for _, luma in read_luma(path)] == [20 + 5 * n for n in range(40)]


@linux
def test_ctrl_c_while_no_buffer_is_free(tmp_path: Path) -> None:
    """The encoder stands still, so that memory runs out; the signal comes while it is awaited."""
    code = """
        import os, signal, sys, threading
        from pathlib import Path
        from patterns.picture.planes import Planes
        from patterns.video.writer import VideoWriter
        from tests.video.test_failures import spec
        signal.signal(signal.SIGINT, signal.default_int_handler)
        path = Path(sys.argv[1]) / "clip.mp4"
        try:
            with VideoWriter(spec(path, width=1920, height=1080)) as writer:
                os.kill(writer.encoder_pid, signal.SIGSTOP)
                threading.Timer(0.7, os.kill, (os.getpid(), signal.SIGINT)).start()
                while True:
                    writer.write(Planes.blank(1920, 1080))
        except KeyboardInterrupt:
            print("stopped after", writer.written)
    """
    done = run_python(code, str(tmp_path))
    assert done.stdout.startswith("stopped after"), done.stderr
    assert int(done.stdout.split()[-1]) <= BUFFERS + 1
    assert not list(tmp_path.iterdir())


def test_existing_file_is_kept_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_text("mine")
    with pytest.raises(RequestError, match=r"exists: give --force") as error:
        write(spec(path))
    one_line(error)
    assert path.read_text() == "mine"
    write(spec(path, force=True))
    assert path.stat().st_size > 1000


def test_a_file_that_appears_meanwhile_is_kept_too(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    with pytest.raises(RequestError, match="exists"), VideoWriter(spec(path)) as writer:
        writer.write(moving_texture(1)[0])
        path.write_text("theirs")
    assert path.read_text() == "theirs"
    assert [p.name for p in tmp_path.iterdir()] == ["clip.mp4"]


def test_a_forced_run_that_fails_keeps_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    path.write_text("mine")
    with pytest.raises(ZeroDivisionError), VideoWriter(spec(path, force=True)) as writer:
        writer.write(moving_texture(1)[0])
        raise ZeroDivisionError
    assert path.read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["clip.mp4"]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("missing/clip.mp4", "does not exist: make it first"),
        ("file/clip.mp4", "is not a folder"),
        ("folder.mp4", "is a folder"),
        (f"{'x' * 300}.mp4", "too long"),
    ],
)
def test_places_that_cannot_be_written(tmp_path: Path, name: str, words: str) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "folder.mp4").mkdir()
    with pytest.raises(RequestError, match=words) as error:
        write(spec(tmp_path / name))
    one_line(error)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder.mp4"]


@linux
def test_folder_without_the_right_to_write(tmp_path: Path) -> None:
    """As another user where the tests run as root, to whom all is allowed."""
    folder = tmp_path / "closed"
    folder.mkdir(mode=0o555)
    code = f"""
        import os
        from pathlib import Path
        from patterns.errors import OutputError
        from patterns.whole_file import PartialFile
        if os.getuid() == 0:
            os.setgroups([]); os.setgid(65534); os.setuid(65534)
        try:
            PartialFile(Path("{folder}/clip.mp4"), force=False)
        except OutputError as error:
            print(error)
    """
    for parent in (tmp_path, *tmp_path.parents[:2]):
        parent.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=False
    )
    assert "closed is not writable" in done.stdout, done.stderr


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"width": 161}, "both sides must be even"),
        ({"rate": Fraction(0)}, "not above 0"),
        ({"codec": "nothing"}, "allowed are h264"),
        ({"codec": "prores"}, r"ends in \.mov"),
        ({"width": 7680, "height": 4320, "rate": Fraction(480)}, "highest level"),
    ],
)
def test_specs_that_cannot_be(tmp_path: Path, changes: dict[str, object], words: str) -> None:
    with pytest.raises(RequestError, match=words) as error:
        VideoWriter(spec(tmp_path / "clip.mp4", **changes))
    assert error.value.exit_code == 2
    one_line(error)
    assert not list(tmp_path.iterdir())


def test_frames_of_another_size_or_type_are_refused(tmp_path: Path) -> None:
    good = moving_texture(1)[0]
    wrong = [
        Planes.blank(160, 126),
        Planes(good.y.astype(np.float64), good.cb, good.cr),
        Planes(good.y, good.cb, good.cr[:-1]),
    ]
    for frame in wrong:
        with (
            pytest.raises(RequestError, match="must be uint8"),
            VideoWriter(spec(tmp_path / "clip.mp4")) as writer,
        ):
            writer.write(good)
            writer.write(frame)
        assert not list(tmp_path.iterdir())


def test_too_few_frames_and_none(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="5 of 6 frames"):
        write(spec(tmp_path / "clip.mp4", frames=6))
    with pytest.raises(RequestError, match="no frame was written"):
        write(spec(tmp_path / "clip.mp4"), frames=0)
    assert not list(tmp_path.iterdir())


def test_encoder_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "nowhere"))
    with pytest.raises(EncoderError, match="IMAGEIO_FFMPEG_EXE") as error:
        write(spec(tmp_path / "clip.mp4"))
    one_line(error)
    assert not list(tmp_path.iterdir())


@posix
def test_encoder_that_fails_is_quoted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program in ffmpeg's place that reads a little, complains and goes."""
    program = tmp_path / "ffmpeg"
    program.write_text(
        "#!/bin/sh\n[ \"$*\" = '-hide_banner -nostats -nostdin -encoders' ] &&\n"
        "  { echo ' V....D libx264  of the reservoir'; exit 0; }\n"
        "head -c 99 >/dev/null\n"
        "echo '[libx264 @ 0x55] the reservoir is dry' >&2\nexit 3\n"
    )
    program.chmod(0o755)
    out = tmp_path / "out"
    out.mkdir()
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(program))
    for frames in (1, 300):  # found at the end, and in the middle of writing
        with pytest.raises(EncoderError, match=r"code 3\): the reservoir is dry") as error:
            write(spec(out / "clip.mp4"), frames=frames)
        one_line(error)
        assert not list(out.iterdir())


def test_encoder_killed_in_the_middle(tmp_path: Path) -> None:
    if sys.platform != "linux":
        pytest.skip("looks into /proc")
    frame = moving_texture(1)[0]
    with (
        pytest.raises(EncoderError, match="killed by SIGKILL") as error,
        VideoWriter(spec(tmp_path / "clip.mp4")) as writer,
    ):
        writer.write(frame)
        os.kill(writer.encoder_pid, signal.SIGKILL)
        for _ in range(10_000):
            writer.write(frame)
    one_line(error)
    assert not list(tmp_path.iterdir())
    assert not zombies()


def test_encoder_stopped_and_never_obeying_is_killed(tmp_path: Path) -> None:
    if sys.platform != "linux":
        pytest.skip("looks into /proc")
    with pytest.raises(KeyboardInterrupt), VideoWriter(spec(tmp_path / "clip.mp4")) as writer:
        writer.write(moving_texture(1)[0])
        pid = writer.encoder_pid
        os.kill(pid, signal.SIGSTOP)
        raise KeyboardInterrupt
    assert not Path(f"/proc/{pid}").exists()
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("stop", [KeyboardInterrupt, SystemExit(143), ValueError])
def test_exceptions_in_the_middle_leave_nothing(
    tmp_path: Path, stop: BaseException | type[BaseException]
) -> None:
    kind = stop if isinstance(stop, type) else type(stop)
    with pytest.raises(kind), VideoWriter(spec(tmp_path / "clip.mp4")) as writer:
        for n, frame in enumerate(moving_texture(20)):
            writer.write(frame)
            if n == 12:
                raise stop
    assert not list(tmp_path.iterdir())
    if sys.platform == "linux":
        assert not processes_that_name(str(tmp_path))
        assert not zombies()


@linux
def test_file_size_limit_counts_as_a_disk_that_refuses(tmp_path: Path) -> None:
    """The limit is inherited by the encoder, which is then in the place of a full disk."""
    code = """
        import resource, sys, signal
        from pathlib import Path
        from tests.video.test_failures import spec, write
        from patterns.errors import OutputError
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
        if sys.argv[2] == "ignore":
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        else:
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        try:
            write(spec(Path(sys.argv[1]) / "clip.mp4"), 60)
        except OutputError as error:
            print(error)
    """
    for way in ("ignore", "default"):
        done = run_python(code, str(tmp_path), way)
        assert "larger than the system allows" in done.stdout, done.stderr
        assert not list(tmp_path.iterdir())


@linux
def test_full_disk(tmp_path: Path) -> None:
    """On a file system of 64 KiB, where the tests may mount one."""
    disk = tmp_path / "small"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)],
        capture_output=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip("not allowed to mount a file system")
    try:
        with pytest.raises(OutputError, match="the disk is full") as error:
            write(spec(disk / "clip.mp4"), 60)
        one_line(error)
        assert not list(disk.iterdir())
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def run_python(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=250,
    )


ENDLESS = """
    import signal, sys, time
    from pathlib import Path
    from patterns.video.writer import VideoWriter
    from tests.video.test_failures import spec
    from tests.video.moving import moving_texture
    def leave(number, frame):
        raise SystemExit(128 + number)
    signal.signal(signal.SIGTERM, leave)  # as the command line does
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)  # which these tests may have been told to ignore
    frames = moving_texture(4)
    with VideoWriter(spec(Path(sys.argv[1]) / "clip.mp4", codec=sys.argv[2])) as writer:
        print(writer.encoder_pid, flush=True)
        while True:
            for frame in frames:
                writer.write(frame)
            time.sleep(0.001)
"""


SIGNALS = [(name, "h264") for name in ("SIGINT", "SIGTERM", "SIGKILL", "SIGHUP")]


@pytest.mark.parametrize(("name", "codec"), [*SIGNALS, ("SIGKILL", "av1")])
def test_signals_to_a_running_command(tmp_path: Path, name: str, codec: str) -> None:
    """No orphan whatever the signal; and nothing on the disk where Python had a chance.

    Only where Python had none does it depend on the encoder how that ends: AV1's has threads that
    wait on their own.
    """
    if sys.platform != "linux":
        pytest.skip("looks into /proc")
    number = signal.Signals[name]
    child = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(ENDLESS), str(tmp_path), codec],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    assert child.stdout is not None
    with child.stdout:
        encoder = int(child.stdout.readline())
        assert os.getsid(encoder) != os.getsid(child.pid), "Ctrl-C in a terminal would reach it"
        time.sleep(0.3)
        os.killpg(child.pid, number)  # as a terminal sends it
        try:
            child.wait(120)
        finally:
            child.kill()  # of no effect unless it hangs; then no later test meets it
            child.wait()
    assert wait_until(lambda: not Path(f"/proc/{encoder}").exists()), "an orphan"
    assert not (tmp_path / "clip.mp4").exists()
    if number in (signal.SIGINT, signal.SIGTERM):
        assert not list(tmp_path.iterdir())
        return
    # Python had no chance: the next run in this folder clears up.
    assert [p.name for p in tmp_path.iterdir()] == [f".clip.mp4.part-{child.pid}"]
    write(spec(tmp_path / "other.mp4"))
    assert [p.name for p in tmp_path.iterdir()] == ["other.mp4"]


def test_a_run_beside_another_leaves_its_file_alone(tmp_path: Path) -> None:
    frame = moving_texture(1)[0]
    with VideoWriter(spec(tmp_path / "one.mp4")) as one:
        one.write(frame)
        write(spec(tmp_path / "two.mp4"))
        one.write(frame)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.mp4", "two.mp4"]


def test_other_hidden_files_are_left_alone(tmp_path: Path) -> None:
    for name in (".notes.part-one", ".part-12", "x.part-12", ".a.mp4.part-12.bak"):
        (tmp_path / name).write_text("mine")
    left = tmp_path / ".a.mp4.part-12"
    left.write_text("left behind")
    os.utime(left, (time.time() - 100,) * 2)  # on Windows its age tells, elsewhere its lock
    write(spec(tmp_path / "clip.mp4"))
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        ".a.mp4.part-12.bak",
        ".notes.part-one",
        ".part-12",
        "clip.mp4",
        "x.part-12",
    ]


@pytest.mark.parametrize("name", ["-y.mp4", "a b'c.mp4", "pipe:1.mp4", "Stausee Ödtal %d.mp4"])
def test_names_that_could_be_misunderstood(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write(spec(Path(name)))
    assert [p.name for p in tmp_path.iterdir()] == [name]


SILENT = """\
import sys, time
if "-encoders" in sys.argv and {lists}:
    print(" V....D libx264")
    sys.exit()
print("not a decoder", file=sys.stderr, flush=True)
time.sleep(600)
"""


def silent_program(folder: Path, *, lists: bool) -> Path:
    """A program that says one thing and then nothing, started by a shell that waits for it."""
    script = folder / "silent.py"
    script.write_text(SILENT.format(lists=lists))
    program = folder / "ffmpeg"
    program.write_text(f'#!/bin/sh\n"{sys.executable}" "{script}" "$@"\n')
    program.chmod(0o755)
    return program


@posix
@pytest.mark.parametrize("lists", [False, True])
def test_an_encoder_that_never_answers_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lists: bool
) -> None:
    """Neither when it is asked what it can do, nor when it takes no frames."""
    monkeypatch.setattr(process, "READER_PATIENCE_S", 60.0 if lists else 0.3)
    monkeypatch.setattr(process, "ENCODER_PATIENCE_S", 0.3)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(silent_program(tmp_path, lists=lists)))
    begun = time.monotonic()
    with pytest.raises(EncoderError, match=r"did not answer for 0\.3 s") as error:
        write(spec(tmp_path / "clip.mp4"), 200)
    one_line(error)
    assert time.monotonic() - begun < 60
    assert not list(tmp_path.glob("*.mp4*"))
    if sys.platform == "linux":
        assert wait_until(lambda: not processes_that_name(str(tmp_path)))


@posix
def test_a_decoder_that_never_answers_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(spec(tmp_path / "clip.mp4"))
    monkeypatch.setattr(process, "READER_PATIENCE_S", 0.3)
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(silent_program(tmp_path, lists=True)))
    for read in (probe, lambda path: list(read_luma(path)), described):
        with pytest.raises(EncoderError, match=r"did not answer for 0\.3 s"):
            read(tmp_path / "clip.mp4")
    if sys.platform == "linux":
        assert not zombies()


def described(path: Path) -> None:
    """Wait for what is told of a file before its packets."""
    with closing(PacketScan(path)) as scan:
        scan.described()


def test_a_decoder_is_not_ended_while_nobody_waits_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever looks at pictures may take his time: the full pipe is not the decoder's fault."""
    write(spec(tmp_path / "clip.mp4"), 120)
    monkeypatch.setattr(process, "READER_PATIENCE_S", 2)  # a busy machine decodes one in that
    pictures = read_luma(tmp_path / "clip.mp4")
    next(pictures)
    time.sleep(2.5)
    assert sum(1 for _ in pictures) == 119


@linux
def test_an_encoder_that_ctrl_c_made_us_lose_makes_no_file_anew_at_exit(tmp_path: Path) -> None:
    """Started, but not kept under a name: it opens its file after ours is gone."""
    script = """
        from pathlib import Path
        from patterns.video.process import FfmpegProcess
        from patterns.whole_file import PartialFile
        path = str(PartialFile(Path("clip.mp4").absolute(), force=False).path)
        still = "-f rawvideo -pix_fmt gray -s 64x64 -i - -f mp4 -y".split()
        FfmpegProcess([*still, path], feeds=True)
    """
    subprocess.run([sys.executable, "-c", textwrap.dedent(script)], cwd=tmp_path, check=True)
    while encoders_in(tmp_path):
        time.sleep(0.05)
    assert not list(tmp_path.iterdir())

"""One run of the bundled ffmpeg as a child that cannot be left behind.

Its messages are drained by a thread at all times (a full pipe would stop it) into a bounded list.
If Python itself is killed, the pipes close and the child ends by itself. If it stays silent too
long while something is wanted of it, it is ended: nobody waits for ever.
"""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from importlib.machinery import PathFinder
from pathlib import Path
from typing import TypeAlias

from patterns.errors import EncoderError
from patterns.video.child import end_child, forget_child, kill_child, start_child, widen

File: TypeAlias = str | os.PathLike[str]  # its name
OnLine: TypeAlias = Callable[[str], None]  # takes a line of ffmpeg's messages
STOP_S = 2.0  # how long a child may take to obey before it is killed
# How long it may take to say anything, or to take anything, while it is waited for. An encoder
# is silent while it works off what it has taken, on a busy machine for minutes.
READER_PATIENCE_S, ENCODER_PATIENCE_S = 60.0, 600.0
LOOKS = 20  # in that time; counted, so that a laptop that slept does not count as silence
HEAD_LINES, TAIL_LINES, LINE_CHARS = 8, 24, 300
# What cameras, phones and editors make. All else stays closed, above all what makes a decoder
# open further files: playlists, scripts, segment lists, network descriptions, numbered pictures.
_CONTAINERS = (
    *("mov", "matroska", "avi", "mpegts", "mpeg", "mxf", "asf", "flv", "dv", "ogg", "ivf"),
    *("yuv4mpegpipe", "gif", "apng", "webp_anim", "webp_pipe", "png_pipe"),
    *("wav", "mp3"),  # sound alone, so that it is told from damage
)
_PREFIX = re.compile(r"^(\[[^\]]*@ 0x[0-9a-f]+\]\s*)+|^\[[a-z]+#[^\]]*\]\s*")
# Lines that name no cause.
_EMPTY_WORDS = ("Conversion failed", "Svt[", "Exiting normally", "Task finished", "Terminating")


def ffmpeg_path() -> str:
    """Path of the bundled ffmpeg, or of the one that IMAGEIO_FFMPEG_EXE names.

    Raises `EncoderError`: there is none.
    """
    return os.environ.get("IMAGEIO_FFMPEG_EXE") or _bundled()


@cache
def _bundled() -> str:
    """The program that came with imageio-ffmpeg, else the one that it finds elsewhere.

    Asked for its own, it starts it once to see whether it runs: a fiftieth of a second.
    """
    package = PathFinder.find_spec("imageio_ffmpeg")
    for folder in (package and package.submodule_search_locations) or ():
        programs = [*Path(folder).glob("binaries/ffmpeg-*")]
        if len(programs) == 1:
            return str(programs[0])
    from imageio_ffmpeg import get_ffmpeg_exe

    try:
        return str(get_ffmpeg_exe())
    except RuntimeError as error:
        raise EncoderError(
            "the video encoder is missing: reinstall imageio-ffmpeg, or set "
            "IMAGEIO_FFMPEG_EXE to an ffmpeg program"
        ) from error


def file_argument(path: File) -> str:
    """File name in a form that can be taken neither for an option nor for a web address."""
    return "file:" + os.path.abspath(os.fspath(path))  # noqa: PTH100 - keeps links as they are


def input_arguments(path: File) -> tuple[str, ...]:
    """Arguments that open this one file, if it is a container that is read, and no other."""
    return (
        *("-protocol_whitelist", "file", "-format_whitelist", ",".join(_CONTAINERS)),
        *("-i", file_argument(path)),
    )


class FfmpegProcess:
    """A running ffmpeg.

    `arguments`: all but the program's name.
    `feeds`: whether it reads what is written to `stdin`; otherwise it has none.
    `on_line`: called with each line of its messages, in the draining thread; `on_end` after them.
    Raises `EncoderError`: the program is missing or cannot be started; from all that waits for it:
    it is silent.
    """

    def __init__(
        self,
        arguments: Sequence[str],
        *,
        feeds: bool = False,
        on_line: OnLine | None = None,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        program = ffmpeg_path()
        self._head: list[str] = []
        self._tail: deque[str] = deque(maxlen=TAIL_LINES)
        self._on_line, self._on_end = on_line, on_end
        self._program = program
        self._patience_s = ENCODER_PATIENCE_S if feeds else READER_PATIENCE_S
        self._awaited = self._silent = False
        self._signs = 0  # of life
        self._ended = threading.Event()
        no_input = [] if feeds else ["-nostdin"]
        command = [program, "-hide_banner", "-nostats", *no_input, *arguments]
        try:
            self._child = start_child(command, feeds=feeds)
        except OSError as error:
            raise EncoderError(
                f"the video encoder {program} cannot be started ({error.strerror}): reinstall "
                f"imageio-ffmpeg, or correct IMAGEIO_FFMPEG_EXE"
            ) from error
        try:
            self._drain = threading.Thread(target=self._drain_messages, daemon=True)
            self._drain.start()
            threading.Thread(target=self._watch, daemon=True).start()
            pipe = self._child.stdin or self._child.stdout
            assert pipe is not None
            widen(pipe)
        except BaseException:
            self.kill()
            raise

    @property
    def pid(self) -> int:
        """Process id."""
        return self._child.pid

    def write(self, data: memoryview) -> None:
        """Feed all of `data`, bytes; OSError if it takes no more."""
        assert self._child.stdin is not None
        with self._waiting():
            while data:  # an unbuffered pipe may take a part
                data = data[self._child.stdin.write(data) :]
                self._signs += 1

    def close_input(self) -> None:
        """Tell it that nothing more comes; harmless if it has ended."""
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):
            self._child.stdin.close()

    def fill(self, buffer: memoryview) -> int:
        """Read its results until `buffer`, bytes, is full or they end; gives the bytes read."""
        assert self._child.stdout is not None
        got = 0
        with self._waiting():
            # unbuffered, so that a read may be short
            while read := self._child.stdout.readinto(buffer[got:]):  # type: ignore[attr-defined]
                got += read
                self._signs += 1
        self._check_heard()
        return got

    def lines(self) -> Iterator[str]:
        """Its results as lines of ASCII text, without their ends."""
        assert self._child.stdout is not None
        rest, block = b"", b"\n"
        while block:
            with self._waiting():
                block = self._child.stdout.read(1 << 16)
            *lines, rest = (rest + block).split(b"\n")
            yield from (line.decode("ascii", "replace").rstrip("\r") for line in lines)
        self._check_heard()
        if rest:
            yield rest.decode("ascii", "replace")

    def await_told(self, told: threading.Event) -> None:
        """Wait until it has said what sets `told`, as `on_end` should too."""
        with self._waiting():
            told.wait()
        self._check_heard()

    @property
    def words(self) -> str:
        """What it said is wrong, in one line; empty if it said nothing."""
        lines = self.all_words.split("\n")
        telling = [line for line in lines if line and not line.startswith(_EMPTY_WORDS)]
        return telling[0] if telling else ""

    @property
    def all_words(self) -> str:
        """All of its messages that were kept, the first and the last ones."""
        return "\n".join(_PREFIX.sub("", line) for line in (*self._head, *self._tail))

    def wait(self) -> int:
        """Wait for its end; returns the exit code (negative: a signal)."""
        with self._waiting():
            code = self._child.wait()
            self._drain.join()
        forget_child(self._child)
        self._check_heard()
        return code

    def stop(self) -> None:
        """End it, gently if it obeys, and release everything; harmless if it has ended."""
        try:
            # One that only reads loses nothing, and may be waiting for us to take its output.
            if self._child.poll() is None and self._child.stdin is not None:
                self._child.terminate()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self._child.wait(STOP_S)
        finally:
            self.kill()
            self.release()

    def kill(self) -> None:
        """End it at once; its result is of no use any more."""
        self._ended.set()
        end_child(self._child)

    def release(self) -> None:
        """Close the pipes of a child that has ended."""
        self._drain.join(STOP_S)
        for pipe in (self._child.stdin, self._child.stdout, self._child.stderr):
            # Windows would wait for what is still being read, as where another has it open too.
            if pipe is not None and not (pipe is self._child.stderr and self._drain.is_alive()):
                with contextlib.suppress(OSError):
                    pipe.close()

    @contextlib.contextmanager
    def _waiting(self) -> Iterator[None]:
        self._signs += 1
        self._awaited = True
        try:
            yield
        finally:
            self._awaited = False

    def _watch(self) -> None:
        """End the child once it has given no sign of life for long while it was waited for."""
        signs = looks = 0
        while looks < LOOKS:
            if self._ended.wait(self._patience_s / LOOKS):
                return
            looks = looks + 1 if self._awaited and self._signs == signs else 0
            signs = self._signs
        self._silent = True
        kill_child(self._child)

    def _check_heard(self) -> None:
        if self._silent:
            raise EncoderError(
                f"the video encoder {self._program} did not answer for {self._patience_s:g} s and "
                f"was ended: try again; if it stays so, reinstall imageio-ffmpeg or correct "
                f"IMAGEIO_FFMPEG_EXE"
            )

    def _drain_messages(self) -> None:
        assert self._child.stderr is not None
        with contextlib.suppress(ValueError, OSError):  # closed while it was read
            rest = b""
            while block := self._child.stderr.read(1 << 16):
                *lines, rest = (rest + block).split(b"\n")
                for line in lines:
                    self._take(line)
                rest = rest[-10_000:]
            self._take(rest)
        self._on_end()

    def _take(self, raw: bytes) -> None:
        self._signs += 1
        line = raw.decode("utf-8", "replace").rstrip()
        if self._on_line is not None:
            self._on_line(line)
        (self._head if len(self._head) < HEAD_LINES else self._tail).append(line[:LINE_CHARS])

"""Writes frames into a video file that is whole and exact, or not there at all."""

from __future__ import annotations

import signal
import threading
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from patterns.errors import EncoderError, EvenholdError, OutputError, RequestError
from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.timing.rates import format_rate
from patterns.video.codecs import Codec, codec_named
from patterns.video.levels import level_of_bits, state_h264_level
from patterns.video.probe import PacketScan
from patterns.video.process import FfmpegProcess, file_argument
from patterns.whole_file import PartialFile

# Frames that may wait: the encoder has work while the next few are drawn. ffmpeg's own queues, to
# which nothing sets a limit, take 60 MB of 1080p when full: with six waiting they were within a
# minute, with four they seldom are, for a hundredth of the time.
BUFFERS = 4
# What ffmpeg says when the disk refuses, and what it means.
_DISK_WORDS = {
    "No space left on device": "the disk is full",
    "File too large": "the file would be larger than the system allows",
    "Disk quota exceeded": "the disk quota is used up",
    "Input/output error": "the disk failed",
    "Read-only file system": "the disk is read-only",
}


@dataclass(frozen=True)
class VideoSpec:
    """What is to be written, and where."""

    path: Path  # final name; its suffix is that of the codec
    width: int  # in pixels; both even
    height: int
    rate: Fraction  # frames a second, exact
    codec: str = "h264"  # name of an entry of `patterns.video.codecs.CODECS`
    frames: int | None = None  # how many there will be; another count is then an error
    force: bool = False  # whether an existing file is replaced
    small: bool = False  # whether to take more time for fewer bytes, where the codec has such a way

    def encoder_arguments(self) -> tuple[str, ...]:
        """All arguments of the encoder but the name of the output.

        Raises `RequestError`: unknown codec, one that this machine cannot make, another suffix, odd
        size, or more than the codec can do.
        Raises `EncoderError`: the encoder is missing or does not answer.
        """
        codec = self._checked_codec()
        rate = f"{self.rate.numerator}/{self.rate.denominator}"
        return (
            *("-loglevel", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuv420p"),
            *("-video_size", f"{self.width}x{self.height}", "-framerate", rate, "-i", "pipe:0"),
            *codec.arguments(self.width, self.height, self.rate, small=self.small),
        )

    def _checked_codec(self) -> Codec:
        codec = codec_named(self.codec)
        if self.path.suffix.lower() != codec.suffix:
            raise RequestError(
                f"{self.path.name!r} does not fit codec {codec.name}: name a file that ends in "
                f"{codec.suffix}"
            )
        if self.width % 2 or self.height % 2 or min(self.width, self.height) < 2:
            raise RequestError(
                f"size {self.width}x{self.height} is not possible: both sides must be even"
            )
        if self.rate <= 0:
            raise RequestError(f"rate {self.rate} is not above 0: try 24, 30 or 60")
        return codec


class Feeder:
    """Thread that writes whole frames to `encoder` in the order given.

    `encoder`: its input is closed by the thread when it ends.
    `frame_bytes`: size of one frame, planes one after the other.
    """

    def __init__(self, encoder: FfmpegProcess, frame_bytes: int) -> None:
        self._encoder = encoder
        # Not `queue.Queue`: an exception raised by a signal (Ctrl-C, SIGTERM) can leave its
        # Python lock held, and then giving up would wait for ever. This one has no such lock.
        self._free: SimpleQueue[UInt8Array] = SimpleQueue()
        self._full: SimpleQueue[UInt8Array | None] = SimpleQueue()
        for _ in range(BUFFERS):
            self._free.put(np.empty(frame_bytes, np.uint8))
        self._given_up = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def broken(self) -> bool:
        """Whether the encoder has ended."""
        return self._given_up.is_set()

    def put(self, frame: Planes) -> None:
        """Queue a copy of a frame; waits while no buffer is free."""
        buffer = self._free.get()
        start = 0
        for plane in (frame.y, frame.cb, frame.cr):
            buffer[start : start + plane.size].reshape(plane.shape)[:] = plane
            start += plane.size
        self._full.put(buffer)

    def finish(self) -> None:
        """Wait until all is written and the pipe is closed."""
        self._full.put(None)
        self._thread.join()

    def give_up(self) -> None:
        """Write no further frame; does not wait."""
        self._given_up.set()
        self._full.put(None)

    def join(self, timeout_s: float) -> None:
        """Wait for the thread's end."""
        self._thread.join(timeout_s)

    def _run(self) -> None:
        try:
            while (buffer := self._full.get()) is not None:
                if not self._given_up.is_set():
                    try:
                        self._encoder.write(buffer.data)
                    except OSError:
                        self._given_up.set()
                # After a failure buffers still go round, so that nobody waits for ever.
                self._free.put(buffer)
        finally:
            self._encoder.close_input()


class VideoWriter:
    """Context manager that owns the encoder.

    On a regular end the file has been closed by the encoder, read again (the count and
    every timestamp are compared with what was written), and moved to its final name. On
    any exception, Ctrl-C and SystemExit included, the encoder is ended and nothing stays.

    Raises `RequestError`: the spec is not possible, or a frame is not what the spec says.
    Raises `OutputError`: the file cannot be written there: on entry, or later when the disk fails.
    Raises `EncoderError`: the encoder is missing, failed, or was killed.
    """

    def __init__(self, spec: VideoSpec) -> None:
        self.spec = spec
        self.written = 0
        self._arguments = spec.encoder_arguments()
        self._codec = codec_named(spec.codec)
        # what the file states; in the end one that carries its bits a second too
        self.level = self._codec.level(spec.width, spec.height, spec.rate)
        self._partial: PartialFile | None = None
        self._process: FfmpegProcess | None = None
        self._feeder: Feeder | None = None

    def __enter__(self) -> VideoWriter:
        try:
            self._partial = PartialFile(self.spec.path, force=self.spec.force)
            out = file_argument(self._partial.path)
            self._process = FfmpegProcess([*self._arguments, out], feeds=True)
            frame_bytes = self.spec.width * self.spec.height * 3 // 2
            self._feeder = Feeder(self._process, frame_bytes)
        except BaseException:
            self._abort()
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if kind is None:
                self._finish()
        finally:
            self._abort()

    @property
    def encoder_pid(self) -> int:
        """Process id of the encoder while it runs."""
        assert self._process is not None, "not entered"
        return self._process.pid

    def write(self, frame: Planes) -> None:
        """Queue a copy of the next frame.

        Raises `RequestError`: size or type of a plane is not what the spec says.
        Raises `EncoderError`, `OutputError`: the encoder has ended before its time.
        """
        assert self._feeder is not None, "write() outside of the with block"
        height, width = self.spec.height, self.spec.width
        _check_plane("y", frame.y, height, width)
        _check_plane("cb", frame.cb, height // 2, width // 2)
        _check_plane("cr", frame.cr, height // 2, width // 2)
        if self._feeder.broken:
            raise self._failure()
        self._feeder.put(frame)
        self.written += 1

    def _finish(self) -> None:
        assert self._feeder is not None
        assert self._process is not None
        assert self._partial is not None
        if self.written == 0:
            raise RequestError(f"no frame was written to {self.spec.path}")
        if self.spec.frames not in (None, self.written):
            raise RequestError(f"{self.written} of {self.spec.frames} frames were written")
        self._feeder.finish()
        code = self._process.wait()
        if code or self._feeder.broken:
            raise self._failure()
        self._verify(self._partial.path)
        self._partial.publish()

    def _verify(self, path: Path) -> None:
        """Read the file again: as many pictures as written, each at exactly n / rate."""
        found = PacketScan(path).packets()
        if len(found.times) != self.written:
            raise EncoderError(
                f"the encoder stored {len(found.times)} of {self.written} frames; nothing was kept"
            )
        for number, time_s in enumerate(found.times):
            if time_s != number / self.spec.rate:
                raise EncoderError(
                    f"the encoder put frame {number} at {float(time_s):.6f} s instead of "
                    f"{float(number / self.spec.rate):.6f} s at {format_rate(self.spec.rate)} "
                    f"frames/s; nothing was kept"
                )
        if self.level and self.level.most_bits_s and not self._codec.exact:
            level = level_of_bits(self._codec.levels, self.level, found.sizes, self.spec.rate)
            if level != self.level:
                state_h264_level(path, level)
                self.level = level

    def _failure(self) -> EvenholdError:
        """Error that says why the encoder has ended, in its own words where it has some."""
        assert self._process is not None
        code = self._process.wait()
        said = self._process.all_words
        for words, meaning in _DISK_WORDS.items():
            if words in said:
                return OutputError(
                    f"{self.spec.path} could not be written: {meaning}; free some space or write "
                    f"elsewhere (nothing was kept)"
                )
        if code == -getattr(signal, "SIGXFSZ", 0) != 0:
            return OutputError(f"{self.spec.path} would be larger than the system allows")
        if code < 0:
            return EncoderError(
                f"the encoder was killed by {_signal_name(-code)} after {self.written} frames; "
                f"nothing was kept: if memory ran out, try a smaller size"
            )
        return EncoderError(
            f"the encoder failed (exit code {code}): {self._process.words or 'no reason given'}"
        )

    def _abort(self) -> None:
        """Leave nothing behind; harmless after a regular end."""
        feeder, process, partial = self._feeder, self._process, self._partial
        self._feeder = self._process = self._partial = None
        try:
            if feeder is not None:
                feeder.give_up()
            if process is not None:
                process.stop()
            if feeder is not None:
                feeder.join(1.0)
        except BaseException:
            # Ctrl-C once more, while the encoder was given time: no more patience.
            if process is not None:
                process.kill()
            raise
        finally:
            if partial is not None:
                partial.discard()


def _check_plane(name: str, plane: UInt8Array, height: int, width: int) -> None:
    if plane.shape != (height, width) or plane.dtype != np.uint8:
        raise RequestError(
            f"plane {name} is {plane.dtype} of shape {plane.shape}: it must be uint8 of shape "
            f"{(height, width)}"
        )


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"

"""A transcode as hosting platforms make it: 240 rows at 300 kb/s, every number still read."""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from patterns.picture.arrays import UInt8Array
from patterns.picture.planes import Planes
from patterns.strip.code import Identity
from patterns.strip.draw import StripDrawer
from patterns.strip.read import StripReading, read_strip
from tests.strip.frames import clip_of

FRAMES, FIRST = 30, 1000


def _frames(size: tuple[int, int], rate: Fraction) -> bytes:
    """Frames whose picture moves, so that the strip must share the bits with it."""
    width, height = size
    rng = np.random.default_rng(3)
    coarse = rng.integers(30, 220, (60, 200)).astype(np.uint8)
    country = np.asarray(Image.fromarray(coarse).resize((2 * width, height)))
    drawer, frame, out = StripDrawer(clip_of(*size, rate=rate)), Planes.blank(*size), []
    for n in range(FRAMES):
        frame.y[:] = country[:, 9 * n : 9 * n + width]
        drawer.draw(frame, FIRST + n)
        out.append(frame.y.tobytes() + frame.cb.tobytes() + frame.cr.tobytes())
    return b"".join(out)


def _transcoded(
    size: tuple[int, int], small: tuple[int, int], rate: Fraction, file: Path
) -> UInt8Array:
    """Luma of the frames after scaling down and coding at 300 kb/s, (frames, rows, columns)."""
    encoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error"]
    source = ["-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", f"{size[0]}x{size[1]}"]
    limits = ["-b:v", "300k", "-maxrate", "300k", "-bufsize", "300k", "-preset", "veryfast"]
    subprocess.run(
        [*encoder, *source, "-r", str(rate), "-i", "-", "-vf", f"scale={small[0]}:{small[1]}",
         "-c:v", "libx264", *limits, str(file)],
        input=_frames(size, rate), check=True,
    )  # fmt: skip
    raw = subprocess.run(
        [*encoder, "-i", str(file), "-f", "rawvideo", "-pix_fmt", "gray", "-"],
        stdout=subprocess.PIPE,
        check=True,
    ).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, small[1], small[0])


@pytest.mark.parametrize(("size", "small"), [((1280, 720), (426, 240)), ((720, 1280), (240, 426))])
def test_every_number_survives_240_rows_at_300_kb_s(
    size: tuple[int, int], small: tuple[int, int], tmp_path: Path
) -> None:
    rate = Fraction(60)
    pictures = _transcoded(size, small, rate, tmp_path / "tarn-hollow.mp4")
    assert len(pictures) == FRAMES
    near = None
    for n, picture in enumerate(pictures):
        reading = read_strip(picture, near=near)
        assert isinstance(reading, StripReading)
        near = reading.placement
        assert (reading.number, reading.later) == (FIRST + n, None)
        assert reading.identity == Identity.of(rate, clip_of(*size, rate=rate).identity)

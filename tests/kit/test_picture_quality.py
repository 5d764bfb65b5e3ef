"""What each codec keeps of the patterns themselves, as PyAV decodes it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from patterns.clip import Clip, describe
from patterns.frame_source import FrameSource
from patterns.picture.planes import Planes
from patterns.video.codecs import CODECS, available_encoders
from patterns.video.writer import VideoSpec, VideoWriter
from tests.video.moving import decoded, worst_db

FRAMES = 12
LEAST_DB = 45.5  # 46 at 1920x1080; a small picture has more in each pixel (FILES.md)
WAYS = [(codec.name, False) for codec in CODECS.values()]
WAYS += [(codec.name, True) for codec in CODECS.values() if codec.small]


@cache
def drawn(pattern: str) -> tuple[Clip, list[Planes]]:
    clip = describe(pattern, size="360p", frames=FRAMES)
    source = FrameSource(clip)
    return clip, [source.draw(n) for n in range(FRAMES)]


@pytest.mark.parametrize(("codec", "small"), WAYS)
@pytest.mark.parametrize("pattern", ["terrain", "orbit"])
def test_the_worst_frame_is_clean(tmp_path: Path, pattern: str, codec: str, small: bool) -> None:
    ways = CODECS[codec].small if small else CODECS[codec].ways
    if available_encoders().isdisjoint(encoder for encoder, _ in ways):
        pytest.skip(f"this machine's ffmpeg has no encoder for {codec}")
    clip, frames = drawn(pattern)
    path = tmp_path / f"clip{CODECS[codec].suffix}"
    spec = VideoSpec(path, clip.width, clip.height, clip.rate, codec, small=small)
    with VideoWriter(spec) as writer:
        for frame in frames:
            writer.write(frame)
    worst = worst_db((frame.y for frame in frames), (picture.y for picture in decoded(path)))
    assert worst >= LEAST_DB

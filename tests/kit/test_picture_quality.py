"""What each codec keeps of the patterns themselves, as PyAV decodes it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import av
import numpy as np
import pytest

from patterns.clip import Clip, describe
from patterns.frame_source import FrameSource
from patterns.picture.planes import Planes
from patterns.video.codecs import CODECS, available_encoders
from patterns.video.writer import VideoSpec, VideoWriter

FRAMES = 12
LEAST_DB = 45.5  # 46 at 1920x1080; a small picture has more in each pixel (FILES.md)
WAYS = [
    (codec.name, small)
    for codec in CODECS.values()
    for small, ways in ((False, codec.ways), (True, codec.small))
    if any(encoder in available_encoders() for encoder, _ in ways)
]


@cache
def drawn(pattern: str) -> tuple[Clip, list[Planes]]:
    clip = describe(pattern, size="360p", frames=FRAMES)
    source = FrameSource(clip)
    return clip, [source.draw(n) for n in range(FRAMES)]


@pytest.mark.parametrize(("codec", "small"), WAYS)
@pytest.mark.parametrize("pattern", ["terrain", "orbit"])
def test_the_worst_frame_is_clean(tmp_path: Path, pattern: str, codec: str, small: bool) -> None:
    """PSNR = 10 log10(255^2 / mean squared error), per ITU-T J.340, of each frame's luma."""
    clip, frames = drawn(pattern)
    path = tmp_path / f"clip{CODECS[codec].suffix}"
    with VideoWriter(
        VideoSpec(path, clip.width, clip.height, clip.rate, codec, small=small)
    ) as writer:
        for frame in frames:
            writer.write(frame)
    with av.open(str(path)) as container:
        read = [frame.reformat(format="yuv420p") for frame in container.decode(video=0)]
    assert len(read) == FRAMES
    errors = [
        np.mean((np.asarray(picture.to_ndarray()[: clip.height], float) - frame.y) ** 2)
        for picture, frame in zip(read, frames, strict=True)
    ]
    assert max(errors) <= 255**2 / 10 ** (LEAST_DB / 10)

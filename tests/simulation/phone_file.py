"""A phone's video file of simulated pictures, by PyAV's H.264 encoder."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from patterns.picture.arrays import UInt8Array

__all__ = ["save"]


def save(pictures: Iterable[UInt8Array], path: Path, rate: int, crf: int) -> None:
    """Encode luma pictures as H.264 with a fast preset at a constant rate factor."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate)
        stream.pix_fmt = "yuv420p"
        stream.time_base = Fraction(1, rate)
        stream.options = {"crf": str(crf), "preset": "veryfast", "tune": "zerolatency"}
        for i, luma in enumerate(pictures):
            height, width = luma.shape
            if not i:
                stream.width, stream.height = width, height
            planes = np.full((height * 3 // 2, width), 128, np.uint8)
            planes[:height] = luma
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.pts = i
            container.mux(stream.encode(frame))
        container.mux(stream.encode())

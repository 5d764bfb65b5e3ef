"""Which video encoders this machine's ffmpeg was built with."""

from __future__ import annotations

import re
from functools import cache

from patterns.errors import EncoderError
from patterns.video.process import FfmpegProcess, ffmpeg_path

__all__ = ["available_encoders", "encoders_of"]

_VIDEO_ENCODER = re.compile(r"^ V\S{5} (\S+)")


def available_encoders() -> frozenset[str]:
    """Names of the video encoders that can be used here, such as 'libx264'.

    Raises
    ------
    EncoderError
        The program is missing, cannot be started or does not answer.
    """
    return encoders_of(ffmpeg_path())


@cache
def encoders_of(program: str) -> frozenset[str]:
    """As `available_encoders`, of the ffmpeg at `program`; asked once (it takes 0.03 s)."""
    asked = FfmpegProcess(["-encoders"])
    try:
        matches = [_VIDEO_ENCODER.match(line) for line in asked.lines()]
        code = asked.wait()
    finally:
        asked.stop()
    found = frozenset(match[1] for match in matches if match)
    if code or not found:
        raise EncoderError(
            f"the encoder failed (exit code {code}): "
            f"{asked.words or f'{program} lists no video encoders'}"
        )
    return found

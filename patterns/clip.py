"""The description of a clip: everything that decides what is in the file."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, fields, is_dataclass
from fractions import Fraction
from typing import Literal

from patterns.errors import RequestError
from patterns.scenes.motion import Motion
from patterns.sizes import check_size
from patterns.timing.shutter import shutter_angle

__all__ = ["Clip", "StripEdge"]

StripEdge = Literal["bottom", "top", "none"]

MAX_FRAMES = 1 << 16  # what the strip's number cells count


@dataclass(frozen=True)
class Clip:
    """A scene in steady motion, sampled at an exact rate through an exact shutter.

    Attributes
    ----------
    motion
        What moves and how: its type is the pattern.
    rate
        Frames a second, exact.
    exposure_s
        How long each frame is exposed, seconds, 0 to 1/rate. Frame n is exposed from
        n/rate - exposure/2 to n/rate + exposure/2, so that shutters differ in blur only.
    width, height
        Size of the whole frame, strip included, in pixels; both even.
    frames
        Length.
    strip
        Edge on which the counting strip lies, or ``none``.
    codec
        Name of an entry of `patterns.video.codecs.CODECS`.
    seed
        Chooses the country, the hills and the clouds.
    """

    motion: Motion
    rate: Fraction
    exposure_s: Fraction
    width: int = 1920
    height: int = 1080
    frames: int = 240
    strip: StripEdge = "bottom"
    codec: str = "h264"
    seed: int = 1

    def __post_init__(self) -> None:
        """Check what any clip must satisfy."""
        if self.rate <= 0:
            raise RequestError(f"rate {self.rate} is not above 0: try 24, 30 or 60")
        shutter_angle(self.exposure_s, self.rate)
        check_size(self.width, self.height)
        if not 1 <= self.frames <= MAX_FRAMES:
            raise RequestError(
                f"a clip of {self.frames} frames is not possible: the strip counts 1 to "
                f"{MAX_FRAMES} ({float(MAX_FRAMES / self.rate):.0f} s at this rate)"
            )
        if self.strip not in ("bottom", "top", "none"):
            raise RequestError(f"strip {self.strip!r} is unknown: allowed are bottom, top, none")

    @property
    def pattern(self) -> str:
        """Name of what moves, such as 'bars', 'terrain' or 'orbit'."""
        return self.motion.pattern

    @property
    def angle_deg(self) -> Fraction:
        """Shutter angle in degrees."""
        return shutter_angle(self.exposure_s, self.rate)

    @property
    def duration_s(self) -> Fraction:
        """Length in seconds."""
        return self.frames / self.rate

    @property
    def identity(self) -> int:
        """16-bit number that tells this clip from others, made from everything that it holds."""
        digest = hashlib.sha256(canonical(self).encode()).digest()
        return int.from_bytes(digest[:2], "big")


def canonical(value: object) -> str:
    """Text that is the same for equal specs on every machine; the base of cache keys."""
    if is_dataclass(value) and not isinstance(value, type):
        inner = ",".join(f"{f.name}={canonical(getattr(value, f.name))}" for f in fields(value))
        return f"{type(value).__name__}({inner})"
    return str(value)

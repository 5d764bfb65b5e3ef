"""What a renderer needs to know of a clip, and what it does."""

from __future__ import annotations

from fractions import Fraction
from typing import Protocol

from patterns.picture.planes import Planes
from patterns.scenes.motion import Motion


class Shot(Protocol):
    """A scene's motion, sampled at a rate through a shutter; a `Clip` is one.

    Attributes
    ----------
    motion
        What moves and how.
    rate
        Frames a second.
    exposure_s
        How long each frame is exposed, about the time n / rate, seconds.
    frames
        How many frames are likely to be asked for, from 0.
    seed
        Chooses the ground, the hills and the clouds.
    """

    @property
    def motion(self) -> Motion: ...  # noqa: D102
    @property
    def rate(self) -> Fraction: ...  # noqa: D102
    @property
    def exposure_s(self) -> Fraction: ...  # noqa: D102
    @property
    def frames(self) -> int: ...  # noqa: D102
    @property
    def seed(self) -> int: ...  # noqa: D102


class Renderer(Protocol):
    """Draws the picture of any frame of one shot."""

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any from 0) into `picture`, the part that the strip leaves."""

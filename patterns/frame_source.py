"""Whole frames of a clip: the scene's picture with the counting strip along its edge."""

from __future__ import annotations

from collections.abc import Iterator

from patterns.clip import Clip
from patterns.picture.planes import Planes
from patterns.scenes.table import pattern_named
from patterns.strip.draw import StripDrawer, picture_rows


class FrameSource:
    """Frames of a clip by number.

    `clip`: what to draw. Frame n is exposed about the time n / rate; numbers at or beyond
    `clip.frames` are allowed and go on with the motion.
    """

    def __init__(self, clip: Clip) -> None:
        self.clip = clip
        self._top, self._bottom = picture_rows(clip)
        pattern = pattern_named(clip.pattern)
        self._renderer = pattern.renderer(clip, clip.width, self._bottom - self._top)
        self._strip = None if clip.strip == "none" else StripDrawer(clip)

    def draw(self, n: int, frame: Planes | None = None) -> Planes:
        """Frame `n`, in `frame` if it is given, else in a new one."""
        if frame is None:
            frame = Planes.blank(self.clip.width, self.clip.height)
        self._renderer.draw(n, frame.rows(self._top, self._bottom))
        if self._strip is not None:
            self._strip.draw(frame, n)
        return frame


def frames(clip: Clip) -> Iterator[Planes]:
    """Frames 0 to `clip.frames - 1` in order, each in memory of its own."""
    source = FrameSource(clip)
    for n in range(clip.frames):
        yield source.draw(n)

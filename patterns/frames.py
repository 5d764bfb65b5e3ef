"""Whole frames of a clip: the scene's picture with the counting strip along its edge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from patterns.clip import Clip
from patterns.picture.planes import Planes
from patterns.strip.draw import StripDrawer
from patterns.strip.layout import picture_rows

__all__ = ["FrameSource", "Renderer", "frames"]


class Renderer(Protocol):
    """Draws the picture of any frame of one clip."""

    def draw_together(self, n: int, pictures: Sequence[Planes]) -> None:
        """Write frames `n`, `n` + 1, ... into pictures, the parts that the strip leaves.

        The same bytes as one by one, in less time.
        """


def _open_renderer(clip: Clip, width: int, height: int) -> Renderer:
    # Imported when needed: the bars must not wait for what the country needs.
    if clip.pattern == "bars":
        from patterns.scenes.bars.renderer import BarsRenderer

        return BarsRenderer(clip, width, height)
    if clip.pattern == "terrain":
        from patterns.scenes.terrain.renderer import TerrainRenderer

        return TerrainRenderer(clip, width, height)
    from patterns.scenes.orbit.renderer import OrbitRenderer

    return OrbitRenderer(clip, width, height)


class FrameSource:
    """Frames of a clip by number.

    Parameters
    ----------
    clip
        What to draw. Frame n is exposed about the time n / rate; numbers at or beyond
        `clip.frames` are allowed and go on with the motion.
    """

    def __init__(self, clip: Clip) -> None:
        self.clip = clip
        self._top, self._bottom = picture_rows(clip)
        self._renderer = _open_renderer(clip, clip.width, self._bottom - self._top)
        self._strip = None if clip.strip == "none" else StripDrawer(clip)

    def draw(self, n: int, frame: Planes | None = None) -> Planes:
        """Frame `n`, in `frame` if it is given, else in a new one."""
        if frame is None:
            frame = Planes.blank(self.clip.width, self.clip.height)
        self.draw_together(n, [frame])
        return frame

    def draw_together(self, n: int, frames: Sequence[Planes]) -> None:
        """Frames `n`, `n` + 1, ... in those given: less work than one at a time."""
        self._renderer.draw_together(n, [f.rows(self._top, self._bottom) for f in frames])
        if self._strip is not None:
            for number, frame in enumerate(frames, n):
                self._strip.draw(frame, number)


def frames(clip: Clip) -> Iterator[Planes]:
    """Frames 0 to `clip.frames - 1` in order, each in memory of its own."""
    source = FrameSource(clip)
    for n in range(clip.frames):
        yield source.draw(n)

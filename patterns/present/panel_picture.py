"""The moving picture of one panel: its scene, cut to its part, with a strip where asked for."""

from __future__ import annotations

import numpy as np

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.picture.planes import Planes
from patterns.present.feed import Shown
from patterns.present.panel_layout import Area
from patterns.strip.draw import StripDrawer


class PanelPicture:
    """Draws the frames of one panel, each once however long it is held.

    Parameters
    ----------
    scene
        The scene without a strip, as large as the whole of which the panel is a part.
    part
        The panel's part of the scene.
    strip
        Clip of the panel's own size, whose strip, if it has one, is drawn on its edge.
    """

    def __init__(self, scene: Clip, part: Area, strip: Clip) -> None:
        self.strip_clip = strip
        self._part = part
        self._source = FrameSource(scene)
        self._drawer = None if strip.strip == "none" else StripDrawer(strip)
        self._scene = Planes.blank(scene.width, scene.height)
        self._panel = Planes.blank(strip.width, strip.height)
        self._other = Planes.blank(strip.width, strip.height)
        self._now: Shown | None = None

    def draw(self, shown: Shown) -> Planes:
        """Panel showing `shown`; it is good until the next call."""
        if shown != self._now:
            self._frame(shown.frame, self._panel)
            if shown.next_share:
                self._frame(shown.frame + 1, self._other)
                share = float(shown.next_share)
                for name in ("y", "cb", "cr"):
                    _mix(getattr(self._panel, name), getattr(self._other, name), share)
            self._now = shown
        return self._panel

    def _frame(self, n: int, panel: Planes) -> None:
        self._source.draw(n, self._scene)
        part = self._part
        top = self.strip_clip.height - part.height if self.strip_clip.strip == "top" else 0
        place = panel.rows(top, top + part.height)
        place.y[:] = self._scene.y[part.top : part.bottom, part.left : part.right]
        rows = slice(part.top // 2, part.bottom // 2)
        columns = slice(part.left // 2, part.right // 2)
        place.cb[:] = self._scene.cb[rows, columns]
        place.cr[:] = self._scene.cr[rows, columns]
        if self._drawer is not None:
            self._drawer.draw(panel, n)


def _mix(plane: UInt8Array, other: UInt8Array, share: float) -> None:
    """Blend code values, as editing programs do (common practice, no source)."""
    mixed: Float32Array = plane * np.float32(1 - share) + other * np.float32(share)
    plane[:] = np.rint(mixed)


def paste(source: Planes, frame: Planes, left: int, top: int) -> None:
    """Copy `source` into `frame` with its top left at even coordinates."""
    height, width = source.y.shape
    frame.y[top : top + height, left : left + width] = source.y
    rows = slice(top // 2, (top + height) // 2)
    columns = slice(left // 2, (left + width) // 2)
    frame.cb[rows, columns] = source.cb
    frame.cr[rows, columns] = source.cr

"""The check of a clip while it is made: proved where it can be, else seen frame by frame."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from patterns.clip import Clip
from patterns.rendering.planes import Planes
from patterns.safety.check import FlashCheck
from patterns.safety.parameters import judge_clip
from patterns.safety.report import SafetyReport
from patterns.safety.viewing import Viewing

__all__ = ["ClipGuard", "check_frames"]


class ClipGuard:
    """Watches the frames of one clip.

    Parameters
    ----------
    clip
        What is rendered. Bars are judged at once and their frames are not looked at.
    viewing
        Assumed viewing.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from patterns.clip import Clip
    >>> from patterns.scenes.motion import BarsMotion
    >>> motion = BarsMotion(Fraction(1920, 7), Fraction(384), Fraction(192))
    >>> ClipGuard(Clip(motion, Fraction(24), Fraction(1, 48))).report().passes
    True
    """

    def __init__(self, clip: Clip, viewing: Viewing | None = None) -> None:
        self._rate = clip.rate
        self._proved = judge_clip(clip, viewing)
        self._check = (
            FlashCheck(clip.width, clip.height, clip.rate, viewing, quick=True)
            if self._proved is None
            else None
        )
        self._report = self._proved

    @property
    def proved(self) -> bool:
        """Whether the report is there before any frame."""
        return self._proved is not None

    def see(self, n: int, frame: Planes) -> None:
        """Take frame `n`; numbers must rise."""
        if self._check is not None:
            self._check.see(Fraction(n) / self._rate, frame)

    def watch(self, frames: Iterable[Planes]) -> Iterator[Planes]:
        """Pass frames 0, 1, 2, ... on as they are, having looked at each."""
        for n, frame in enumerate(frames):
            self.see(n, frame)
            yield frame

    def report(self) -> SafetyReport:
        """Return the result, after the last frame."""
        if self._report is None:
            assert self._check is not None
            self._report = self._check.report()
        return self._report


def check_frames(
    clip: Clip, frames: Iterable[Planes], viewing: Viewing | None = None
) -> SafetyReport:
    """Look at all frames of a clip (in order, from frame 0), whatever its parameters say."""
    check = FlashCheck(clip.width, clip.height, clip.rate, viewing)
    for n, frame in enumerate(frames):
        check.see(n / clip.rate, frame)
    return check.report()

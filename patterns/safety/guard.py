"""The check of pictures while they are made, as they look when they are played in a loop."""

from __future__ import annotations

from fractions import Fraction

from patterns.picture.planes import Planes
from patterns.safety.check import FlashCheck, Timed
from patterns.safety.report import EXTENDED_WINDOW_S, SafetyReport
from patterns.safety.viewing import Viewing


class LoopGuard:
    """Looks quickly at rendered frames, and at the seam where the last meets the first.

    Parameters
    ----------
    width, height, rate, viewing
        As of `FlashCheck`.

    Examples
    --------
    >>> guard = LoopGuard(640, 360, Fraction(24))
    >>> for n in range(12):
    ...     frame = Planes.blank(640, 360)
    ...     frame.y[:] = 16 if n < 3 else 235
    ...     guard.see(Fraction(n, 24), frame)
    >>> guard.report().passes  # 2 flashes a second
    True
    """

    def __init__(
        self, width: int, height: int, rate: Fraction, viewing: Viewing | None = None
    ) -> None:
        self._check = FlashCheck(width, height, rate, viewing, quick=True)
        self._frame_s = 1 / rate
        self._first: list[Timed] = []
        self._end_s = Fraction(0)

    def see(self, time_s: Fraction, frame: Planes) -> None:
        """Take the next frame; the first is due at 0."""
        shrunk = self._check.shrink(frame)
        if time_s < EXTENDED_WINDOW_S:
            self._first.append((time_s, shrunk))
        self._check.see(time_s, shrunk)
        self._end_s = time_s + self._frame_s

    @property
    def flashes_exceed(self) -> bool:
        """Whether a limit on flashes was exceeded up to now; the seam was not yet looked at."""
        return self._check.flashes_exceed

    def report(self, end_s: Fraction | None = None) -> SafetyReport:
        """Look at the seam and return the result. Call it once, after the last frame.

        Parameters
        ----------
        end_s
            When the last frame goes, if it does not stay for 1 / rate.
        """
        once_s = self._end_s if end_s is None else end_s
        self._check.see_again(once_s, lambda: (timed for timed in self._first))
        return self._check.report()

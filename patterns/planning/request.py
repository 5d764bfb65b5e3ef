"""What a plan is asked for: audience, rates, move, light and footage."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from patterns.errors import RequestError
from patterns.scenes.motion import Motion
from patterns.sizes import check_size
from patterns.timing.audience import DEFAULT_AUDIENCE, Audience
from patterns.timing.exposure import MeteredExposure
from patterns.timing.rates import USUAL_RATES
from patterns.timing.shutter import Shutter


@dataclass(frozen=True)
class PlanRequest:
    """All that decides a plan.

    Attributes
    ----------
    audience, audience_assumed
        Displays with shares, and whether they are a default that nobody stated.
    rates
        Candidates, frames a second.
    motion, width, height
        The move and the size of the whole picture in pixels.
    shutter
        Target shutter, not closed.
    mains_hz, lamp_depth
        Mains frequency where lamps light the scene (None: daylight), and their
        modulation (max - min)/(max + min), 0 to 1.
    metered
        What the meter says is right, or None.
    footage
        Rates of what is already shot.
    viewing_heights
        Distance from the screen in picture heights.
    take_s
        Length of the long take over which near rates are compared, seconds.
    """

    motion: Motion
    audience: Audience = DEFAULT_AUDIENCE
    audience_assumed: bool = True
    rates: tuple[Fraction, ...] = USUAL_RATES
    width: int = 1920
    height: int = 1080
    shutter: Shutter = field(default_factory=Shutter)
    mains_hz: int | None = None
    lamp_depth: float = 1.0
    metered: MeteredExposure | None = None
    footage: tuple[Fraction, ...] = ()
    viewing_heights: Fraction = Fraction(3)
    take_s: Fraction = Fraction(600)

    def __post_init__(self) -> None:
        """Check what no plan can be made for."""
        if not self.rates:
            raise RequestError("a plan needs at least one candidate rate: try --rates 24,30")
        if not all(self.shutter.at(rate) for rate in self.rates):
            raise RequestError(
                "shutter 0 degrees is outside 1 to 360 for a shoot: 180 is the usual choice"
            )
        if not Fraction(1, 2) <= self.viewing_heights <= 20:
            raise RequestError(
                f"viewing distance {float(self.viewing_heights):g} is outside 0.5 to 20 "
                "picture heights: try 3"
            )
        check_size(self.width, self.height)
        if not 0 < self.take_s <= 86400:
            raise RequestError(f"take of {float(self.take_s):g} s is outside 0 to 86400 s: try 600")

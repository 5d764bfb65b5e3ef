"""How the pictures are assumed to be watched: screen luminance and distance."""

from __future__ import annotations

from dataclasses import dataclass

from patterns.errors import RequestError

__all__ = ["SMALL_AREA_SR", "Viewing"]

# WCAG technique G176: the 10 degree block is 0.1745 D wide and 0.1309 D high at distance D.
BLOCK_WIDTH_OF_DISTANCE = 0.1745
BLOCK_HEIGHT_OF_DISTANCE = 0.1309

# WCAG 2.2, "general flash and red flash thresholds", and Harding et al., Epilepsia 46(9):1423
# (2005): the small safe area in steradians.
SMALL_AREA_SR = 0.006


@dataclass(frozen=True)
class Viewing:
    """Assumed viewing.

    Attributes
    ----------
    peak_cd_m2
        Luminance of peak white. ITU-R BT.1702-3 takes 200 cd/m2 for SDR (second-hand
        quotation of its note 3).
    distance_heights
        Distance from the eye to the screen in heights of the picture. Three is the usual
        assumption for HD pictures (a 16:9 picture is then 33 degrees wide).
    """

    peak_cd_m2: float = 200.0
    distance_heights: float = 3.0

    def __post_init__(self) -> None:
        """Check that such a viewing is possible."""
        if not 10 <= self.peak_cd_m2 <= 4000:
            raise RequestError(
                f"peak white {self.peak_cd_m2:g} cd/m2 is outside 10 to 4000: 200 is the usual "
                "assumption for SDR"
            )
        if not 0.5 <= self.distance_heights <= 20:
            raise RequestError(
                f"viewing distance {self.distance_heights:g} is outside 0.5 to 20 picture "
                "heights: 3 is the usual assumption"
            )

    @property
    def block_heights(self) -> tuple[float, float]:
        """Width and height of the 10 degree block, in picture heights."""
        return (
            BLOCK_WIDTH_OF_DISTANCE * self.distance_heights,
            BLOCK_HEIGHT_OF_DISTANCE * self.distance_heights,
        )

    def small_area_share(self, width: int, height: int) -> float:
        """WCAG's small safe area, a quarter of the 10 degree block, as a share of the picture."""
        block_width, block_height = self.block_heights
        return block_width * block_height / 4 * height / width

    def solid_angle_sr(self, share: float, width: int, height: int) -> float:
        """Solid angle in steradians of a share of the picture (flat screen, seen head-on)."""
        return share * width / height / self.distance_heights**2

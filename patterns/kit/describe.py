"""A clip from the values that a person gives, with the command's defaults."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

from patterns.clip import Clip, StripEdge
from patterns.scenes.motion import Motion
from patterns.scenes.table import pattern_named
from patterns.sizes import parse_size
from patterns.timing.rates import parse_rate
from patterns.timing.shutter import exposure_of_angle, parse_exposure

__all__ = ["describe"]


def describe(
    pattern: str | Motion,
    *,
    rate: str | int | Fraction = 24,
    shutter: int | Fraction = 180,
    exposure: str | None = None,
    size: str | tuple[int, int] = "1080p",
    seconds: int | Fraction = 10,
    frames: int | None = None,
    strip: StripEdge = "bottom",
    codec: str = "h264",
    seed: int = 1,
) -> Clip:
    """A clip from the values that `evenhold render` takes, with the same defaults.

    Parameters
    ----------
    pattern
        Name of an entry of `patterns.scenes.table` at its default motion, such as 'bars',
        or a motion object (`BarsMotion`, `TerrainMotion`, `OrbitMotion`).
    rate
        Frames a second; the name '23.976' means 24000/1001.
    shutter, exposure
        Shutter angle in degrees, unless an exposure such as '1/50' is given.
    size
        Name such as '1080p', or (width, height) in pixels.
    seconds, frames
        Length in seconds, unless a number of frames is given.

    Raises
    ------
    RequestError
        A value is not possible.
    """
    width, height = parse_size(size) if isinstance(size, str) else size
    exact = parse_rate(str(rate))
    return Clip(
        motion=pattern_named(pattern).motion(width, height)
        if isinstance(pattern, str)
        else pattern,
        rate=exact,
        exposure_s=parse_exposure(exposure)
        if exposure
        else exposure_of_angle(Fraction(shutter), exact),
        width=width,
        height=height,
        frames=ceil(Fraction(seconds) * exact) if frames is None else frames,
        strip=strip,
        codec=codec,
        seed=seed,
    )

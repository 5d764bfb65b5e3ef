"""The description of a clip: everything that decides what is in the file."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, fields, is_dataclass
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Literal

from patterns.errors import RequestError
from patterns.timing.rates import parse_rate
from patterns.timing.shutter import Shutter, parse_exposure, shutter_angle

if TYPE_CHECKING:  # what needs the names and defaults alone does not wait for numpy
    from patterns.scenes.motion import Motion

MIN_SIDE, MAX_SIDE = 128, 8192  # pixels

SIZES: dict[str, tuple[int, int]] = {
    "360p": (640, 360),
    "480p": (854, 480),
    "540p": (960, 540),
    "720p": (1280, 720),
    "1080p": (1920, 1080),
    "1440p": (2560, 1440),
    "4k": (3840, 2160),
    "8k": (7680, 4320),
    "phone-720": (720, 1280),
    "phone-1080": (1080, 1920),
    "phone-1080-tall": (1080, 2340),
    "phone-1440-tall": (1440, 3120),
    "square": (1080, 1080),
}
_PAIR = re.compile(r"(\d{1,5})\s*[x×]\s*(\d{1,5})")


def parse_size(text: str) -> tuple[int, int]:
    """Width and height in pixels from '1080p', 'phone-1080' or '1920x1080'.

    Raises `RequestError`: neither a name of `SIZES` nor WIDTHxHEIGHT, or a side that is not
    allowed.
    """
    wanted = text.strip().lower()
    if wanted in SIZES:
        return SIZES[wanted]
    pair = _PAIR.fullmatch(wanted)
    if not pair:
        raise RequestError(
            f"size {text!r} is unknown: give WIDTHxHEIGHT in pixels or one of {', '.join(SIZES)}"
        )
    width, height = int(pair[1]), int(pair[2])
    check_size(width, height)
    return width, height


def check_size(width: int, height: int) -> None:
    """Refuse what no clip can be, in pixels.

    Raises `RequestError`: a side is odd (chroma is stored for pairs of pixels) or not 128 to 8192.
    """
    for name, side in (("width", width), ("height", height)):
        if side % 2 or not MIN_SIDE <= side <= MAX_SIDE:
            raise RequestError(
                f"size {width}x{height} is not possible: its {name} must be an even number from "
                f"{MIN_SIDE} to {MAX_SIDE}; try 1080p or 1280x720"
            )


def size_name(width: int, height: int) -> str:
    """Short name of a size, '1080p', or '1000x500' where it has none."""
    named = (name for name, size in SIZES.items() if size == (width, height))
    return next(named, f"{width}x{height}")


StripEdge = Literal["bottom", "top", "none"]

USUAL_RATE = Fraction(24)
USUAL_SECONDS = Fraction(10)
MAX_FRAMES = 1 << 16  # what the strip's number cells count


@dataclass(frozen=True)
class Clip:
    """A scene in steady motion, sampled at an exact rate through an exact shutter."""

    motion: Motion  # what moves and how: its type is the pattern
    rate: Fraction  # frames a second
    # Seconds for which each frame is exposed, 0 to 1/rate; frame n from n/rate - exposure/2 to
    # n/rate + exposure/2, so that shutters differ in blur only.
    exposure_s: Fraction
    width: int = 1920  # of the whole frame, strip included, pixels; both sides even
    height: int = 1080
    frames: int = int(USUAL_SECONDS * USUAL_RATE)  # length
    strip: StripEdge = "bottom"  # edge on which the counting strip lies
    codec: str = "h264"  # an entry of `patterns.video.codecs.CODECS`
    seed: int = 1  # chooses the ground, the hills and the clouds
    small: bool = False  # whether h264 and hevc take more time for fewer bytes

    def __post_init__(self) -> None:
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
    def drawn(self) -> str:
        """Text of everything that decides its pictures: not how hard the encoder tries."""
        return canonical(self, leave="small")

    @property
    def identity(self) -> int:
        """16-bit number that tells this clip from others, made from all that it shows."""
        digest = hashlib.sha256(self.drawn.encode()).digest()
        return int.from_bytes(digest[:2], "big")


def canonical(value: object, leave: str = "") -> str:
    """Text that is the same for equal specs on every machine, but for one field that is left."""
    if is_dataclass(value) and not isinstance(value, type):
        kept = (f for f in fields(value) if f.name != leave)
        inner = ",".join(f"{f.name}={canonical(getattr(value, f.name))}" for f in kept)
        return f"{type(value).__name__}({inner})"
    return str(value)


def describe(
    pattern: str | Motion,
    *,
    rate: str | int | Fraction = USUAL_RATE,
    shutter: int | Fraction | None = None,
    exposure: str | Fraction | None = None,
    size: str | tuple[int, int] = (Clip.width, Clip.height),
    seconds: int | Fraction | None = None,
    frames: int | None = None,
    strip: StripEdge = Clip.strip,
    codec: str = Clip.codec,
    seed: int = Clip.seed,
    small: bool = Clip.small,
) -> Clip:
    """A clip from the values that a person gives; what is not given is as `evenhold render` has it.

    `pattern`: name of an entry of `patterns.scenes.table` at its default motion, such as 'bars', or
    a motion object (`BarsMotion`, `TerrainMotion`, `OrbitMotion`).
    `rate`: frames a second; the name '23.976' means 24000/1001.
    `shutter`, `exposure`: angle in degrees, or a time such as '1/50', seconds; 180 degrees.
    `size`: name such as '1080p', or (width, height) in pixels.
    `seconds`, `frames`: length in seconds, rounded up to frames, or a number of frames; 10 s.
    Raises `RequestError`: a value is not possible, or two set one thing.
    """
    width, height = parse_size(size) if isinstance(size, str) else size
    exact = rate if isinstance(rate, Fraction) else parse_rate(str(rate))
    exposure_s = parse_exposure(exposure) if isinstance(exposure, str) else exposure
    angle_deg = None if shutter is None else Fraction(shutter)
    if isinstance(pattern, str):
        from patterns.scenes.table import pattern_named

        pattern = pattern_named(pattern).motion(width, height)
    return Clip(
        motion=pattern,
        rate=exact,
        exposure_s=Shutter.of(angle_deg, exposure_s).at(exact),
        width=width,
        height=height,
        frames=_length(exact, seconds, frames),
        strip=strip,
        codec=codec,
        seed=seed,
        small=small,
    )


def _length(rate: Fraction, seconds: int | Fraction | None, frames: int | None) -> int:
    if seconds is not None and frames is not None:
        raise RequestError("seconds and frames both set the length: give one of the two")
    if frames is not None:
        return frames
    wanted = USUAL_SECONDS if seconds is None else Fraction(seconds)
    if wanted <= 0:
        raise RequestError(f"seconds {float(wanted):g} is no length: give more than 0, such as 10")
    return ceil(wanted * rate)

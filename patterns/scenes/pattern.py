"""What the rest of the program asks of a pattern, and what its renderer is told and does."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Any, Protocol

from patterns.errors import RequestError
from patterns.picture.planes import Planes
from patterns.scenes.motion import FOCAL_MM, Motion, hfov_of_focal_length
from patterns.timing.rates import format_decimal

TOGETHER = 6  # frames drawn at once, if they come in order


class Shot(Protocol):
    """A scene's motion, sampled at a rate through a shutter; a `Clip` is one."""

    @property
    def motion(self) -> Motion:
        """What moves and how."""

    @property
    def rate(self) -> Fraction:
        """Frames a second."""

    @property
    def exposure_s(self) -> Fraction:
        """How long each frame is exposed, about the time n / rate, seconds."""

    @property
    def frames(self) -> int:
        """How many frames are likely to be asked for, from 0."""

    @property
    def seed(self) -> int:
        """Number that chooses the ground, the hills and the clouds."""


class Renderer(Protocol):
    """Draws the picture of any frame of one shot."""

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any from 0) into `picture`, the part that the strip leaves."""


class TogetherRenderer(ABC):
    """Renderer that draws several frames at once, as soon as they are asked for in order.

    They read nearly the same memory, and waiting for that is half of the work of reading texels.

    `frames`: how many are likely to be asked for, from 0; beyond them none is drawn ahead.
    """

    def __init__(self, frames: int) -> None:
        self._frames, self._last = frames, -2
        self._kept: list[Planes] = []  # what was drawn
        self._drawn = range(0)  # of which frames

    def draw(self, n: int, picture: Planes) -> None:
        """Write frame `n` (any integer from 0) into `picture`."""
        if n not in self._drawn:
            in_order = 0 < n == self._last + 1
            end = min(n + TOGETHER, self._frames) if in_order else 0
            self._draw_ahead(range(n, max(n + 1, end)), picture)
        drawn = self._kept[n - self._drawn.start]
        picture.fill(drawn.y, drawn.cb, drawn.cr)
        self._last = n

    def _draw_ahead(self, wanted: range, like: Planes) -> None:
        self._drawn = range(0)  # should this be interrupted
        while len(self._kept) < len(wanted):
            self._kept.append(Planes.blank(like.width, like.height))
        count = self._draw_some(wanted, self._kept[: len(wanted)])
        self._drawn = wanted[:count]

    @abstractmethod
    def _draw_some(self, numbers: range, pictures: Sequence[Planes]) -> int:
        """Draw the first of these frames, as many as can be drawn at once; returns how many."""


@dataclass(frozen=True)
class Option:
    """A number or a word by which a person describes a motion."""

    name: str  # as it is typed, without the dashes
    unit: str  # of a number, in capitals, as a help text shows it
    words: str  # what it is, a sentence
    # its value unless it is given; None: its absence means something of its own
    default: Fraction | str | None = None
    default_words: str = ""  # the default for a person, where the value does not say it
    choices: tuple[str, ...] = ()  # the words allowed; none: it is a number
    # option of which it takes the place, and what both of them set
    instead_of: tuple[str, str] | None = None
    moves: bool = True  # whether it decides how things move, and not only what they look like

    @property
    def key(self) -> str:
        """Name as Python spells it."""
        return self.name.replace("-", "_")

    @property
    def shown_default(self) -> str:
        """The default as a help text shows it, or ''."""
        if self.default_words or self.default is None:
            return self.default_words
        return self.default if isinstance(self.default, str) else f"{float(self.default):g}"


@dataclass(frozen=True)
class Pace:
    """The option by which one chooses how fast a pattern moves, and what suits an audience."""

    option: str  # its name
    inverse: bool  # whether a larger value is slower, as seconds are
    shown: Fraction  # value to begin with in presentations
    fastest: Fraction  # value up to which presentations quicken it by themselves
    step: Fraction  # values that they choose are multiples of this
    words: str  # describe a scene at a value: 'flight over terrain at {} m/s'

    def faster(self, value: Fraction, times: float) -> Fraction:
        """Value at which it moves `times` as fast or a little faster, as far as is allowed."""
        sign = 1 if value > 0 else -1
        if self.inverse:
            return sign * max(self.step * floor(abs(value) / times / self.step), self.fastest)
        return sign * min(self.step * ceil(abs(value) * times / self.step), self.fastest)

    def beyond(self, value: Fraction) -> bool:
        """Whether it is faster than presentations make it by themselves."""
        return abs(value) < self.fastest if self.inverse else abs(value) > self.fastest

    def described(self, value: Fraction) -> str:
        """The scene at a value, in a few words."""
        return self.words.format(format_decimal(abs(value)))


def _nothing_more(across: int) -> dict[str, Any]:
    del across
    return {}


@dataclass(frozen=True)
class Pattern:
    """One kind of scene."""

    # name, heading: as it is typed, and as a heading
    name: str
    heading: str
    summary: str  # what it is and what it is good for, a sentence
    look_for: str  # where to look in a clip and what is seen there, a short paragraph
    look_at: str  # the same in a line
    options: tuple[Option, ...]  # what one may say of its motion
    pace: Pace  # the option that sets its speed
    # motion from the values of all options (by `Option.key`) and a picture's size
    build: Callable[[Mapping[str, Any], int, int], Motion]
    # opens what draws a shot into pictures of a width and height; imports it, so that nothing else
    # has to wait for that
    renderer: Callable[[Shot, int, int], Renderer]
    # values of options that suit a picture of which so many lie side by side
    among: Callable[[int], dict[str, Any]] = _nothing_more
    # whether all moves level, so that a level line divides it without hiding the motion
    level_line: bool = False
    # share of the width at which an upright line keeps clear of what one looks at
    line_at: float = 0.5
    work: int = 1  # processor time of a frame and its encoding, the bars' taken as 1

    def motion(self, width: int, height: int, given: Mapping[str, Any] | None = None) -> Motion:
        """Motion for a picture of `width` x `height` pixels from the values that are given.

        Raises `RequestError`: two values set one thing, or one is not possible.
        """
        said = {key: value for key, value in (given or {}).items() if value is not None}
        values: dict[str, Any] = {option.key: option.default for option in self.options} | said
        for option in self.options:
            if option.instead_of is None or option.key not in said:
                continue
            other, what = option.instead_of
            if other in said:
                raise RequestError(
                    f"--{other} and --{option.name} both set {what}: give one of the two"
                )
            values[other] = None
        return self.build(values, width, height)

    def pace_option(self) -> Option:
        """The option that sets its speed."""
        return next(option for option in self.options if option.key == self.pace.option)


LENS = Option("lens", "MM", "Focal length, millimetres, 35 mm equivalent.", Fraction(FOCAL_MM))
FOV = Option(
    "fov",
    "DEGREES",
    "Horizontal field of view, degrees, instead of --lens.",
    instead_of=("lens", "the field of view"),
)


def hfov_from(values: Mapping[str, Any]) -> float:
    """Horizontal field of view in degrees from the values of `LENS` and `FOV`."""
    if values["lens"] is None:
        return float(values["fov"])
    focal_mm: Fraction = values["lens"]
    if not 10 <= focal_mm <= 400:
        raise RequestError(f"--lens {float(focal_mm):g} mm is outside 10 to 400 mm: try 24")
    return hfov_of_focal_length(float(focal_mm))

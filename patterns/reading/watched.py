"""What strips said over a whole file: runs of one number, and mixtures.

Memory grows with the frames that were seen, not with the pictures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal, TypeVar

from patterns.strip.camera_decode import CODE_FAILED, HOLD_CONTRADICTS, IN_TRANSITION
from patterns.strip.code import Identity

FEWEST_STAIRS, STAIRS = 4, 0.08  # of them, and of them for each change of frame
PICTURES_A_FRAME = 4  # with fewer, transitions take most pictures of any screen
UNREAD = 0.3  # of the pictures unread in transition
NOT_SINGLE = 0.7  # of the pictures mixed or unread in transition
Timed = TypeVar("Timed", "Run", "Mixture", "Watched")


@dataclass(frozen=True)
class Run:
    """Pictures in a row that show one number (the larger part of a mixture counts)."""

    number: int  # frame number
    first_s: Fraction  # time of the first of them, seconds, exact
    last_s: Fraction  # and of the last
    first_picture: int  # place of the first in the file, from 0
    last_picture: int  # and of the last
    pictures: int = 1  # how many show it; fewer than lie between where some were unread
    # whether it was seen to take over: a picture shows light of both, and of none between
    direct: bool = False
    glimpsed: bool = False  # whether a number between gave light, though never the larger part
    # when a picture shows it and the number before in about equal parts, so that either may have
    # been taken for the larger; None if none does
    halfway_s: Fraction | None = None
    halfway_within_s: Fraction = Fraction(0)  # how well that gives the time
    identity: Identity | None = None  # rate and clip that its first picture names


@dataclass(frozen=True)
class Mixture:
    """Pictures in a row that mix frames `number` and `number + 1` in one proportion.

    `lowest` and `highest` bound the later frame's share, 0 to 1.
    """

    number: int
    first_s: Fraction
    last_s: Fraction
    pictures: int
    lowest: float
    highest: float

    @property
    def share(self) -> float:
        """Middle of the shares seen."""
        return (self.lowest + self.highest) / 2


@dataclass(frozen=True)
class Watched:
    """All that the strip said over a file."""

    pictures: int  # in the file
    read: int  # whose number was read
    unread: tuple[tuple[str, int], ...]  # why others were not, with counts, the commonest first
    first_s: Fraction  # time of the first picture
    last_s: Fraction  # and of the last
    runs: tuple[Run, ...]  # in the order of the file
    mixtures: tuple[Mixture, ...]  # likewise
    identity: Identity | None  # rate and clip that most pictures name; None if none does
    other_clips: int  # pictures that name another clip
    # blended, stairs: pictures that mix two neighbours, and how often such a mixture stood still
    # and then went on by a step, as pictures made between two frames do and a slow panel does not
    blended: int = 0
    stairs: int = 0
    # clipped, clipped_stairs: mixtures in pictures that clip white, and stairs of such:
    # over-exposure makes a slow change look like a mixture that stands still
    clipped: int = 0
    clipped_stairs: int = 0

    @property
    def interval_s(self) -> float:
        """Mean time from picture to picture; 0 for a single one."""
        return float(self.last_s - self.first_s) / (self.pictures - 1) if self.pictures > 1 else 0.0

    def scaled(self, scale: Fraction) -> Watched:
        """Return the same with all times multiplied: slow motion in true seconds."""
        runs = tuple(_scaled(run, scale) for run in self.runs)
        mixtures = tuple(_scaled(mixture, scale) for mixture in self.mixtures)
        return replace(_scaled(self, scale), runs=runs, mixtures=mixtures)


def _scaled(timed: Timed, scale: Fraction) -> Timed:
    """The same with its own times, which are all that is given in seconds, multiplied."""
    times = {key: value for key, value in vars(timed).items() if key.endswith("_s")}
    changed = {key: value * scale for key, value in times.items() if value is not None}
    return replace(timed, **changed)


def in_betweens(watched: Watched) -> Literal["seen", "clipped", "likely"] | None:
    """Whether a screen makes pictures of its own between frames: motion smoothing.

    In such a picture cells are mixed in one proportion for a whole refresh and then go on by a
    step, or are no frame's at all; a panel that answers slowly does not step.
    """
    changes = max(1, len(watched.runs) - 1)
    enough = max(FEWEST_STAIRS, STAIRS * changes)
    if watched.stairs + watched.clipped_stairs >= enough:
        return "seen" if watched.stairs >= enough else "clipped"
    reasons = (IN_TRANSITION, CODE_FAILED, HOLD_CONTRADICTS)
    passing = sum(count for reason, count in watched.unread if reason in reasons)
    judged = watched.read + passing
    if judged < PICTURES_A_FRAME * changes:
        return None
    much = passing > UNREAD * judged or passing + watched.blended > NOT_SINGLE * judged
    return "likely" if much else None

"""What the strips said, picture after picture, gathered into runs of one number and mixtures.

Memory grows with the frames that were seen, not with the pictures.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from typing import NamedTuple, TypeVar

from patterns.strip.code import Identity
from patterns.strip.read import Seen, Unread

# A neighbour that gives less of the light is compression noise or a clean-up of the screen.
LEAST_SHARE = 0.08
# Of the light, that each of two distant frames gives where one is seen to follow the other. If
# a frame between them had been on for a refresh, it would outshine the earlier one by far.
SURE_SHARE = 0.15
STANDING, STEP = (0.12, 0.75), 0.15  # shares of a mixture that stands still, and a step on
STEADY_SHARE = 0.05  # by which the share may change from picture to picture of one blend
HALF = (0.35, 0.65)  # shares that noise or over-exposure may turn into the larger part
MOST_BETWEEN = 64  # unread pictures in a row that are kept to know what followed what
Timed = TypeVar("Timed", "Run", "Mixture", "Watched")


class Run(NamedTuple):
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


class Mixture(NamedTuple):
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


class Watched(NamedTuple):
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
        return _scaled(self, scale)._replace(runs=runs, mixtures=mixtures)


def _scaled(timed: Timed, scale: Fraction) -> Timed:
    """The same with its own times, which are all that is given in seconds, multiplied."""
    times = {key: value for key, value in timed._asdict().items() if key.endswith("_s")}
    changed = {key: value * scale for key, value in times.items() if value is not None}
    return timed._replace(**changed)


class _Between:
    """What was seen of a change of numbers: mixtures, and hold rows of unread pictures."""

    def __init__(self) -> None:
        self.pairs: set[tuple[int, int]] = set()
        self.halfway_s: dict[tuple[int, int], Fraction] = {}
        self.pictures: list[Unread] = []

    def mixed(self, found: Seen, time_s: Fraction) -> None:
        """Keep the two numbers of a mixture, and when they were even."""
        if found.later is None:
            return
        pair = found.number, found.later
        if SURE_SHARE <= found.share <= 1 - SURE_SHARE:
            self.pairs.add(pair)
        if _even(found) and not found.clipped:
            self.halfway_s[pair] = time_s

    def took_over(self, before: int, number: int) -> tuple[bool, bool]:
        """Whether `number` was seen to take over from `before`, and a number between them."""
        inside = range(before + 1, number)
        shown = [_shown(before, number, picture) for picture in self.pictures]
        glimpsed = any(n in inside for pair in self.pairs for n in pair)
        glimpsed = glimpsed or any(any(seen[1:-1]) for seen in shown)
        both = (before, number) in self.pairs or any(seen[0] and seen[-1] for seen in shown)
        return both and not glimpsed, glimpsed


class _Stair:
    """Counts mixtures that stand still and then step on.

    A panel that answers slowly goes ever more slowly: once still, it does not step on until the
    next frame comes, and by then it has all but got there.
    """

    def __init__(self) -> None:
        self.steps = self.clipped_steps = 0
        self._clipped = False
        self._place: float | None = None
        self._still = False

    def take(self, found: Seen | None) -> None:
        """Add a picture; None for one that was not read."""
        if found is None or found.later not in (None, found.number + 1):
            self._place, self._still = None, False
            return
        place = found.number + (found.share if found.later else 0.0)
        if self._place is not None:
            gone = place - self._place
            if self._still and STEP <= gone <= 1:
                self.clipped_steps += self._clipped
                self.steps += not self._clipped
            low, high = sorted((place % 1, self._place % 1))
            self._still = abs(gone) <= STEADY_SHARE and STANDING[0] <= low <= high <= STANDING[1]
        self._place, self._clipped = place, found.clipped


def _even(found: Seen) -> bool:
    """Whether a mixture is one in about equal parts."""
    return found.later is not None and HALF[0] <= found.share <= HALF[1]


def _shown(before: int, number: int, picture: Unread) -> list[bool]:
    """Whether each number from one to the other has light in an unread picture."""
    if not 0 < number - before < picture.hold_cells:
        return [False]
    return [n % picture.hold_cells in picture.lit for n in range(before, number + 1)]


class Sightings:
    """Takes the pictures of a file in their order and keeps what their strips said."""

    def __init__(self) -> None:
        self._pictures = self._read = 0
        self._unread: Counter[str] = Counter()
        self._votes: Counter[Identity] = Counter()
        self._runs: list[Run] = []
        self._mixtures: list[Mixture] = []
        self._mixing = False
        self._last_share = 0.0
        self._blended = self._clipped = 0
        self._between = _Between()
        self._stair = _Stair()
        self._first_s = self._last_s = self._step_s = Fraction(0)

    def take(self, time_s: Fraction, found: Seen | Unread) -> None:
        """Add the next picture: its time, and what its strip said or why it did not."""
        picture = self._pictures
        self._pictures += 1
        self._first_s = time_s if picture == 0 else self._first_s
        self._step_s, self._last_s = time_s - self._last_s, time_s
        if isinstance(found, Unread):
            self._unread[found.reason] += 1
            self._mixing = False
            self._stair.take(None)
            if found.lit and len(self._between.pictures) < MOST_BETWEEN:
                self._between.pictures.append(found)
            return
        self._read += 1
        self._stair.take(found)
        if found.identity is not None:
            self._votes[found.identity] += 1
        mixed = found.later is not None and LEAST_SHARE <= found.share <= 1 - LEAST_SHARE
        # a mixture of distant frames is what a drop looks like while it passes, and no blend
        self._clipped += mixed and found.clipped
        self._mix(time_s, found, mixed=mixed and found.later == found.number + 1)
        self._between.mixed(found, time_s)
        if found.clipped and _even(found):
            return  # both are clipped: which of the two has more light is not known either
        self._run(time_s, picture, found.shown, found.identity)

    def _run(self, time_s: Fraction, picture: int, number: int, identity: Identity | None) -> None:
        if self._runs and self._runs[-1].number == number:
            run = self._runs[-1]
            self._runs[-1] = run._replace(
                last_s=time_s, last_picture=picture, pictures=run.pictures + 1
            )
            self._between.pictures.clear()
            return
        run = Run(number, time_s, time_s, picture, picture, identity=identity)
        if self._runs:
            before = self._runs[-1].number
            direct, glimpsed = self._between.took_over(before, number)
            run = run._replace(
                direct=direct,
                glimpsed=glimpsed,
                halfway_s=self._between.halfway_s.get((before, number)),
                halfway_within_s=self._step_s / 2,
            )
        self._runs.append(run)
        self._between = _Between()

    def _mix(self, time_s: Fraction, found: Seen, *, mixed: bool) -> None:
        steady = abs(found.share - self._last_share) <= STEADY_SHARE
        going_on = self._mixing and self._mixtures[-1].number == found.number and steady
        self._mixing, self._last_share = mixed, found.share
        self._blended += mixed
        if found.clipped:
            self._mixing = False
        elif mixed and going_on:
            last = self._mixtures[-1]
            self._mixtures[-1] = last._replace(
                last_s=time_s,
                pictures=last.pictures + 1,
                lowest=min(last.lowest, found.share),
                highest=max(last.highest, found.share),
            )
        elif mixed:
            share = found.share
            self._mixtures.append(Mixture(found.number, time_s, time_s, 1, share, share))

    def watched(self) -> Watched:
        """Everything so far."""
        voted = self._votes.most_common(1)
        identity = voted[0][0] if voted else None
        return Watched(
            self._pictures,
            self._read,
            tuple(self._unread.most_common()),
            self._first_s,
            self._last_s,
            tuple(self._runs),
            tuple(self._mixtures),
            identity,
            sum(self._votes.values()) - (voted[0][1] if voted else 0),
            self._blended,
            self._stair.steps,
            self._clipped,
            self._stair.clipped_steps,
        )

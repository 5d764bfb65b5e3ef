"""Repeats that a conversion of the rate left in footage, and which pictures are none.

Footage at F put on a timeline at T shows frame floor(n F/T + phase) in picture n. With F/T = p/q
in lowest terms there are q phases. A repeat differs from the picture before by little beside
what pictures shortly before and shortly after differ by. A single one proves nothing, as things
stop and start; repeats are claimed where one rate and phase foresees them.
"""

from __future__ import annotations

from contextlib import closing, suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.errors import RequestError
from patterns.picture.arrays import BoolArray, FloatArray
from patterns.reading.picture_change import lesser_side
from patterns.side_by_side import Progress
from patterns.video.probe import VideoInfo
from patterns.video.reader import read_luma

SIDE = 192  # pixels along, of the pictures that are compared: grain averages out, motion stays
REACH = 5  # pictures to each side among which there must be a step to call one little
LITTLE = 0.4  # of such a step
MOVING = 0.4  # codes by which pictures must differ to be judged: above what coding alone changes
FORESEEN = 0.65  # F1 of repeats seen and foreseen: conversions 0.69 to 1, other footage to 0.3
JOINED = 0.85  # the same if each stretch has a phase of its own
SHORTEST = 12  # pictures; longer rhythms come too rarely in a stretch to be known from chance
FEWEST = 4  # repeats, so that a rhythm has been seen to come again
PHASES = 60  # that are tried of a rhythm at first, where it has more
ENOUGH = 300  # pictures that must move to say that there is no rhythm: 12 repeats of 24 in 25
STRETCH_S = 2  # in which a rhythm is looked for by itself, as shots may begin at any phase
SHOT_AT = (
    *(Fraction(n) for n in (12, 15, 20, 24, 25, 30, 48, 50, 60)),
    *(Fraction(n * 1000, 1001) for n in (24, 30, 60)),
)


@dataclass(frozen=True)
class Rhythm:
    """Repeats of a conversion.

    Attributes
    ----------
    footage, timeline
        Frames and pictures a second.
    phase
        Where within a frame picture 0 lies, 0 to q - 1.
    pictures
        How many the file has.
    """

    footage: Fraction
    timeline: Fraction
    phase: int
    pictures: int

    @property
    def _terms(self) -> tuple[int, int, int]:
        """Slope, offset and divisor: picture n shows frame (slope n + offset) // divisor."""
        ratio = self.footage / self.timeline
        return 2 * ratio.numerator, 2 * self.phase + 1, 2 * ratio.denominator

    def marks(self) -> BoolArray:
        """Whether each picture shows the frame of the one before; the first one does not."""
        slope, offset, divisor = self._terms
        frames = (slope * np.arange(self.pictures) + offset) // divisor
        return np.asarray(np.diff(frames, prepend=-1) == 0, np.bool_)

    @property
    def repeats(self) -> int:
        """How many repeats there are."""
        return int(self.marks().sum())

    @property
    def keeps(self) -> str:
        """The pictures that are no repeats, as the bundled ffmpeg's `select` understands it."""
        slope, offset, divisor = self._terms
        shown, before = (f"floor(({slope}*{n}+{offset})/{divisor})" for n in ("n", "(n-1)"))
        return f"eq(n,0)+gt({shown},{before})"


def look_for_rhythm(path: Path, info: VideoInfo, progress: Progress) -> tuple[Rhythm | None, int]:
    """Repeats that a file has all through, or None, and how many pictures were looked at.

    Decoding takes long: where 300 pictures that move show no rhythm, the others are not looked at.

    Raises
    ------
    InputError
        It cannot be read.
    RequestError
        As `find_rhythm`.
    """
    assert info.rate is not None
    scale = SIDE / max(info.width, info.height)
    size = (max(2, round(info.width * scale)), max(2, round(info.height * scale)))
    steps, before = [], None
    with closing(read_luma(path, size=size)) as pictures:
        for done, (_, luma) in enumerate(pictures, start=1):
            now = luma.astype(np.float32)
            steps.append(0.0 if before is None else float(np.sqrt(((now - before) ** 2).mean())))
            before = now
            progress(min(done, info.pictures), info.pictures)
            if done % ENOUGH == 0 and _has_none(np.array(steps), info.rate):
                return None, done
    return find_rhythm(np.array(steps), info.rate, str(path)), len(steps)


def _has_none(steps: FloatArray, timeline: Fraction) -> bool:
    if _little_steps(steps)[1].sum() < ENOUGH - 2 * REACH:
        return False
    with suppress(RequestError):
        return find_rhythm(steps, timeline, "") is None
    return False


def find_rhythm(steps: FloatArray, timeline: Fraction, name: str) -> Rhythm | None:
    """Repeats that pictures have all through, or None if they have none in a rhythm.

    Raises
    ------
    RequestError
        There is a rhythm, but it starts anew on the way, as where shots were joined.
    """
    seen, judged = _little_steps(steps)
    if seen.sum() < FEWEST:
        return None
    best, joined = (0.0, 0, Rhythm(timeline, timeline, 0, len(steps))), 0.0
    for rate in SHOT_AT:
        if not timeline / REACH <= rate < timeline * Fraction(99, 100):
            continue
        q = (rate / timeline).denominator
        coarse = max(1, q // PHASES)
        marks = _foreseen(rate, timeline, range(0, q, coarse), len(steps)) & judged
        agrees = _agreement(marks, seen)
        near = Rhythm(rate, timeline, coarse * int(agrees.argmax()), len(steps))
        best = max(best, (round(float(agrees.max()), 2), -q, near), key=lambda found: found[:2])
        if q <= SHORTEST:
            joined = max(joined, _by_stretches(marks, seen, STRETCH_S * round(timeline)))
    if best[0] >= FORESEEN:
        return _refined(best[2], seen, judged)
    if joined >= JOINED:
        raise RequestError(
            f"{name} repeats pictures in a rhythm that starts anew on the way, as where shots "
            "were joined: give each shot as a file of its own, or --keep-repeats"
        )
    return None


def _little_steps(steps: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Pictures that differ by little from the one before, and those that could be judged."""
    padded = np.pad(steps[1:], (REACH + 1, REACH), mode="reflect")  # the first has no step
    beside = lesser_side(padded, REACH)  # a cut lies on one side only
    judged = beside > MOVING
    judged[0] = False
    return judged & (steps < LITTLE * beside), judged


def _foreseen(rate: Fraction, timeline: Fraction, phases: range, count: int) -> BoolArray:
    return np.stack([Rhythm(rate, timeline, phase, count).marks() for phase in phases])


def _agreement(marks: BoolArray, seen: BoolArray) -> FloatArray:
    """F1 of each row of marks."""
    both, either = (marks & seen).sum(axis=-1), marks.sum(axis=-1) + seen.sum()
    return np.asarray(2 * both / np.maximum(1, either), np.float64)


def _by_stretches(marks: BoolArray, seen: BoolArray, length: int) -> float:
    """F1 if every stretch may begin at the phase that suits it best."""
    hits = total = 0
    for start in range(0, len(seen), length):
        here = slice(start, start + length)
        row = marks[_agreement(marks[:, here], seen[here]).argmax(), here]
        hits += 2 * int((row & seen[here]).sum())
        total += int(row.sum() + seen[here].sum())
    return hits / max(1, total)


def _refined(rhythm: Rhythm, seen: BoolArray, judged: BoolArray) -> Rhythm:
    """The phase that suits all pictures best, of all those near the one found among a few."""
    q = (rhythm.footage / rhythm.timeline).denominator
    reach = max(1, q // PHASES)
    near = range(max(0, rhythm.phase - reach), min(q, rhythm.phase + reach + 1))
    marks = _foreseen(rhythm.footage, rhythm.timeline, near, rhythm.pictures) & judged
    return replace(rhythm, phase=near[int(_agreement(marks, seen).argmax())])

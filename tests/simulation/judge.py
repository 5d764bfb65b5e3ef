"""Judging readings against the truth: what counts as read, and what as wrong."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from patterns.picture.arrays import UInt8Array
from patterns.reading.file_kind import KEPT
from patterns.reading.video_reading import TOGETHER
from patterns.strip.camera import CameraReader
from patterns.strip.read import StripReading, Unread
from patterns.video.reader import read_luma
from tests.simulation.conditions import Case
from tests.simulation.film import Truth, film, stage
from tests.simulation.phone_file import save

__all__ = ["Score", "Tally", "is_wrong", "run_case"]

LEAST_SHARE = 0.5  # a frame read alone must give at least half of the strip's light
LEAST_BOTH = 0.7  # and a mixture's two frames together so much of it
SHARE_ERROR = 0.3


class Tally:
    """Counts that add up, all of them."""

    def add(self, other: Tally) -> None:
        """Add the counts of another."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


@dataclass
class Score(Tally):
    """Counts over pictures; `due` are steady and lit, and ought to be read."""

    pictures: int = 0
    due: int = 0
    due_read: int = 0
    read: int = 0
    mixtures: int = 0
    wrong: int = 0
    recordings: int = 0
    without_identity: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    @property
    def rate(self) -> float:
        """Share of the pictures due that were read."""
        return self.due_read / self.due if self.due else 1.0


def is_wrong(reading: StripReading, truth: Truth) -> bool:
    """Whether a reading says something that the picture does not show."""
    first = truth.shares.get(reading.number, 0.0)
    if reading.later is None:
        return first < LEAST_SHARE
    second = truth.shares.get(reading.later, 0.0)
    both = first + second
    return both < LEAST_BOTH or abs(reading.share - second / both) > SHARE_ERROR


def _recording(case: Case, pictures: int, path: Path) -> list[Truth]:
    """Film and compress a case into `path`, or find it there from an earlier run."""
    told = path.with_suffix(".json")
    if told.exists():
        rows = json.loads(told.read_text(encoding="utf-8"))
        return [Truth({int(n): s for n, s in row[0].items()}, *row[1:]) for row in rows]
    truths: list[Truth] = []

    def seen() -> Iterator[UInt8Array]:
        for luma, truth in film(stage(case, pictures), pictures):
            truths.append(truth)
            yield luma

    save(seen(), path, case.capture_hz, case.crf)
    rows = [(t.shares, t.steady, t.lit) for t in truths]
    told.write_text(json.dumps(rows), encoding="utf-8")
    return truths


def _read_as_files_are(
    reader: CameraReader, pictures: Sequence[UInt8Array]
) -> list[StripReading | Unread]:
    """The first few one by one, then several at once as long as the strip is seen there."""
    readings: list[StripReading | Unread] = []
    while (at := len(readings)) < len(pictures):
        done = reader.read_parts(pictures[at : at + TOGETHER]) if at >= KEPT else []
        if not done:
            done = [reader.read(pictures[at])]
            reader.shift(0, 0)  # parts are taken anew around it
        readings += done
    return readings


def run_case(case: Case, pictures: int, folder: Path) -> Score:
    """Film a case, compress it, read the file back, and judge every picture.

    Recordings stay in `folder`, so that another reader can be judged by the same ones.
    """
    clip = stage(case, 1).clip
    name = f"{case.level}-{clip.identity:04x}-{case.screen.refresh_hz}-{case.capture_hz}"
    path = folder / f"{name}-{case.seed}-{pictures}.mp4"
    truths = _recording(case, pictures, path)
    reader = CameraReader()
    readings = _read_as_files_are(reader, [luma for _, luma in read_luma(path)])
    score = Score(pictures=len(readings), recordings=1)
    for i, (reading, truth) in enumerate(zip(readings, truths, strict=True)):
        due = truth.steady and truth.lit
        score.due += due
        if isinstance(reading, Unread):
            if due:
                score.reasons[reading.reason] += 1
            continue
        score.read += 1
        score.due_read += due
        score.mixtures += reading.later is not None
        if is_wrong(reading, truth):
            score.wrong += 1
            score.faults.append(f"{case} picture {i}: {reading} but {truth}")
    identity = reader.identity
    if identity is None:
        score.without_identity += 1
    elif (identity.rate, identity.clip) != (clip.rate, clip.identity):
        score.wrong += 1
        score.faults.append(f"{case}: identity {identity}")
    return score

"""Reading of footage without a strip: what may be claimed of its marks, and how it is worded.

Real footage repeats and jumps now and then (a slow passage, a cut, a blink), so that a mark
is a claim only where a conversion of the rate foresees the marks, or, of repeats, where next
to nothing is left of the difference between two real steps. Where nothing moves, or grain is
as strong as the motion, nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np

from patterns.picture.arrays import BoolArray
from patterns.reading.holds import HeldFrame
from patterns.reading.picture_change import Changes, FootageMarks, mark_footage
from patterns.reading.reading import Blend, Reading
from patterns.reading.timeline_mistake import Mistake, find_mistake
from patterns.timing.notation import counted
from patterns.timing.rates import format_decimal

FEWEST = 12
FEW_MOVING = 0.1  # of the pictures, below which a shot is static; eight at least
COPIES_CODES = 0.5  # two copies after compression measure 0.3; a camera's pictures have own noise
EITHER = (
    "cannot be known: this is either footage put on a timeline of another rate, or a screen filmed "
    "by a camera; give --as footage, or film the counting strip with it"
)
AS_IF_FILMED = (
    "A screen that a camera films looks the same, each frame in two pictures or more: if this is "
    "a recording, nothing here speaks of an editor's timeline; film the counting strip as well."
)


@dataclass(frozen=True)
class _Found:
    """Marks that are claimed, the conversion that bears them out, and marks that are left open.

    `as_filmed` says whether a camera that films a screen would leave the same, `filmed` whether
    the pictures speak for that.
    """

    marks: FootageMarks
    mistake: Mistake | None
    open_repeats: int
    open_mixtures: int
    as_filmed: bool
    filmed: bool


def judge_footage(
    changes: Changes,
    times: Sequence[Fraction],
    *,
    file: str,
    file_rate: Fraction | None,
    mean_rate: Fraction | None,
    filmed_possible: bool = False,
    tagged: bool = False,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of footage without a strip.

    Parameters
    ----------
    changes, times
        Measures and exact times of all pictures.
    file
        Name to show.
    file_rate, mean_rate
        Exact pictures a second, or None if they are not evenly timed; and on average.
    filmed_possible
        Whether it may be a recording of a screen: then a conversion is not claimed where a camera
        would leave the same, and its pictures are no copies of each other.
    tagged
        Whether the file has a camera's tag, and so comes from no editor.
    warnings
        What the reader of the file has to say.
    """
    count = len(times)
    hz = file_rate or mean_rate
    reading = Reading("footage", file, pictures=count, refresh_hz=hz, refresh_from="file")
    if count < FEWEST:
        few = f"too short: {count} pictures show nothing of repeats; give a second or more"
        return reading.worded(few, warnings=warnings)
    found = _found(changes, file_rate, filmed_possible, tagged)
    marks, mistake = found.marks, found.mistake
    jumps = _places(marks.jumped)
    reading = replace(
        reading,
        rate=None if mistake is None else mistake.footage,
        read=int(marks.moving.sum()),
        unread=_unread(marks),
        seconds=float(times[-1] - times[0]),
        frames_seen=int((~marks.repeated).sum()),
        holds=_holds(marks.repeated, times),
        dropped=jumps,
        drops_beyond=len(jumps),
        repeated=_places(marks.repeated),
        blended=tuple(Blend(None, None, float(times[i]), i) for i in _places(marks.mixed)),
        even=None if found.filmed else not bool(marks.repeated.any()),
        details=_details(marks, mistake),
    )
    return reading.worded(
        EITHER if found.filmed else _verdict(reading, found, file_rate),
        () if mistake is None else [mistake.text],
        (*warnings, *_doubts(found, file_rate)),
    )


def _details(marks: FootageMarks, mistake: Mistake | None) -> dict[str, Any]:
    return {
        "moving_pictures": int(marks.moving.sum()),
        "judged_for_mixtures": int(marks.detailed.sum()),
        "mistake": None if mistake is None else mistake.kind,
    }


def _found(
    changes: Changes, timeline: Fraction | None, filmed_possible: bool, tagged: bool
) -> _Found:
    seen = mark_footage(changes)
    mistake = find_mistake(seen, timeline)
    as_filmed = filmed_possible and _each_often(mistake, timeline)
    apart = np.array(changes.step)[seen.repeated]
    filmed = as_filmed and (tagged or bool(np.median(apart) > COPIES_CODES))
    mistake = None if filmed else mistake
    kind = None if mistake is None else mistake.kind
    none = np.zeros_like(seen.repeated)
    marks = replace(
        seen,
        repeated=seen.repeated if kind == "repeat" else seen.copies,
        mixed=seen.mixed if kind == "blend" else none,
        jumped=seen.jumped if kind == "drop" else none,
    )
    open_repeats = int((seen.repeated & ~marks.repeated).sum())
    open_mixtures = int((seen.mixed & ~marks.mixed).sum())
    return _Found(marks, mistake, open_repeats, open_mixtures, as_filmed, filmed)


def _each_often(mistake: Mistake | None, timeline: Fraction | None) -> bool:
    """Whether each frame fills two pictures or more, as where a camera films a screen."""
    if mistake is None or mistake.kind != "repeat" or timeline is None:
        return False
    return mistake.footage is None or timeline >= 2 * mistake.footage


def _holds(repeated: BoolArray, times: Sequence[Fraction]) -> tuple[HeldFrame, ...]:
    """Different pictures with how long each is shown; the last one's end is not known."""
    starts = [int(i) for i in np.flatnonzero(~repeated)]
    return tuple(
        HeldFrame(i, float(times[i]), float(times[j] - times[i]), j - i, i, times[i])
        for i, j in pairwise(starts)
    )


def _places(marks: BoolArray) -> tuple[int, ...]:
    return tuple(np.flatnonzero(marks).tolist())


def _unread(marks: FootageMarks) -> tuple[tuple[str, int], ...]:
    counts = (
        ("nothing moves", int((~marks.moving & ~marks.noisy).sum())),
        ("grain is as strong as the motion", int(marks.noisy.sum())),
    )
    return tuple((reason, count) for reason, count in counts if count)


def _verdict(reading: Reading, found: _Found, file_rate: Fraction | None) -> str:
    """One sentence."""
    marks, mistake = found.marks, found.mistake
    if reading.read < max(8, FEW_MOVING * reading.pictures):
        if int(marks.noisy.sum()) > reading.pictures / 2:
            return (
                "nothing can be known: grain and compression are as strong as the motion; give a "
                "less compressed export, or a passage with faster motion"
            )
        return (
            "a static shot: next to nothing moves, so that repeats and drops can neither be seen "
            "nor ruled out; give a passage with steady motion"
        )
    at = "" if file_rate is None else f" at {format_decimal(file_rate)} pictures a second"
    repeats, mixtures = len(reading.repeated), len(reading.blended)
    judged = bool(marks.detailed.any()) and not found.open_mixtures
    if not repeats and not mixtures and mistake is None:
        surely = "surely " if found.open_repeats else ""
        return f"no picture {surely}repeated{', none mixed' if judged else ''}{at}"
    parts = [
        f"{counted(repeats, 'picture')} repeated",
        f"{mixtures} mixed" if judged else "mixtures not judged",
    ]
    if mistake is not None and mistake.kind == "drop":
        parts.append(f"{counted(len(reading.dropped), 'frame')} left out in an even rhythm")
    text = f"{', '.join(parts)} in {reading.seconds:.1f} s{at}"
    if mistake is None or mistake.footage is None:
        return text
    done = "by blending" if mistake.kind == "blend" else "at its own speed"
    timeline = format_decimal(file_rate) if file_rate else "file"
    return f"{format_decimal(mistake.footage)} on a {timeline} timeline {done}: {text}"


def _doubts(found: _Found, file_rate: Fraction | None) -> Iterator[str]:
    """Doubts, each with what to do."""
    marks = found.marks
    if found.as_filmed:
        yield AS_IF_FILMED
    if found.open_repeats:
        yield (
            f"{counted(found.open_repeats, 'picture')} differ little from the one before, in no "
            "rhythm: whether they repeat it or next to nothing moved cannot be known."
        )
    if found.open_mixtures:
        yield (
            f"{counted(found.open_mixtures, 'picture')} look softer or like their neighbours, in "
            "no rhythm: whether they are mixtures cannot be known."
        )
    for reason, count in _unread(marks):
        if count < len(marks.moving):
            yield f"In {counted(count, 'picture')} {reason}: nothing is said of them."
    if marks.moving.any() and not marks.detailed.any():
        yield (
            "It moves too little from picture to picture, or is too soft, for mixtures to be seen "
            "from other pictures: give a passage with faster motion."
        )
    if file_rate is None:
        yield (
            "The file's timestamps are not even: players hold such pictures unevenly whatever "
            "they show. Ask for a constant frame rate when you export."
        )
    yield "Judged by picture differences alone: a clip with the counting strip is read exactly."

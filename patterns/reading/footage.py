"""Reading of footage without a strip: what may be claimed of its marks.

Real footage repeats and jumps now and then (a slow passage, a cut, a blink), so that a mark
is a claim only where a conversion of the rate foresees the marks, or, of repeats, where next
to nothing is left of the difference between two real steps. Where nothing moves, or grain is
as strong as the motion, nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from patterns.picture.arrays import BoolArray
from patterns.reading.footage_marks import FootageMarks, marks_and_mistake
from patterns.reading.footage_words import (
    AS_IF_FILMED,
    NOT_TOLD,
    footage_verdict,
    footage_warnings,
)
from patterns.reading.holds import HeldFrame
from patterns.reading.picture_change import Changes
from patterns.reading.reading import Blend, Reading
from patterns.reading.timeline_mistake import Mistake

__all__ = ["judge_footage"]

FEWEST = 12
COPIES_CODES = 0.5  # two copies after compression measure 0.3; a camera's pictures have own noise


def _claimed(marks: FootageMarks, mistake: Mistake | None) -> FootageMarks:
    """What is left of the marks where no rhythm bears them out."""
    kind = None if mistake is None else mistake.kind
    none = np.zeros_like(marks.repeated)
    return replace(
        marks,
        repeated=marks.repeated if kind == "repeat" else marks.copies,
        mixed=marks.mixed if kind == "blend" else none,
        jumped=marks.jumped if kind == "drop" else none,
    )


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
    if count < FEWEST:
        return Reading(
            kind="footage",
            file=file,
            verdict=f"too short: {count} pictures tell nothing of repeats; give a second or more",
            pictures=count,
            read=0,
            refresh_hz=file_rate or mean_rate,
            refresh_from="file",
            warnings=tuple(warnings),
        )
    seen, mistake = marks_and_mistake(changes, file_rate)
    often = _each_often(mistake, file_rate) and filmed_possible
    apart = np.array(changes.step)[seen.repeated]
    filmed = often and (tagged or bool(np.median(apart) > COPIES_CODES))
    if often:
        warnings = (*warnings, AS_IF_FILMED)
    mistake = None if filmed else mistake
    marks = _claimed(seen, mistake)
    open_repeats = int((seen.repeated & ~marks.repeated).sum())
    open_mixtures = int((seen.mixed & ~marks.mixed).sum())
    seconds = float(times[-1] - times[0])
    jumps = _places(marks.jumped)
    return Reading(
        kind="footage",
        file=file,
        verdict=NOT_TOLD
        if filmed
        else footage_verdict(
            marks,
            mistake,
            file_rate,
            seconds,
            open_repeats=open_repeats,
            open_mixtures=open_mixtures,
        ),
        rate=None if mistake is None else mistake.footage,
        refresh_hz=file_rate or mean_rate,
        refresh_from="file",
        pictures=count,
        read=int(marks.moving.sum()),
        unread=_unread(marks),
        seconds=seconds,
        frames_seen=int((~marks.repeated).sum()),
        holds=_holds(marks.repeated, times),
        dropped=jumps,
        drops_beyond=len(jumps),
        repeated=_places(marks.repeated),
        blended=tuple(Blend(None, None, float(times[i]), i) for i in _places(marks.mixed)),
        even=None if filmed else not bool(marks.repeated.any()),
        explanation=() if mistake is None else (mistake.text,),
        warnings=(*warnings, *footage_warnings(marks, file_rate, open_repeats, open_mixtures)),
        details=_details(marks, mistake),
    )


def _places(marks: BoolArray) -> tuple[int, ...]:
    return tuple(np.flatnonzero(marks).tolist())


def _unread(marks: FootageMarks) -> tuple[tuple[str, int], ...]:
    counts = (
        ("nothing moves", int((~marks.moving & ~marks.noisy).sum())),
        ("grain is as strong as the motion", int(marks.noisy.sum())),
    )
    return tuple((reason, count) for reason, count in counts if count)


def _details(marks: FootageMarks, mistake: Mistake | None) -> dict[str, object]:
    return {
        "moving_pictures": int(marks.moving.sum()),
        "judged_for_mixtures": int(marks.detailed.sum()),
        "mistake": None if mistake is None else mistake.kind,
    }

"""What footage holds, in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from patterns.reading.footage_marks import FootageMarks
from patterns.reading.timeline_mistake import Mistake
from patterns.reading.words import counted
from patterns.timing.rates import format_decimal

__all__ = ["AS_IF_FILMED", "NOT_TOLD", "footage_verdict", "footage_warnings"]

FEW_MOVING = 0.1
NOT_TOLD = (
    "not told: this is either footage put on a timeline of another rate, or a screen filmed by a "
    "camera; give --as footage, or film the counting strip with it"
)
AS_IF_FILMED = (
    "A screen that a camera films looks the same, each frame in two pictures or more: if this is "
    "a recording, nothing here speaks of an editor's timeline; film the counting strip as well."
)


def footage_verdict(
    marks: FootageMarks,
    mistake: Mistake | None,
    file_rate: Fraction | None,
    seconds: float,
    *,
    open_repeats: int,
    open_mixtures: int,
) -> str:
    """One sentence; the open ones are pictures that look so, but in no rhythm."""
    moving = int(marks.moving.sum())
    count = len(marks.moving)
    if moving < max(8, FEW_MOVING * count):
        if int(marks.noisy.sum()) > count / 2:
            return (
                "nothing can be known: grain and compression are as strong as the motion; give a "
                "less compressed export, or a passage with faster motion"
            )
        return (
            "a static shot: next to nothing moves, so that repeats and drops can neither be seen "
            "nor ruled out; give a passage with steady motion"
        )
    at = "" if file_rate is None else f" at {format_decimal(file_rate)} pictures a second"
    repeats, mixtures = int(marks.repeated.sum()), int(marks.mixed.sum())
    told = bool(marks.detailed.any()) and not open_mixtures
    parts = [
        f"{counted(repeats, 'picture')} repeated",
        f"{mixtures} mixed" if told else "mixtures not judged",
    ]
    if mistake is not None and mistake.kind == "drop":
        parts.append(f"{counted(int(marks.jumped.sum()), 'frame')} left out in an even rhythm")
    found = f"{', '.join(parts)} in {seconds:.1f} s{at}"
    if mistake is not None and mistake.footage is not None:
        done = "by blending" if mistake.kind == "blend" else "at its own speed"
        return (
            f"{format_decimal(mistake.footage)} on a "
            f"{format_decimal(file_rate) if file_rate else 'file'} timeline {done}: {found}"
        )
    if not repeats and not mixtures and mistake is None:
        surely = "surely " if open_repeats else ""
        return f"no picture {surely}repeated{', none mixed' if told else ''}{at}"
    return found


def footage_warnings(
    marks: FootageMarks, file_rate: Fraction | None, open_repeats: int, open_mixtures: int
) -> Iterator[str]:
    """Doubts, each with what to do."""
    if open_repeats:
        yield (
            f"{counted(open_repeats, 'picture')} differ little from the one before, in no rhythm: "
            "whether they repeat it or next to nothing moved cannot be known."
        )
    if open_mixtures:
        yield (
            f"{counted(open_mixtures, 'picture')} look softer or like their neighbours, in no "
            "rhythm: whether they are mixtures cannot be known."
        )
    still = int((~marks.moving & ~marks.noisy).sum())
    noisy = int(marks.noisy.sum())
    if 0 < still < len(marks.moving):
        yield f"In {counted(still, 'picture')} nothing moves: nothing is said of them."
    if 0 < noisy < len(marks.moving):
        yield f"In {counted(noisy, 'picture')} grain is as strong as the motion: nothing is said."
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

"""Reading of footage without a strip: what may be claimed of it, and how it is worded.

Real footage repeats and jumps now and then (a slow passage, a cut, a blink), so that a picture
is called odd only where a conversion of the rate foresees it, or, a repeat, where next to nothing
is left of the difference between two real steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from patterns.footage.conversion import Conversion
from patterns.footage.measure import Facts
from patterns.picture.arrays import BoolArray
from patterns.reading.hold_cadence import HeldFrame
from patterns.reading.reading import Blend, Reading
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


def judge_footage(
    facts: Facts, *, file: str, filmed_possible: bool = False, warnings: Sequence[str] = ()
) -> Reading:
    """Reading of footage without a strip.

    `facts`: what was measured.
    `file`: name to show.
    `filmed_possible`: whether it may be a recording of a screen: then a conversion is not claimed
    where a camera would leave the same, and its pictures are no copies of each other.
    `warnings`: what the reader of the file has to say.
    """
    info, times = facts.info, facts.times
    reading = Reading(
        "footage", file, pictures=len(times), refresh_hz=info.average_rate, refresh_from="file"
    )
    if len(times) < FEWEST:
        few = f"too short: {len(times)} pictures show nothing of repeats; give a second or more"
        return reading.worded(few, warnings=warnings)
    as_filmed = filmed_possible and _each_often(facts.conversion)
    filmed = as_filmed and (info.capture_hz is not None or _differ(facts))
    done = None if filmed else facts.conversion
    odd = done.marks() if done is not None else np.zeros(len(times), np.bool_)
    kind = None if done is None else done.kind
    repeated = odd if kind == "repeat" and done and done.phase is not None else facts.marks.copies
    jumped = _places(odd) if kind == "drop" else ()
    mixed = _places(odd) if done and (kind == "blend" or done.is_woven) else ()
    reading = reading._replace(
        rate=None if done is None else done.footage,
        read=int(facts.marks.moving.sum()),
        unread=_unread(facts),
        seconds=float(times[-1] - times[0]),
        frames_seen=int((~repeated).sum()),
        holds=_holds(repeated, times),
        dropped=jumped,
        drops_beyond=len(jumped),
        repeated=_places(repeated),
        blended=tuple(Blend(None, None, float(times[i]), i) for i in mixed),
        even=None if filmed or (done is None and facts.hidden == "all") else not repeated.any(),
        details={"moving_pictures": int(facts.marks.moving.sum()), "mistake": kind},
        footage=None if filmed else replace(facts, conversion=done),
    )
    doubts = (*warnings, *_doubts(reading, as_filmed=as_filmed))
    if filmed:
        return reading.worded(EITHER, (), doubts)
    return reading.worded(_verdict(reading, done), _advice(done), doubts)


def _each_often(done: Conversion | None) -> bool:
    """Whether each frame fills two pictures or more, as where a camera films a screen."""
    if done is None or done.kind != "repeat" or done.footage is None:
        return False
    return done.timeline >= 2 * done.footage


def _differ(facts: Facts) -> bool:
    """Whether pictures that show the same frame differ by what a camera's own noise does."""
    assert facts.conversion is not None
    return bool(np.median(facts.step[facts.conversion.marks()]) > COPIES_CODES)


def _holds(repeated: BoolArray, times: Sequence[Fraction]) -> tuple[HeldFrame, ...]:
    """Different pictures with how long each is shown; the last one's end is not known."""
    starts = [int(i) for i in np.flatnonzero(~repeated)]
    return tuple(
        HeldFrame(i, float(times[i]), float(times[j] - times[i]), j - i, i, times[i])
        for i, j in pairwise(starts)
    )


def _places(marks: BoolArray) -> tuple[int, ...]:
    return tuple(np.flatnonzero(marks).tolist())


def _unread(facts: Facts) -> tuple[tuple[str, int], ...]:
    marks = facts.marks
    counts = (
        ("nothing moves", int((~marks.moving & ~marks.noisy).sum())),
        ("grain is as strong as the motion", int(marks.noisy.sum())),
    )
    return tuple((reason, count) for reason, count in counts if count)


def _verdict(reading: Reading, done: Conversion | None) -> str:
    """One sentence."""
    unread = dict(reading.unread)
    if done is None and reading.read < max(8, FEW_MOVING * reading.pictures):
        if unread.get("grain is as strong as the motion", 0) > reading.pictures / 2:
            return (
                "nothing can be known: grain and compression are as strong as the motion; give a "
                "less compressed export, or a passage with faster motion"
            )
        return (
            "a static shot: next to nothing moves, so that repeats and drops can neither be seen "
            "nor ruled out; give a passage with steady motion"
        )
    rate = reading.refresh_hz
    at = "" if rate is None else f" at {format_decimal(rate)} pictures a second"
    counts = f"{counted(len(reading.repeated), 'picture')} repeated"
    if done is None:
        if reading.repeated:
            return f"{counts}, in no rhythm that is seen, in {reading.seconds:.1f} s{at}"
        return _none_seen(reading, at)
    if done.phase is None:
        return f"{done.words}, in a rhythm that starts anew on the way, as where shots were joined"
    if reading.dropped:
        counts = f"{counted(len(reading.dropped), 'frame')} left out"
    elif reading.blended:
        counts = f"{counted(len(reading.blended), 'picture')} made of two frames"
    return f"{done.words}; {counts} in {reading.seconds:.1f} s{at}"


def _none_seen(reading: Reading, at: str) -> str:
    """What is said where no conversion is seen, and what cannot be told then."""
    assert reading.footage is not None
    if reading.footage.hidden == "all":
        bits = reading.footage.info.bits_per_pixel
        return (
            f"cannot be told: no repeats, mixtures or gaps are seen{at}, but coding this coarse "
            f"({bits:.3f} bits a pixel) draws pictures from those beside them and hides such a "
            "rhythm; give a less compressed export"
        )
    if reading.footage.hidden == "gaps":
        return (
            f"no rhythm of repeats or mixtures is seen{at}; gaps cannot be told, as what moves "
            "changes its speed from picture to picture by as much"
        )
    return f"no rhythm of repeats, mixtures or gaps is seen{at}"


def _advice(done: Conversion | None) -> tuple[str, ...]:
    if done is None or done.footage is None:
        return ()
    footage, timeline = format_decimal(done.footage), format_decimal(done.timeline)
    if done.is_woven:
        return (f"Take the telecine out in an editor, and edit on a timeline of {footage}.",)
    return (f"Edit on a timeline of {footage}, or conform the footage to {timeline}.",)


def _doubts(reading: Reading, *, as_filmed: bool) -> Iterator[str]:
    """Doubts, each with what to do."""
    if as_filmed:
        yield AS_IF_FILMED
    for reason, count in reading.unread:
        if count < reading.pictures:
            yield f"In {counted(count, 'picture')} {reason}: nothing is said of them."
    if reading.footage is not None and reading.footage.info.rate is None:
        yield (
            "The file's timestamps are not even: players hold such pictures unevenly whatever "
            "they show. Ask for a constant frame rate when you export."
        )
    yield "Judged by pictures alone: a clip with the counting strip is read exactly."

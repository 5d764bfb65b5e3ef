"""A clip or a transcode of it: what the file itself holds, picture by picture.

An editor joins pieces, a loop begins again, a cut leaves frames out: each is a step of the
number that the time between does not explain. Speed is what the numbers do *between* such steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from patterns.reading.clip_words import clip_explanation, clip_verdict, clip_warnings
from patterns.reading.hold_cadence import (
    HeldFrame,
    drops_beyond,
    expected,
    hold_pattern,
    holds_in_order,
    timing_error,
)
from patterns.reading.reading import Blend, Reading
from patterns.reading.sightings import Mixture, Run, Watched
from patterns.timing.cadence import Display, cadence
from patterns.video.description import WHOLE, Damage

REORDERED_RUNS = 6  # after a step back, within which pictures in the wrong order catch up
WINDOW = 12  # steps over which a slope is taken: the rhythm of a conversion evens out
CUT = 1.5  # frames or pictures that a step must be ahead of its time to be a cut
LEAST_SPEED = 0.002  # change of speed that can be seen where frames repeat
SINGLE_STEPS = 0.8  # share of steps by one frame in one picture, from which a file counts evenly
AT_THE_END = 48  # frames before a cut-off, of which the decoder may lack or repair some
# Where a file may end too early unseen, at least those in whose order its decoder may be waiting
# for others: H.264 and H.265 hold at most 16 (max_dec_frame_buffering, sps_max_dec_pic_buffering).
AT_UNKNOWN_END = 16


class ClipSteps(NamedTuple):
    """Numbers of a file in order."""

    passages: tuple[tuple[Run, ...], ...]  # parted where the number steps back or was cut
    back: int  # partings that are steps back
    cuts: int  # and that are cuts
    reversed: bool  # whether the numbers run backwards
    speed: float | None  # frames a second over those claimed, within passages; None if unknown


def clip_steps(
    runs: Sequence[Run], rate: Fraction | None, file_rate: Fraction | None, interval_s: float
) -> ClipSteps:
    """Part the runs and find the speed.

    `runs`: of one clip, in the order of the file.
    `rate`: frames a second that the strip claims; None if unknown.
    `file_rate`: exact pictures a second; None if they are not evenly timed.
    `interval_s`: mean time from picture to picture.
    """
    turns = [after.number < before.number for before, after in pairwise(runs)]
    if len(turns) > REORDERED_RUNS and sum(turns) > SINGLE_STEPS * len(turns):
        return ClipSteps((tuple(runs),), 0, 0, True, None)
    forward = _parted_back(runs)
    usual, back = _usual_rate(forward), max(0, len(forward) - 1)
    if usual is None:
        return ClipSteps(tuple(forward), back, 0, False, None)
    allowed_s = CUT * max(1 / usual, interval_s)
    passages = [part for passage in forward for part in _parted_at_cuts(passage, usual, allowed_s)]
    speed = None if rate is None else _speed(passages, rate, file_rate, interval_s)
    return ClipSteps(tuple(passages), back, len(passages) - len(forward), False, speed)


def _parted_back(runs: Sequence[Run]) -> list[tuple[Run, ...]]:
    """Parts that begin where the number steps back and does not soon catch up."""
    parts: list[list[Run]] = []
    latest = -1
    for place, run in enumerate(runs):
        soon = runs[place + 1 : place + 1 + REORDERED_RUNS]
        if not parts or (run.number < latest and all(r.number <= latest for r in soon)):
            parts.append([])
            latest = run.number
        parts[-1].append(run)
        latest = max(latest, run.number)
    return [tuple(part) for part in parts]


def _usual_rate(passages: Sequence[Sequence[Run]]) -> float | None:
    """Frames a second, the median over stretches of a few steps; None if there is none."""
    slopes = []
    for passage in passages:
        reach = min(WINDOW, len(passage) - 1)
        for a, b in zip(passage, passage[reach:], strict=False):
            if b.first_s > a.first_s and b.number > a.number:
                slopes.append((b.number - a.number) / float(b.first_s - a.first_s))
    return median(slopes) if slopes else None


def _parted_at_cuts(
    passage: tuple[Run, ...], usual: float, allowed_s: float
) -> list[tuple[Run, ...]]:
    """Parts between steps that are ahead of their time by more than is allowed."""
    starts = [0]
    for place, (a, b) in enumerate(pairwise(passage), start=1):
        if (b.number - a.number) / usual - float(b.first_s - a.first_s) > allowed_s:
            starts.append(place)
    return [passage[start:end] for start, end in pairwise([*starts, len(passage)])]


def _speed(
    passages: Sequence[Sequence[Run]], rate: Fraction, file_rate: Fraction | None, interval_s: float
) -> float | None:
    """Return 1 where it is less than a picture away; the file's rate where it counts evenly."""
    frames = sum(passage[-1].number - passage[0].number for passage in passages)
    passed_s = float(sum(passage[-1].first_s - passage[0].first_s for passage in passages))
    if passed_s <= 0 or frames <= 0:
        return None
    even = file_rate is not None and float(file_rate / rate)
    steps = [pair for passage in passages for pair in pairwise(passage)]
    single = sum(b.number - a.number == b.first_picture - a.first_picture == 1 for a, b in steps)
    if even and single == len(steps):
        return even
    speed = frames / passed_s / float(rate)
    # either end may lie a hold's unevenness off: a screen's, or at least a picture's
    held_s = sorted(float(b.first_s - a.first_s) for a, b in steps if b.number - a.number == 1)
    uneven_s = held_s[len(held_s) * 9 // 10] - held_s[len(held_s) // 10] if held_s else 0.0
    if abs(speed - 1) <= max(LEAST_SPEED, 1.5 * max(interval_s, uneven_s) / passed_s):
        return 1.0
    return even if even and single >= SINGLE_STEPS * len(steps) else speed


def _held(steps: ClipSteps, watched: Watched, file_rate: Fraction | None) -> list[HeldFrame]:
    """Frames with their pictures; the last lasts as long as its pictures do."""
    held = []
    last_step_s = 1 / file_rate if file_rate else Fraction(watched.interval_s)
    runs = [(index, run) for index, passage in enumerate(steps.passages) for run in passage]
    for (index, run), (_, after) in pairwise([*runs, (0, None)]):
        assert run is not None
        ends_at = watched.pictures if after is None else after.first_picture
        if run.first_picture + run.pictures != ends_at:
            continue  # an unread picture in it or after it might be the same frame
        end_s = after.first_s if after else run.last_s + last_step_s
        start_s, hold_s, step = float(run.first_s), float(end_s - run.first_s), run.first_picture
        held.append(HeldFrame(run.number, start_s, hold_s, run.pictures, step, run.first_s, index))
    return held


def _losses(
    steps: ClipSteps, mixtures: Sequence[Mixture], sure: int
) -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
    """Numbers dropped below `sure`, of which nothing can be known, and out of order."""
    dropped, unseen, backward = list[int](), list[int](), list[int]()
    mixed = {n for m in mixtures for n in (m.number, m.number + 1)}
    latest, before = -1, None
    for passage in steps.passages:
        seen = mixed | {run.number for run in passage}
        for run in passage:
            if before is not None and run.number > before.number:
                missing = (n for n in range(max(before.number, latest) + 1, run.number))
                gap = run.first_picture - before.last_picture - 1
                (unseen if gap else dropped).extend(n for n in missing if n not in seen)
            elif before is not None and run is not passage[0]:
                backward.append(run.number)
            latest = run.number if run is passage[0] else max(latest, run.number)
            before = run
    unseen += [n for n in dropped if n >= sure]
    return tuple(n for n in dropped if n < sure), tuple(unseen), tuple(backward)


def _known_below(last: int, damage: Damage) -> int:
    """Number below which lost and repeated frames are the file's own; `last`: the last one seen.

    A decoder fills gaps with older pictures, and before a cut some may be missing.
    """
    if damage.inside:
        return 0
    if damage.cut_off:
        return last - AT_THE_END
    return last - AT_UNKNOWN_END if damage.end_unknown else last + 1


def judge_clip(
    watched: Watched,
    *,
    file: str,
    file_rate: Fraction | None,
    mean_rate: Fraction | None,
    damage: Damage = WHOLE,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of a file that holds the clip.

    `watched`: what the strips said, with the file's own times.
    `file_rate`, `mean_rate`: pictures a second, None if they are not evenly timed; on average.
    `damage`, `warnings`: what the decoder found wrong; what the reader of the file has to say.
    """
    reading = Reading.of_strip("clip", file, watched)
    rate = reading.rate
    runs = [run for run in watched.runs if run.identity in (None, watched.identity)]
    steps = clip_steps(runs, rate, file_rate, watched.interval_s)
    frames = _held(steps, watched, file_rate)[: -1 if damage.cut_off else None]  # the end is open
    last = max((run.number for run in runs), default=0)
    sure = _known_below(last, damage)
    dropped, unseen, backward = _losses(steps, watched.mixtures, sure)
    mixtures = () if damage.inside else watched.mixtures
    known = () if mixtures else (frame for frame in frames if frame.number < sure)
    timeline, lost = file_rate or mean_rate, len(dropped)
    reading = reading._replace(
        refresh_hz=timeline,
        refresh_from="file",
        seconds=reading.seconds + watched.interval_s,
        frames_seen=len({run.number for run in runs}),
        holds=tuple(frames),
        dropped=dropped,
        drops_beyond=drops_beyond(frames, lost, rate, timeline) if rate else lost,
        repeated=tuple(frame.number for frame in known if (frame.refreshes or 0) > 1),
        out_of_order=() if damage.inside else backward,
        unseen=unseen,
        blended=tuple(Blend(m.number, m.share, float(m.first_s)) for m in mixtures),
        even=len({frame.refreshes for frame in frames}) == 1 if frames else None,
        speed=steps.speed,
        details={
            "file_rate": None if file_rate is None else str(file_rate),
            "mean_rate": None if mean_rate is None else round(float(mean_rate), 6),
            "mixed_pictures": sum(m.pictures for m in mixtures),
            "steps_back": steps.back,
            "cuts": steps.cuts,
            "reversed": steps.reversed,
            "damaged": bool(damage),
            "other_clips": watched.other_clips,
        },
    )
    reading = _with_cadence(reading, file_rate)
    return reading.worded(
        clip_verdict(reading, file_rate, damage),
        clip_explanation(reading, file_rate),
        (*warnings, *clip_warnings(reading, file_rate, watched, damage)),
    )


def _with_cadence(reading: Reading, file_rate: Fraction | None) -> Reading:
    """The same with pattern and timing error, and what the file's timeline makes of the rate."""
    rate, frames, speed = reading.rate, reading.holds, reading.speed
    if rate is None:
        return reading._replace(pattern=hold_pattern(holds_in_order(frames)))
    at_rate = rate * Fraction(speed or 1)
    lossy = file_rate is not None and file_rate < rate and not reading.out_of_order
    row = holds_in_order(frames, frozenset(reading.dropped) if lossy else None)
    due = None
    if file_rate is not None and speed is not None:
        due = expected(cadence(rate, Display.fixed(file_rate)), frames)
    return reading._replace(
        pattern=hold_pattern(row, None if file_rate is None else file_rate / at_rate),
        # pictures are on the file's own exact clock; at another speed the drift is taken out
        error=timing_error(frames, at_rate, file_rate),
        expected=due,
    )

"""A clip or a transcode of it: what the file itself holds, picture by picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from patterns.reading.clip_steps import ClipSteps, clip_steps
from patterns.reading.clip_words import clip_explanation, clip_verdict, clip_warnings
from patterns.reading.hold_cadence import (
    drops_beyond,
    expected,
    hold_pattern,
    holds_in_order,
    timing_error,
)
from patterns.reading.holds import HeldFrame
from patterns.reading.reading import Blend, Reading
from patterns.reading.watched import Mixture, Watched
from patterns.timing.cadence import Display, cadence
from patterns.video.description import WHOLE, Damage

AT_THE_END = 48  # frames before a cut-off, of which the decoder may lack or repair some


def _held(steps: ClipSteps, watched: Watched, file_rate: Fraction | None) -> list[HeldFrame]:
    """Frames with their pictures; the last lasts as long as its pictures do."""
    frames = []
    last_step_s = 1 / file_rate if file_rate else Fraction(watched.interval_s)
    runs = [(index, run) for index, passage in enumerate(steps.passages) for run in passage]
    for (index, run), (_, after) in pairwise([*runs, (0, None)]):
        assert run is not None
        ends_at = watched.pictures if after is None else after.first_picture
        if run.first_picture + run.pictures != ends_at:
            continue  # an unread picture in it or after it might be the same frame
        end_s = after.first_s if after else run.last_s + last_step_s
        start_s, hold_s, step = float(run.first_s), float(end_s - run.first_s), run.first_picture
        frames.append(
            HeldFrame(run.number, start_s, hold_s, run.pictures, step, run.first_s, index)
        )
    return frames


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
    `file`: name to show.
    `file_rate`, `mean_rate`: pictures a second, None if they are not evenly timed; on average.
    `damage`, `warnings`: what the decoder found wrong; what the reader of the file has to say.
    """
    reading = Reading.of_strip("clip", file, watched)
    rate = reading.rate
    runs = [run for run in watched.runs if run.identity in (None, watched.identity)]
    steps = clip_steps(runs, rate, file_rate, watched.interval_s)
    frames = _held(steps, watched, file_rate)[: -1 if damage.cut_off else None]  # the end is open
    last = max((run.number for run in runs), default=0)
    # A decoder fills gaps with older pictures; where a file was cut off, pictures that others
    # depend on may be missing before the end.
    sure = 0 if damage.inside else last - AT_THE_END if damage.cut_off else last + 1
    dropped, unseen, backward = _losses(steps, watched.mixtures, sure)
    mixtures = () if damage.inside else watched.mixtures
    known = () if mixtures else (frame for frame in frames if frame.number < sure)
    timeline, lost = file_rate or mean_rate, len(dropped)
    reading = replace(
        reading,
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
        return replace(reading, pattern=hold_pattern(holds_in_order(frames)))
    at_rate = rate * Fraction(speed or 1)
    lossy = file_rate is not None and file_rate < rate and not reading.out_of_order
    row = holds_in_order(frames, frozenset(reading.dropped) if lossy else None)
    due = None
    if file_rate is not None and speed is not None:
        due = expected(cadence(rate, Display.fixed(file_rate)), frames)
    return replace(
        reading,
        pattern=hold_pattern(row, None if file_rate is None else file_rate / at_rate),
        # pictures are on the file's own exact clock; at another speed the drift is taken out
        error=timing_error(frames, at_rate, file_rate),
        expected=due,
    )

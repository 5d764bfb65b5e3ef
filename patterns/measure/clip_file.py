"""A clip or a transcode of it: what the file itself holds, picture by picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from patterns.measure.clip_words import clip_explanation, clip_verdict, clip_warnings
from patterns.measure.expected import Expected, expected, timing_error
from patterns.measure.hold_pattern import hold_pattern
from patterns.measure.holds import HeldFrame
from patterns.measure.reading import Blend, Reading
from patterns.measure.sightings import Run, Watched
from patterns.timing.cadence import Display, cadence

__all__ = ["judge_clip"]

REORDERED = 16  # frames before a cut, whose order in the file may differ from that on screen
LEAST_SPEED = 0.002  # change of speed that can be told where frames repeat


def _held(runs: Sequence[Run], watched: Watched, file_rate: Fraction | None) -> list[HeldFrame]:
    """Frames with their pictures; the last lasts as long as its pictures do."""
    frames = []
    last_step_s = 1 / file_rate if file_rate else Fraction(watched.interval_s)
    for run, after in pairwise([*runs, None]):
        assert run is not None
        whole = run.pictures == run.last_picture - run.first_picture + 1
        follows = after is None or after.first_picture == run.last_picture + 1
        if not whole or not follows:
            continue  # an unread picture beside it might be the same frame
        if after is None and run.last_picture + 1 < watched.pictures:
            continue
        end_s = after.first_s if after else run.last_s + last_step_s
        frames.append(
            HeldFrame(
                run.number,
                float(run.first_s),
                float(end_s - run.first_s),
                run.pictures,
                run.first_picture,
                run.first_s,
            )
        )
    return frames


def _losses(watched: Watched) -> tuple[list[int], list[int], list[int]]:
    """Numbers dropped, numbers of which nothing can be told, numbers out of order."""
    dropped: list[int] = []
    unseen: list[int] = []
    backward: list[int] = []
    mixed = {m.number for m in watched.mixtures} | {m.number + 1 for m in watched.mixtures}
    seen = {run.number for run in watched.runs} | mixed
    latest = -1
    for before, run in pairwise(watched.runs):
        latest = max(latest, before.number)
        if run.number < before.number:
            backward.append(run.number)
            continue
        missing = [n for n in range(max(before.number, latest) + 1, run.number) if n not in seen]
        gap = run.first_picture - before.last_picture - 1
        (unseen if gap else dropped).extend(missing)
    return dropped, unseen, backward


def _expected(rate: Fraction, file_rate: Fraction, frames: Sequence[HeldFrame]) -> Expected:
    return expected(cadence(rate, Display.fixed(file_rate)), frames)


def judge_clip(
    watched: Watched,
    *,
    file: str,
    file_rate: Fraction | None,
    mean_rate: Fraction | None,
    cut_off: bool = False,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of a file that holds the clip.

    Parameters
    ----------
    watched
        What the strips said, with the file's own times.
    file
        Name to show.
    file_rate
        Exact pictures a second, or None if they are not evenly timed.
    mean_rate
        Pictures a second on average.
    cut_off
        Whether pictures of the file could not be decoded at its end.
    warnings
        What the reader of the file has to say.
    """
    rate = None if watched.identity is None else watched.identity.rate
    frames = _held(watched.runs, watched, file_rate)
    dropped, unseen, backward = _losses(watched)
    if cut_off and watched.runs:
        # pictures that others depend on may be among those that were cut off
        tail = watched.runs[-1].number - REORDERED
        unseen += [number for number in dropped if number >= tail]
        dropped = [number for number in dropped if number < tail]
    lossy = rate is not None and file_rate is not None and file_rate < rate
    pattern = hold_pattern(_sequence(frames, dropped if lossy and not backward else ()))
    untouched = not (dropped or backward or watched.mixtures) and pattern == (1,)
    speed = _speed(watched, rate, file_rate if untouched else None)
    steady = file_rate is not None
    known = rate is not None and steady and speed is not None
    conformed = speed is not None and speed != 1
    error = None
    if rate is not None:
        # pictures are on the file's own exact clock; at another speed the drift is taken out
        error = timing_error(
            frames,
            rate * Fraction(speed) if conformed and speed else rate,
            file_rate if steady else None,
        )
    reading = Reading(
        kind="clip",
        file=file,
        verdict="",
        rate=rate,
        clip=None if watched.identity is None else watched.identity.clip,
        refresh_hz=file_rate or mean_rate,
        refresh_from="file",
        pictures=watched.pictures,
        read=watched.read,
        unread=watched.unread,
        seconds=float(watched.last_s - watched.first_s) + watched.interval_s,
        frames_seen=len({run.number for run in watched.runs}),
        holds=tuple(frames),
        dropped=tuple(dropped),
        repeated=()
        if watched.mixtures
        else tuple(f.number for f in frames if f.refreshes and f.refreshes > 1),
        out_of_order=tuple(backward),
        unseen=tuple(unseen),
        drops_beyond=0,
        blended=tuple(Blend(m.number, m.share, float(m.first_s)) for m in watched.mixtures),
        pattern=pattern,
        even=len({frame.refreshes for frame in frames}) == 1 if frames else None,
        error=error,
        expected=_expected(rate, file_rate, frames) if known and rate and file_rate else None,
        speed=speed,
        details={
            "file_rate": None if file_rate is None else str(file_rate),
            "mean_rate": None if mean_rate is None else round(float(mean_rate), 6),
            "mixed_pictures": sum(m.pictures for m in watched.mixtures),
        },
    )
    reading = replace(reading, drops_beyond=_beyond(reading))
    return replace(
        reading,
        verdict=clip_verdict(reading, file_rate),
        explanation=clip_explanation(reading, file_rate),
        warnings=(*warnings, *clip_warnings(reading, file_rate, watched)),
    )


def _beyond(reading: Reading) -> int:
    """Drops that putting the rate on the file's timeline does not make."""
    rate, timeline = reading.rate, reading.refresh_hz
    if rate is None or timeline is None or timeline >= rate:
        return len(reading.dropped)
    return sum(frame.refreshes - 1 for frame in reading.holds if frame.refreshes)


def _sequence(frames: Sequence[HeldFrame], lost: Sequence[int]) -> list[int | None]:
    """Pictures of the frames in order; 0 for lost ones, where some must be lost."""
    if not lost or not frames:
        return [frame.refreshes for frame in frames]
    holds: dict[int, int | None] = {frame.number: frame.refreshes for frame in frames}
    holds |= dict.fromkeys(lost, 0)
    return [holds.get(number) for number in range(min(holds), max(holds) + 1)]


def _speed(watched: Watched, rate: Fraction | None, conformed: Fraction | None) -> float | None:
    """Frames a second found over those claimed; 1 where the difference is less than a picture.

    `conformed` is the rate of a file that has each frame once: its frames come at that.
    """
    if rate is None or len(watched.runs) < 2:
        return None
    if conformed is not None:
        return float(conformed / rate)
    first, last = watched.runs[0], watched.runs[-1]
    passed_s = last.first_s - first.first_s
    if passed_s <= 0 or last.number <= first.number:
        return None
    speed = float((last.number - first.number) / passed_s / rate)
    within = max(LEAST_SPEED, 1.5 * watched.interval_s / float(passed_s))
    return 1.0 if abs(speed - 1) <= within else speed

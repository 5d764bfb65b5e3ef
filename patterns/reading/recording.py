"""A recording of a screen: from what its strips said to a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

import numpy as np

from patterns.reading.changes import Passage, passages
from patterns.reading.expected import Expected, TimingError, expected, timing_error
from patterns.reading.explain import Facts, arithmetic_pattern, explanations
from patterns.reading.found_refresh import FoundRefresh, find_refresh, stretches_of
from patterns.reading.hold_pattern import explained, hold_pattern
from patterns.reading.holds import Held, HeldFrame, hold_frames, number_steps
from patterns.reading.in_betweens import in_betweens
from patterns.reading.picture_times import on_even_times, picture_interval
from patterns.reading.reading import Blend, Reading
from patterns.reading.recording_words import recording_verdict, recording_warnings, too_slow
from patterns.reading.sightings import Watched
from patterns.timing.cadence import Display, cadence

__all__ = ["judge_recording", "played_speed"]

FALLBACK_RATE = Fraction(30)  # where no picture told the rate; used for bounds only
DRIFT_FRAMES = 3  # by which a clip must run ahead or behind to have another speed
FEWEST = 6  # frames from which on a pattern is looked for
SLOWEST_DISPLAY_HZ = 48  # no display in use refreshes slower
COUNTED = 0.6  # of the holds must be counted to tell a pattern
BY_THE_BOOK = 0.8  # of the counted holds, for the pattern of the arithmetic
LONGEST, OFTEN = 8, 0.75  # frames of another pattern, and the share of holds that it tells


def played_speed(found: Sequence[Passage], rate: Fraction) -> float | None:
    """Frames a second over frames a second claimed, from the longest passage; None if short."""
    best = max(found, key=lambda p: len(p.changes), default=None)
    points = [] if best is None else [(c.number, c.time_s) for c in best.changes if c.time_s]
    if len(points) < 8:
        return None
    numbers, times = np.array(points, np.float64).T
    if np.ptp(times) == 0 or np.ptp(numbers) == 0:
        return None
    speed = float(np.polyfit(times - times[0], numbers, 1)[0] / float(rate))
    ahead = len(numbers) // 2
    steps = (numbers[ahead:] - numbers[:-ahead]) / (times[ahead:] - times[:-ahead])
    # a stall or two, a late start or frames cut out are no other speed
    frames_apart = abs(speed - 1) * float(np.ptp(times)) * float(rate)
    usual = abs(float(np.median(steps)) / float(rate) - 1) * float(np.ptp(times)) * float(rate)
    return speed if min(frames_apart, usual) > DRIFT_FRAMES else 1.0


def _too_long(frames: Sequence[HeldFrame], rate: Fraction, refresh: Fraction | None) -> list[int]:
    """Frames held longer than the cadence ever holds one."""
    if refresh is not None:
        most = ceil(refresh / rate)
        return [f.number for f in frames if f.refreshes is not None and f.refreshes > most]
    longest_s = 1 / float(rate) + 1 / SLOWEST_DISPLAY_HZ
    return [f.number for f in frames if f.hold_s - f.within_s > longest_s]


def _refreshes(held: Held, lossy: bool) -> list[int | None]:
    """Refreshes of the frames in order; 0 for lost ones where the display must lose some."""
    holds: dict[int, int | None] = {frame.number: frame.refreshes for frame in held.frames}
    if not lossy or held.out_of_order:
        return [frame.refreshes for frame in held.frames]
    holds |= dict.fromkeys(held.dropped, 0)
    first, last = min(holds), max(holds)
    return [holds.get(number) for number in range(first, last + 1)]


def _beyond(held: Held, rate: Fraction, refresh: Fraction | None) -> int:
    """Drops that the cadence does not make: on a slower display, refreshes without a new frame."""
    if refresh is None or refresh >= rate:
        return len(held.dropped)
    return sum(frame.refreshes - 1 for frame in held.frames if frame.refreshes)


def _expected(
    rate: Fraction, found: FoundRefresh, display: Display | None, frames: Sequence[HeldFrame]
) -> Expected | None:
    if display is not None:
        thought = cadence(rate, display)
        if found.refresh_hz == thought.refresh_hz:
            return expected(thought, frames)
        made = expected(thought, ())
        error = TimingError(
            1000 * thought.timing_error_rms_s, float(1000 * thought.timing_error_span_s), 0
        )
        return Expected(made.cadence, made.pattern, error)
    if found.refresh_hz is None:
        return None
    return expected(cadence(rate, Display.fixed(found.refresh_hz)), frames)


def _pattern(
    steps: list[int | None], rate: Fraction | None, refresh: Fraction
) -> tuple[int, ...] | None:
    """Pattern that the holds repeat: the arithmetic's if they go by it, else a short one."""
    counted = sum(step is not None for step in steps)
    if counted < max(FEWEST, COUNTED * len(steps)):
        return None
    thought = None if rate is None else arithmetic_pattern(cadence(rate, Display.fixed(refresh)))
    if thought is not None and explained(steps, thought) >= BY_THE_BOOK * counted:
        return thought
    pattern = hold_pattern(steps)
    if pattern is None or len(pattern) > LONGEST or explained(steps, pattern) < OFTEN * counted:
        return None
    return pattern


def _even(held: Held, found: FoundRefresh) -> bool | None:
    """Whether all frames were held equally long; None if that was not seen."""
    if len(held.frames) < FEWEST:
        return None
    if found.refresh_hz is not None:
        holds = {frame.refreshes for frame in held.frames}
        if len(holds - {None}) > 1:
            return False
        return True if holds != {None} and None not in holds and not held.unseen else None
    if found.uneven or (held.dropped and len(number_steps(held.frames)) > 1):
        return False
    return True if found.surely_even and not held.unseen else None


def _error(held: Held, rate: Fraction, found: FoundRefresh) -> tuple[TimingError | None, float]:
    """Timing error, and what it is right to, milliseconds."""
    counted = [frame for frame in held.frames if frame.step is not None]
    if found.refresh_hz is not None and len(counted) > COUNTED * len(held.frames):
        return timing_error(held.frames, rate, found.refresh_hz), 0.0
    error = timing_error(held.frames, rate)
    halves = [frame.within_s / 2 for frame in held.frames]
    return error, 1000 * float(np.sqrt(np.mean(np.square(halves)))) if halves else 0.0


def judge_recording(
    watched: Watched,
    *,
    file: str,
    display: Display | None = None,
    warnings: Sequence[str] = (),
) -> Reading:
    """Reading of a recording.

    Parameters
    ----------
    watched
        What the strips said, with times in true seconds.
    file
        Name to show.
    display
        The display that was filmed, if it is known.
    warnings
        What the reader of the file has to say.
    """
    rate = None if watched.identity is None else watched.identity.rate
    bound = rate or FALLBACK_RATE
    watched = on_even_times(watched)
    interval_s = picture_interval(watched) or 1.0
    stretches = [p for p in passages(watched.runs, bound) if len(p.changes) > 1]
    speed = None if rate is None else played_speed(stretches, rate)
    between = in_betweens(watched)
    rate_hz = None if rate is None else float(rate) * (speed or 1.0)
    found = FoundRefresh()
    if between is None:
        found = find_refresh(stretches_of(stretches, interval_s), rate_hz, display)
    usual_s = _usual(found, bound)
    held = hold_frames(
        stretches,
        found.grid,
        gaps_on=found.finest,
        shortest_s=_shortest(found, display, interval_s, usual_s),
        usual_s=usual_s,
        interval_s=interval_s,
    )
    refresh = found.refresh_hz
    pattern = None
    if refresh is not None:
        pattern = _pattern(_refreshes(held, refresh < bound), rate, refresh)
    error, error_within_ms = (None, 0.0)
    if rate is not None and between is None:
        error, error_within_ms = _error(held, rate, found)
    reading = Reading(
        kind="recording",
        file=file,
        verdict="",
        rate=rate,
        clip=None if watched.identity is None else watched.identity.clip,
        refresh_hz=refresh,
        refresh_from=found.source,
        refresh_candidates=found.candidates,
        pictures=watched.pictures,
        read=watched.read,
        unread=watched.unread,
        seconds=float(watched.last_s - watched.first_s),
        capture_hz=1 / interval_s if watched.interval_s else None,
        frames_seen=len({run.number for run in watched.runs}),
        holds=held.frames,
        dropped=held.dropped,
        repeated=tuple(_too_long(held.frames, bound, refresh)) if between is None else (),
        out_of_order=held.out_of_order,
        unseen=held.unseen,
        drops_beyond=_beyond(held, bound, refresh),
        blended=_blends(watched) if between == "seen" else (),
        pattern=pattern,
        even=_even(held, found) if between is None else None,
        error=error,
        expected=None if rate is None else _expected(rate, found, display, held.frames),
        speed=speed,
        details={
            "passages": len(stretches),
            "refresh_fit_hz": found.grid and round(found.grid.hz, 4),
            "holds_within_ms": round(1000 * max((f.within_s for f in held.frames), default=0), 3),
            "even_within_ms": found.even and round(1000 * found.even.within_s, 3),
            "error_within_ms": round(error_within_ms, 3),
            "pictures_between_frames": between,
        },
    )
    return _worded(reading, found, display, warnings, watched)


def _blends(watched: Watched) -> tuple[Blend, ...]:
    return tuple(
        Blend(m.number, m.share, float(m.first_s)) for m in watched.mixtures if m.pictures > 1
    )


def _shortest(
    found: FoundRefresh, display: Display | None, interval_s: float, usual_s: float
) -> float:
    """Shortest time for which a frame can be on screen, seconds.

    Where the refresh is not known it may be any of the candidates that the camera can follow:
    a late frame may be held for a single one of them though all others are held longer.
    """
    if found.refresh_hz is not None:
        return usual_s
    if display is not None and display.is_variable:
        return min(usual_s, 1 / float(display.highest_hz))
    return min(usual_s, 1 / found.finest.hz if found.finest else 2 * interval_s)


def _usual(found: FoundRefresh, rate: Fraction) -> float:
    """Shortest time for which frames are held, as far as is known, seconds."""
    if found.refresh_hz is not None:
        return 1 / float(found.refresh_hz)
    if found.even is not None:
        return 1 / found.even.rate_hz
    return 0.5 / float(rate)


def _uncounted(frames: Sequence[HeldFrame]) -> tuple[HeldFrame, ...]:
    return tuple(replace(frame, refreshes=None, step=None) for frame in frames)


def _worded(
    reading: Reading,
    found: FoundRefresh,
    display: Display | None,
    warnings: Sequence[str],
    watched: Watched,
) -> Reading:
    reasons: tuple[str, ...] = ()
    refused = bool(reading.read) and too_slow(reading, found) is not None
    if refused:
        # what was counted would be taken for measured
        reading = replace(
            reading, refresh_hz=None, refresh_from="", refresh_candidates=(), pattern=None,
            even=None, error=None, repeated=(), holds=_uncounted(reading.holds),
        )  # fmt: skip
    elif reading.rate is not None and len(reading.holds) >= 3:
        usual = number_steps(reading.holds).most_common(1)[0][0]
        reasons = explanations(
            Facts(
                reading.rate,
                display,
                found.refresh_hz,
                found.candidates,
                reading.pattern,
                None if found.even is None else found.even.rate_hz / usual,
                reading.dropped,
                reading.drops_beyond,
                reading.frames_seen,
                len(reading.blended),
                reading.speed,
            )
        )
    said = (*warnings, *recording_warnings(reading, found, watched))
    verdict = recording_verdict(reading, found, display)
    return replace(reading, explanation=reasons, warnings=said, verdict=verdict)

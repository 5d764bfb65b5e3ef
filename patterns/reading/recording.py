"""A recording of a screen: from what its strips said to a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Literal

import numpy as np

from patterns.reading.clocks import Stretches
from patterns.reading.hold_cadence import (
    HeldFrame,
    TimingError,
    arithmetic_pattern,
    drops_beyond,
    expected,
    explained,
    hold_pattern,
    holds_in_order,
    number_steps,
    timing_error,
    too_long,
)
from patterns.reading.holds import Held, Passage, hold_frames, passages, stretches_of
from patterns.reading.reading import Blend, Reading
from patterns.reading.recording_words import recording_verdict, recording_warnings, too_slow
from patterns.reading.refresh_search import FoundRefresh, find_refresh
from patterns.reading.sightings import Watched
from patterns.reading.true_times import on_even_times
from patterns.reading.words import explanations
from patterns.strip.camera_decode import CODE_FAILED, HOLD_CONTRADICTS, IN_TRANSITION
from patterns.timing.cadence import Display, cadence

FALLBACK_RATE = Fraction(30)  # where no picture names the rate; used for bounds only
DRIFT_FRAMES = 3  # by which a clip must run ahead or behind to have another speed
QUARTERS, STEADILY = 4, 0.4  # in each of so many parts it must do so much of it
LEAST_S = 2.5  # before that, stalls one after the other look like another speed
FEWEST = 6  # frames from which on a pattern is looked for
FEWEST_EXPLAINED = 3  # frames from which on it is said what can be behind a difference
COUNTED = 0.6  # of the holds must be counted to name a pattern
BY_THE_BOOK = 0.8  # of the counted holds, for the pattern of the arithmetic
FEWEST_STAIRS, STAIRS = 4, 0.08  # of them, and of them for each change of frame
PICTURES_A_FRAME = 4  # with fewer, transitions take most pictures of any screen
UNREAD = 0.3  # of the pictures unread in transition
NOT_SINGLE = 0.7  # of the pictures mixed or unread in transition
LONGEST, OFTEN = 8, 0.75  # frames of another pattern, and the share of holds that it explains


def judge_recording(
    watched: Watched, *, file: str, display: Display | None = None, warnings: Sequence[str] = ()
) -> Reading:
    """Reading of a recording.

    `watched`: what the strips said, with times in true seconds.
    `file`, `warnings`: name to show, and what the reader of the file has to say.
    `display`: the display that was filmed, if it is known.
    """
    reading = Reading.of_strip("recording", file, watched)
    rate, bound = reading.rate, reading.rate or FALLBACK_RATE
    watched, interval_s = on_even_times(watched)
    interval_s = interval_s or 1.0
    stretches = [p for p in passages(watched.runs, bound) if len(p) > 1]
    speed = None if rate is None else played_speed(stretches, rate)
    between = in_betweens(watched)
    found = FoundRefresh()
    if between is None:
        found = _found(stretches_of(stretches, interval_s), rate, speed, display)
    held = _held(stretches, found, display, bound, interval_s)
    reading = reading._replace(
        capture_hz=1 / interval_s if watched.interval_s else None,
        holds=held.frames,
        dropped=held.dropped,
        out_of_order=held.out_of_order,
        unseen=held.unseen,
        drops_beyond=drops_beyond(held.frames, len(held.dropped), bound, found.refresh_hz),
        blended=tuple(
            Blend(m.number, m.share, float(m.first_s))
            for m in watched.mixtures
            if between == "seen" and m.pictures > 1
        ),
        speed=speed,
        details={
            "passages": len(stretches),
            "refresh_fit_hz": found.grid and round(found.grid.hz, 4),
            "holds_within_ms": round(1000 * max((f.within_s for f in held.frames), default=0), 3),
            "even_within_ms": found.even and round(1000 * found.even.within_s, 3),
            "error_within_ms": 0.0,
            "pictures_between_frames": between,
        },
    )
    slow = too_slow(reading, found) if reading.read else None
    if slow is not None:
        # what was counted would be taken for measured
        frames = tuple(frame._replace(refreshes=None, step=None) for frame in held.frames)
        reading = reading._replace(holds=frames)
    elif between is None:
        reading = _with_cadence(reading, found)
    if rate is not None:
        reading = _with_expected(reading, rate, found, display)
    return reading.worded(
        slow or recording_verdict(reading, found, display),
        () if slow else _reasons(reading, found, None if between else display),
        (*warnings, *recording_warnings(reading, found, watched)),
    )


def in_betweens(watched: Watched) -> Literal["seen", "clipped", "likely"] | None:
    """Whether a screen makes pictures of its own between frames: motion smoothing.

    In such a picture cells are mixed in one proportion for a whole refresh and then go on by a
    step, or are no frame's at all; a panel that answers slowly does not step.
    """
    changes = max(1, len(watched.runs) - 1)
    enough = max(FEWEST_STAIRS, STAIRS * changes)
    if watched.stairs + watched.clipped_stairs >= enough:
        return "seen" if watched.stairs >= enough else "clipped"
    reasons = (IN_TRANSITION, CODE_FAILED, HOLD_CONTRADICTS)
    passing = sum(count for reason, count in watched.unread if reason in reasons)
    judged = watched.read + passing
    if judged < PICTURES_A_FRAME * changes:
        return None
    much = passing > UNREAD * judged or passing + watched.blended > NOT_SINGLE * judged
    return "likely" if much else None


def _found(
    seen: Stretches, rate: Fraction | None, speed: float | None, display: Display | None
) -> FoundRefresh:
    """Refresh; of 59.94 and 60, where both are open, the one that need not lose a frame of 60."""
    rate_hz = None if rate is None else float(rate) * (speed or 1.0)
    found = find_refresh(seen, rate_hz, display)
    able = [hz for hz in found.candidates if rate is not None and hz >= rate]
    if found.source != "holds" or found.refresh_hz in able or not able:
        return found
    return replace(found, refresh_hz=able[0])


def played_speed(found: Sequence[Passage], rate: Fraction) -> float | None:
    """Frames a second over frames a second claimed, from the longest passage.

    None if it is short, or runs ahead or behind by leaps, which are no speed.
    """
    best = max(found, key=len, default=None)
    points = [] if best is None else [(c.number, c.time_s) for c in best if c.time_s]
    if len(points) < 8:
        return None
    numbers, times = np.array(points, np.float64).T
    if np.ptp(times) == 0 or np.ptp(numbers) == 0:
        return None
    speed = float(np.polyfit(times - times[0], numbers, 1)[0] / float(rate))
    ahead = len(numbers) // 2
    steps = (numbers[ahead:] - numbers[:-ahead]) / (times[ahead:] - times[:-ahead])
    # a stall or two, a late start or frames cut out are no other speed
    slopes = np.array([speed, float(np.median(steps)) / float(rate)])
    frames_apart = np.abs(slopes - 1) * float(np.ptp(times)) * float(rate)
    if frames_apart.min() <= DRIFT_FRAMES:
        return 1.0
    ends = np.linspace(0, len(numbers) - 1, QUARTERS + 1).astype(int)
    own = np.diff(numbers[ends]) / np.diff(times[ends]) / float(rate)
    steadily = ((own - 1) / (speed - 1) >= STEADILY).all() and np.ptp(times) >= LEAST_S
    return speed if steadily else None


def _held(
    stretches: Sequence[Passage],
    found: FoundRefresh,
    display: Display | None,
    rate: Fraction,
    interval_s: float,
) -> Held:
    """Holds, with the shortest time for which a frame can be on screen, and usually is.

    Where the refresh is not known it may be any of the candidates that the camera can follow:
    a late frame may be held for a single one of them though all others are held longer.
    """
    if found.refresh_hz is not None:
        usual_s = shortest_s = 1 / float(found.refresh_hz)
    else:
        usual_s = 0.5 / float(rate) if found.even is None else 1 / found.even.rate_hz
        shortest_s = min(usual_s, 1 / found.finest.hz if found.finest else 2 * interval_s)
        if display is not None and display.is_variable:
            shortest_s = min(usual_s, 1 / float(display.highest_hz))
    return hold_frames(stretches, found.grid, found.finest, shortest_s, usual_s, interval_s)


def _with_cadence(reading: Reading, found: FoundRefresh) -> Reading:
    """The same with refresh, pattern, evenness, timing error and frames held too long."""
    rate, refresh = reading.rate, found.refresh_hz
    error, within_ms = (None, 0.0) if rate is None else _error(reading.holds, rate, found)
    return reading._replace(
        refresh_hz=refresh,
        refresh_from=found.source,
        refresh_candidates=found.candidates,
        repeated=too_long(reading.holds, rate or FALLBACK_RATE, refresh),
        pattern=None if refresh is None else _pattern(reading, refresh),
        even=_even(reading, found),
        error=error,
        details={**reading.details, "error_within_ms": round(within_ms, 3)},
    )


def _pattern(reading: Reading, refresh: Fraction) -> tuple[int, ...] | None:
    """Pattern that the holds repeat: the arithmetic's if they go by it, else a short one."""
    rate = reading.rate
    lossy = refresh < (rate or FALLBACK_RATE) and not reading.out_of_order
    steps = holds_in_order(reading.holds, frozenset(reading.dropped) if lossy else None)
    counted = sum(step is not None for step in steps)
    if counted < max(FEWEST, COUNTED * len(steps)):
        return None
    due = None if rate is None else arithmetic_pattern(cadence(rate, Display.fixed(refresh)))
    if due is not None and explained(steps, due) >= BY_THE_BOOK * counted:
        return due
    pattern = hold_pattern(steps, None if rate is None else refresh / rate)
    if pattern is None or len(pattern) > LONGEST or explained(steps, pattern) < OFTEN * counted:
        return None
    return pattern


def _even(reading: Reading, found: FoundRefresh) -> bool | None:
    """Whether all frames were held equally long, in order; None if that was not seen."""
    if len(reading.holds) < FEWEST:
        return None
    if reading.out_of_order:
        return False
    if found.refresh_hz is not None:
        holds = {frame.refreshes for frame in reading.holds}
        if len(holds - {None}) > 1:
            return False
        return True if None not in holds and not reading.unseen else None
    if found.uneven or (reading.dropped and len(number_steps(reading.holds)) > 1):
        return False
    return True if found.surely_even and not reading.unseen else None


def _error(
    holds: Sequence[HeldFrame], rate: Fraction, found: FoundRefresh
) -> tuple[TimingError | None, float]:
    """Timing error, and what it is right to, milliseconds."""
    counted = [frame for frame in holds if frame.step is not None]
    if found.refresh_hz is not None and len(counted) > COUNTED * len(holds):
        return timing_error(holds, rate, found.refresh_hz), 0.0
    halves = [frame.within_s / 2 for frame in holds]
    within_s = float(np.sqrt(np.mean(np.square(halves)))) if halves else 0.0
    return timing_error(holds, rate), 1000 * within_s


def _with_expected(
    reading: Reading, rate: Fraction, found: FoundRefresh, display: Display | None
) -> Reading:
    """The same with what the arithmetic expects, of the very frames if they are counted."""
    if display is None and found.refresh_hz is None:
        return reading
    due = cadence(rate, display or Display.fixed(found.refresh_hz or rate))
    counted = found.refresh_hz == due.refresh_hz
    return reading._replace(expected=expected(due, reading.holds if counted else None))


def _reasons(reading: Reading, found: FoundRefresh, display: Display | None) -> tuple[str, ...]:
    if reading.rate is None or len(reading.holds) < FEWEST_EXPLAINED:
        return ()
    usual = number_steps(reading.holds).most_common(1)[0][0]
    shown_hz = None if found.even is None else found.even.rate_hz / usual
    return explanations(reading, display, shown_hz)

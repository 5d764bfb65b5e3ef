"""A recording of a screen: from what its strips said to a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

import numpy as np

from patterns.measure.changes import Passage, passages
from patterns.measure.expected import Expected, TimingError, expected, timing_error
from patterns.measure.explain import Facts, explanations
from patterns.measure.found_refresh import FoundRefresh, find_refresh
from patterns.measure.hold_pattern import hold_pattern
from patterns.measure.holds import Held, HeldFrame, Stepping, hold_frames
from patterns.measure.reading import Blend, Reading
from patterns.measure.recording_words import recording_verdict, recording_warnings, too_slow
from patterns.measure.sightings import Mixture, Watched
from patterns.timing.cadence import Display, cadence

__all__ = ["judge_recording", "played_speed"]

FALLBACK_RATE = Fraction(30)  # where no picture told the rate; used for bounds only
STEADY_SHARE = 0.2  # a mixture whose share varies by less is a picture of its own
BLEND_HOLD = 0.3  # of a frame's time, for which a mixture stands, where the refresh is not known
DRIFT_FRAMES = 3  # by which a clip must run ahead or behind to have another speed
FEWEST = 6  # frames from which on a pattern is looked for
LONG_HOLD = 1.5  # of a frame's time, where the refresh is not known


def played_speed(watched: Watched, rate: Fraction) -> float | None:
    """Frames a second over frames a second claimed, from the longest passage; None if short."""
    found = passages(watched.runs, rate)
    best = max(found, key=lambda p: len(p.changes), default=None)
    points = [] if best is None else [(c.number, c.time_s) for c in best.changes if c.time_s]
    if len(points) < 8:
        return None
    numbers, times = np.array(points, np.float64).T
    if np.ptp(times) == 0 or np.ptp(numbers) == 0:
        return None
    speed = float(np.polyfit(times - times[0], numbers, 1)[0] / float(rate))
    # a stall or two and a late start are no other speed
    frames_apart = abs(speed - 1) * float(np.ptp(times)) * float(rate)
    return speed if frames_apart > DRIFT_FRAMES else 1.0


def _blends(mixtures: Sequence[Mixture], shortest_s: float, interval_s: float) -> list[Blend]:
    """Mixtures that stand still for longer than a transition: pictures of their own."""
    long_s = max(1.2 * shortest_s, 2.5 * interval_s) - interval_s
    return [
        Blend(m.number, m.share, float(m.first_s))
        for m in mixtures
        if m.pictures >= 3
        and float(m.last_s - m.first_s) >= long_s
        and m.highest - m.lowest <= STEADY_SHARE
        and 0.2 <= m.share <= 0.8
    ]


def _too_long(frames: Sequence[HeldFrame], rate: Fraction, refresh: Fraction | None) -> list[int]:
    """Frames held longer than the cadence ever holds one."""
    if refresh is not None:
        most = ceil(refresh / rate)
        return [f.number for f in frames if f.refreshes is not None and f.refreshes > most]
    return [f.number for f in frames if f.hold_s * float(rate) > LONG_HOLD]


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


@dataclass(frozen=True)
class _Grid:
    """Holds counted in the coarsest grid, which tells evenness even where the refresh is open."""

    steps: list[int | None]
    even: bool | None


def _coarse(found: FoundRefresh, held: Held) -> _Grid:
    if found.grid is None:
        return _Grid([None for _ in held.frames], None)
    grid = Stepping(found.grid.hz, found.grid.phase_s)
    steps: list[int | None] = [
        grid.step((f.start_s or 0.0) + f.hold_s) - grid.step(f.start_s or 0.0) for f in held.frames
    ]
    return _Grid(steps, len(set(steps)) == 1 if steps else None)


def _error(held: Held, rate: Fraction, found: FoundRefresh, coarse: _Grid) -> TimingError | None:
    if found.refresh_hz is not None:
        return timing_error(held.frames, rate, found.refresh_hz)
    if found.grid is None:
        return timing_error(held.frames, rate)
    if not coarse.even and found.candidates:
        return timing_error(held.frames, rate)  # nearly even: the grid is not the display's
    # evenly held: on the grid, so that the camera's own jitter drops out
    snapped = [
        HeldFrame(
            f.number,
            round(((f.start_s or 0.0) - found.grid.phase_s) * found.grid.hz) / found.grid.hz,
            f.hold_s,
            passage=f.passage,
        )
        for f in held.frames
    ]
    return timing_error(snapped, rate) if coarse.steps else None


def _all_changes(found: Sequence[Passage]) -> list[Passage]:
    return [passage for passage in found if len(passage.changes) > 1]


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
    interval_s = watched.interval_s or 1.0
    stretches = _all_changes(passages(watched.runs, bound))
    changes = [change for passage in stretches for change in passage.changes]
    found = find_refresh(changes, rate, display, interval_s)
    usual_s = _usual(found, bound)
    held = hold_frames(
        stretches,
        found.stepping,
        gaps_on=found.finest(interval_s),
        shortest_s=_shortest(found, display, interval_s, usual_s),
        usual_s=usual_s,
        interval_s=interval_s,
    )
    coarse = _coarse(found, held)
    refresh = found.refresh_hz
    steps = coarse.steps if refresh is None else _refreshes(held, refresh < bound)
    enough = found.grid is not None and len(held.frames) >= FEWEST
    pattern = hold_pattern(steps) if enough else None
    blend_s = BLEND_HOLD / float(bound) if refresh is None else usual_s
    blends = _blends(watched.mixtures, blend_s, interval_s)
    speed = None if rate is None else played_speed(watched, rate)
    seen = len({run.number for run in watched.runs})
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
        frames_seen=seen,
        holds=held.frames,
        dropped=held.dropped,
        repeated=tuple(_too_long(held.frames, bound, refresh)),
        out_of_order=held.out_of_order,
        unseen=held.unseen,
        drops_beyond=_beyond(held, bound, refresh),
        blended=tuple(blends),
        pattern=pattern if refresh is not None else None,
        even=coarse.even,
        error=None if rate is None else _error(held, rate, found, coarse),
        expected=None if rate is None else _expected(rate, found, display, held.frames),
        speed=speed,
        details={
            "passages": len(stretches),
            "refresh_fit_hz": found.grid and round(found.grid.hz, 4),
        },
    )
    return _worded(reading, found, display, warnings, pattern, watched)


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
    fastest = found.fastest_followed(interval_s)
    return min(usual_s, 1 / fastest if fastest else 2 * interval_s)


def _usual(found: FoundRefresh, rate: Fraction) -> float:
    """Shortest time for which frames are held, as far as is known, seconds."""
    if found.refresh_hz is not None:
        return 1 / float(found.refresh_hz)
    if found.grid is not None:
        return 1 / found.grid.hz
    return 0.5 / float(rate)


def _uncounted(frames: Sequence[HeldFrame]) -> tuple[HeldFrame, ...]:
    return tuple(replace(frame, refreshes=None, step=None) for frame in frames)


def _worded(
    reading: Reading,
    found: FoundRefresh,
    display: Display | None,
    warnings: Sequence[str],
    pattern: tuple[int, ...] | None,
    watched: Watched,
) -> Reading:
    explained: tuple[str, ...] = ()
    refused = bool(reading.read) and too_slow(reading, found) is not None
    if refused:
        # what was counted would be taken for measured
        reading = replace(
            reading, refresh_hz=None, refresh_from="", refresh_candidates=(), pattern=None,
            even=None, error=None, repeated=(), holds=_uncounted(reading.holds),
        )  # fmt: skip
    elif reading.rate is not None and len(reading.holds) >= 3:
        explained = explanations(
            Facts(
                reading.rate,
                display,
                found.refresh_hz,
                found.candidates,
                reading.pattern,
                found.grid.hz / pattern[0]
                if found.grid and pattern and len(pattern) == 1
                else None,
                reading.dropped,
                reading.drops_beyond,
                reading.frames_seen,
                len(reading.blended),
                reading.speed,
            )
        )
    said = (*warnings, *recording_warnings(reading, found, watched))
    verdict = recording_verdict(reading, found, display, pattern)
    return replace(reading, explanation=explained, warnings=said, verdict=verdict)

"""True seconds of a recording that stores slow motion.

Phones store what they took at 240 pictures a second on a timeline of 30 and name the true
rate in a tag, or in none. Where none is, the strip tells: it knows how fast it counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.reading.clip_steps import clip_steps
from patterns.reading.sightings import Watched
from patterns.timing.rates import format_decimal

__all__ = ["TrueTime", "true_time"]

SAME_RATE = Fraction(1, 50)  # a capture rate this near the file's own adds nothing to its times
SLOWER = 1.8  # times too slow, from which on slow motion is thought of
AGREES = 0.1
USUAL_HZ = (100, 120, 200, 240, 400, 480, 500, 960, 1000)  # that cameras take slow motion at
USUAL_WITHIN = 0.03
FASTEST_TIMELINE_HZ = 61


@dataclass(frozen=True)
class TrueTime:
    """True seconds in a second of the file, and what to say of it."""

    scale: Fraction = Fraction(1)
    warnings: tuple[str, ...] = ()


def true_time(
    watched: Watched,
    timeline_hz: Fraction | None,
    given_hz: Fraction | None,
    tag_hz: Fraction | None,
) -> TrueTime:
    """Find the scale of time: as given, from the maker's tag, or from the strip's own rate.

    Parameters
    ----------
    watched
        What the strips said, in the file's seconds.
    timeline_hz
        Pictures a second of the file.
    given_hz, tag_hz
        Pictures a second at which it was taken, by the user and by the file's tag.
    """
    if timeline_hz is None:
        return TrueTime()
    if given_hz is not None:
        near = abs(given_hz / timeline_hz - 1) <= SAME_RATE
        return TrueTime() if near else TrueTime(timeline_hz / given_hz)
    slower = _times_too_slow(watched)
    tagged = tag_hz is not None and tag_hz > SLOWER * timeline_hz
    if tag_hz is not None and tagged and not (slower and abs(slower - 1) < AGREES):
        said = f"Times are true: the file's tag says it was taken at {format_decimal(tag_hz)}"
        return TrueTime(
            timeline_hz / tag_hz, (f"{said} pictures a second (--capture-rate overrides it).",)
        )
    return TrueTime() if slower is None or slower < SLOWER else _inferred(slower, timeline_hz)


def _inferred(slower: float, timeline_hz: Fraction) -> TrueTime:
    taken_hz = slower * float(timeline_hz)
    usual = min(USUAL_HZ, key=lambda hz: abs(hz / taken_hz - 1))
    counts = f"The strip counts {slower:.1f} times too slowly"
    if timeline_hz <= FASTEST_TIMELINE_HZ and abs(usual / taken_hz - 1) <= USUAL_WITHIN:
        return TrueTime(
            timeline_hz / usual,
            (
                f"{counts}: taken for slow motion at {usual} pictures a second, and times are "
                "given so. If that is not so, give --capture-rate.",
            ),
        )
    return TrueTime(
        warnings=(
            f"{counts}: either the screen played it so, or the file stores slow motion and all "
            "times are as much too long. Give --capture-rate.",
        )
    )


def _times_too_slow(watched: Watched) -> float | None:
    if watched.identity is None or len(watched.runs) < 8:
        return None
    found = clip_steps(watched.runs, watched.identity.rate, None, watched.interval_s)
    return 1 / found.speed if found.speed else None

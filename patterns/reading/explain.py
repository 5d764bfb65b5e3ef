"""Why a screen did something else than the cadence arithmetic expects, in plain words.

What can be behind it: a display that runs at another refresh than one thought, a mode
that saves power by halving the rate, a player that drops frames, one that plays at
another speed, converts the rate or mixes frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from patterns.reading.hold_pattern import hold_pattern, pattern_text
from patterns.timing.cadence import Cadence, Display, cadence, frame_starts
from patterns.timing.notation import first_turn
from patterns.timing.rates import format_decimal

__all__ = ["Facts", "arithmetic_pattern", "converted_by", "explanations"]

CONVERTED_TO = tuple(
    Fraction(hz) for hz in (24, 25, 30, 48, 50, 60, Fraction(30000, 1001), Fraction(60000, 1001))
)
LONGEST_PATTERN = 30
SPEED_TOLERANCE = 0.006
LOOKED_AT = 240  # frames


@dataclass(frozen=True)
class Facts:
    """What is to be explained.

    Attributes
    ----------
    rate
        Frames a second that the strip claims.
    given
        Display that the user named, or None.
    refresh_hz
        Refresh that decides the holds, or None.
    candidates
        Refreshes that would look the same.
    pattern
        Holds measured, the longest first, in refreshes; None if none repeats.
    shown_hz
        Frame changes a second, where they are even; None otherwise.
    dropped, beyond
        Numbers lost, and how many of them the cadence does not lose.
    frames_seen
        Different frames on screen.
    blends
        Stretches with a mixture of two frames.
    speed
        Rate found over rate claimed.
    """

    rate: Fraction
    given: Display | None
    refresh_hz: Fraction | None
    candidates: tuple[Fraction, ...]
    pattern: tuple[int, ...] | None
    shown_hz: float | None
    dropped: tuple[int, ...]
    beyond: int
    frames_seen: int
    blends: int
    speed: float | None


def arithmetic_pattern(found: Cadence) -> tuple[int, ...] | None:
    """Pattern of a cadence as measured ones are found: slow slips do not count; None if none."""
    if found.period_frames <= LONGEST_PATTERN:
        return first_turn(found.holds)
    return hold_pattern(found.first_holds(LOOKED_AT))


def converted_by(rate: Fraction, refresh_hz: Fraction, pattern: tuple[int, ...]) -> Fraction | None:
    """Rate to which a player converted, by repeats or drops, if that makes this pattern.

    Frame n comes on with converted frame ceil(n T/F), which the display shows at refresh
    ceil(k R/T).
    """
    for timeline in CONVERTED_TO:
        if timeline in (rate, refresh_hz):
            continue
        period = (timeline / rate).denominator * (refresh_hz / timeline).denominator
        if period > LONGEST_PATTERN:
            continue
        into = list(frame_starts(rate, timeline, period + 1))
        onto = list(frame_starts(timeline, refresh_hz, into[-1] + 1))
        starts = [onto[k] for k in into]
        holds = tuple(b - a for a, b in pairwise(starts))
        repeats = len(pattern) * (period // len(pattern)) == period
        if repeats and first_turn(holds) == first_turn(pattern * (period // len(pattern))):
            return timeline
    return None


def _every_other(numbers: tuple[int, ...], frames_seen: int) -> bool:
    """Whether every other frame is lost: as many lost as seen, at even distances of two."""
    if len(numbers) < 6 or not 0.8 <= len(numbers) / max(1, frames_seen) <= 1.25:
        return False
    steps = [b - a for a, b in pairwise(numbers)]
    return steps.count(2) >= 0.8 * len(steps)


def _hz(value: Fraction) -> str:
    return f"{format_decimal(value, 2)} Hz"


def _refresh(facts: Facts) -> Iterator[str]:
    """Tell a display that is not at the refresh one thought."""
    given = None if facts.given is None or facts.given.is_variable else facts.given.highest_hz
    if given is None:
        return
    if facts.refresh_hz is not None and facts.refresh_hz != given:
        found = facts.refresh_hz
        text = f"The holds are those of {_hz(found)}, not of the {_hz(given)} that you named"
        if (given / found).denominator == 1:
            yield (
                f"{text}: the screen has been set down to save power, or the player draws at "
                f"{_hz(found)}. Look at the display settings and at battery saving."
            )
        else:
            yield f"{text}: look at the display settings, or give --display {_short(found)}."
    elif facts.refresh_hz is None and facts.candidates and facts.shown_hz is not None:
        listed = " or ".join(_hz(hz) for hz in facts.candidates)
        yield (
            f"The holds are even, which {_hz(given)} cannot do at {format_decimal(facts.rate)} "
            f"frames a second: the screen runs at {listed}, or adapts its refresh to the clip."
        )
    elif facts.refresh_hz is None and facts.pattern is None and facts.shown_hz is None:
        yield (
            f"The changes do not fall on the refresh of {_hz(given)}: the display runs at another "
            "one, or adapts its refresh."
        )


def _short(value: Fraction) -> str:
    return format_decimal(value, 2)


def _losses(facts: Facts) -> Iterator[str]:
    if _every_other(facts.dropped, facts.frames_seen):
        yield (
            "Every other frame is left out: a power-saving mode, or a player that halves the "
            "rate. Charge the device, switch battery saving off and play again."
        )
    elif facts.beyond:
        share = facts.beyond / max(1, facts.frames_seen + len(facts.dropped))
        hint = (
            "the device cannot keep up: try a smaller picture, another codec or another player"
            if share > 0.02
            else "the player lost them: close other programs and play again"
        )
        yield f"Frames are lost that the cadence does not lose: {hint}."


def _conversion(facts: Facts) -> Iterator[str]:
    """Tell a rate that the player converted."""
    if facts.refresh_hz is None or facts.pattern is None:
        return
    own = arithmetic_pattern(cadence(facts.rate, Display.fixed(facts.refresh_hz)))
    if own == facts.pattern:
        return
    timeline = converted_by(facts.rate, facts.refresh_hz, facts.pattern)
    if timeline is not None:
        yield (
            f"Holds of {pattern_text(facts.pattern)} come about when "
            f"{format_decimal(facts.rate)} is first converted to {format_decimal(timeline)} frames "
            f"a second and then shown at {_hz(facts.refresh_hz)}: the player, or what feeds the "
            "display, converts the rate."
        )


def _speed(facts: Facts) -> Iterator[str]:
    if facts.speed is None or abs(facts.speed - 1) <= SPEED_TOLERANCE:
        return
    played = float(facts.rate) * facts.speed
    faster = "fast" if facts.speed > 1 else "slow"
    yield (
        f"The clip runs at {played:.2f} instead of {format_decimal(facts.rate)} frames a second, "
        f"{abs(facts.speed - 1) * 100:.1f} % too {faster}: the player changes the speed, or the "
        "camera's pictures a second are not what was said."
    )


def explanations(facts: Facts) -> tuple[str, ...]:
    """Sentences that explain what differs; none where nothing does."""
    found = [*_refresh(facts), *_speed(facts), *_losses(facts), *_conversion(facts)]
    if facts.blends:
        found.append(
            "Some pictures mix two neighbouring frames: motion smoothing in the display or a "
            "conversion by mixing in the player. Switch it off to see the clip as it is."
        )
    return tuple(found)

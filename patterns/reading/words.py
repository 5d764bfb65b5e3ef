"""A reading in plain words: how frames were held, what was lost, and what can be behind it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from patterns.reading.hold_cadence import arithmetic_pattern, converted_by
from patterns.reading.reading import Reading
from patterns.timing.cadence import Cadence, Display, cadence
from patterns.timing.notation import counted, joined, pattern_text, plural
from patterns.timing.rates import format_decimal

SPEED_TOLERANCE = 0.006
MANY_LOST = 0.02  # of the frames


def hertz_list(values: Sequence[Fraction]) -> str:
    """'60, 90 or 120 Hz'."""
    return f"{joined([format_decimal(value, 2) for value in values], 'or')} Hz"


def held_words(reading: Reading, refreshes: Sequence[Fraction], must: Cadence | None) -> str:
    """'held 3:2 at 60 Hz, as 24 on 60 must be': holds counted in refreshes of these hertz.

    `must`: what the arithmetic makes of the clip on the display that was given, or was found.
    """
    at, pattern = f"at {hertz_list(refreshes)}", reading.pattern
    if pattern is None:
        counts = sorted({hold.refreshes for hold in reading.holds if hold.refreshes is not None})
        if not counts:
            return f"holds cannot be counted {at}"
        spread = joined(list(dict.fromkeys((str(counts[0]), str(counts[-1])))), "to")
        text = f"held {spread} refreshes {at}, in no repeating pattern"
    elif len(pattern) == 1:
        text = f"held {plural(pattern[0], 'refresh', 'refreshes')} {at}"
    else:
        text = f"held {pattern_text(pattern)} {at}"
    if must is None:
        return text
    names = f"{format_decimal(must.rate)} on {format_decimal(must.refresh_hz, 2)}"
    due = arithmetic_pattern(must)
    if must.refresh_hz == reading.refresh_hz and due is not None and due == pattern:
        return text if reading.out_of_order else f"{text}, as {names} must be"
    wanted = "unevenly" if due is None else pattern_text(due)
    if due is not None and len(due) == 1:
        wanted = f"{due[0]} evenly"
    return f"{text}, where {names} must be held {wanted}"


def loss_words(reading: Reading) -> str:
    """'2 frames dropped in 9.8 s'; what the cadence itself loses is named apart."""
    seconds = f"{reading.seconds:.1f} s"
    must = reading.expected.cadence.dropped_per_second if reading.expected else Fraction(0)
    if must and reading.dropped:
        beyond = f"{reading.drops_beyond} beyond it"
        if reading.unseen or not reading.drops_beyond:
            beyond = f"none beyond that{' seen' if reading.unseen else ''}"
        return f"{format_decimal(must, 1)} frames a second must be lost, {beyond} in {seconds}"
    text = f"{counted(len(reading.dropped), 'frame')} dropped in {seconds}"
    if reading.kind == "recording" and reading.unseen:
        text += f" as far as was seen ({plural(len(reading.unseen), 'frame')} unseen)"
    # that a frame was held on for a dropped one is known by the drop
    lost = set(reading.dropped)
    stalls = [number for number in reading.repeated if number + 1 not in lost]
    if stalls and reading.kind == "recording":
        text += f", {len(stalls)} held too long"
    if reading.out_of_order:
        text += f", {counted(len(reading.out_of_order), 'frame')} out of order"
    return text


def explanations(
    reading: Reading, display: Display | None = None, shown_hz: float | None = None
) -> tuple[str, ...]:
    """Sentences that explain what differs in a reading of a screen or browser whose rate is known.

    `display`: that the user named; `shown_hz`: frame changes a second, where they are even.
    """
    found = [*_refresh(reading, display, shown_hz), *_speed(reading), *_losses(reading)]
    found += _conversion(reading)
    if reading.blended:
        found.append(
            "Some pictures mix two neighbouring frames: motion smoothing in the display or a "
            "conversion by mixing in the player. Switch it off to see the clip as it is."
        )
    return tuple(found)


def _refresh(reading: Reading, display: Display | None, shown_hz: float | None) -> Iterator[str]:
    """Name a display that is not at the refresh one thought."""
    if display is None or display.is_variable:
        return
    given, found = display.highest_hz, reading.refresh_hz
    named, rate = hertz_list([given]), reading.rate or Fraction(0)
    if found is not None and found != given:
        at = hertz_list([found])
        text = f"The holds are those of {at}, not of the {named} that you named"
        if (given / found).denominator == 1:
            yield (
                f"{text}: the screen has been set down to save power, or the player draws at "
                f"{at}. Look at the display settings and at battery saving."
            )
        else:
            shorter = format_decimal(found, 2)
            yield f"{text}: look at the display settings, or give --display {shorter}."
    elif found is None and shown_hz is not None and reading.refresh_candidates:
        yield (
            f"The holds are even, which {named} cannot do at {format_decimal(rate)} frames a "
            f"second: the screen runs at {hertz_list(reading.refresh_candidates)}, or adapts its "
            "refresh to the clip."
        )
    elif found is None and shown_hz is None and reading.pattern is None:
        yield (
            f"The changes do not fall on the refresh of {named}: the display runs at another one, "
            "or adapts its refresh."
        )


def _losses(reading: Reading) -> Iterator[str]:
    lost = reading.dropped
    steps = [b - a for a, b in pairwise(lost)]
    as_many = len(lost) >= 6 and 0.8 <= len(lost) / max(1, reading.frames_seen) <= 1.25
    if as_many and steps.count(2) >= 0.8 * len(steps):
        yield (
            "Every other frame is left out: a power-saving mode, or a player that halves the "
            "rate. Charge the device, switch battery saving off and play again."
        )
    elif reading.drops_beyond:
        frames = max(1, reading.frames_seen + len(lost))
        hint = (
            "the device cannot keep up: try a smaller picture, another codec or another player"
            if reading.drops_beyond > MANY_LOST * frames
            else "the player lost them: close other programs and play again"
        )
        yield f"Frames are lost that the cadence does not lose: {hint}."


def _conversion(reading: Reading) -> Iterator[str]:
    """Name a rate that the player converted to first."""
    rate, refresh, pattern = reading.rate, reading.refresh_hz, reading.pattern
    if rate is None or refresh is None or pattern is None:
        return
    if arithmetic_pattern(cadence(rate, Display.fixed(refresh))) == pattern:
        return
    timeline = converted_by(rate, refresh, pattern)
    if timeline is not None:
        yield (
            f"Holds of {pattern_text(pattern)} come about when {format_decimal(rate)} is first "
            f"converted to {format_decimal(timeline)} frames a second and then shown at "
            f"{hertz_list([refresh])}: the player, or what feeds the display, converts the rate."
        )


def _speed(reading: Reading) -> Iterator[str]:
    rate, speed = reading.rate, reading.speed
    if rate is None or speed is None or abs(speed - 1) <= SPEED_TOLERANCE:
        return
    yield (
        f"{speed_words(rate, speed, digits=2)}: the player changes the speed, or the camera's "
        "pictures a second are not what was said."
    )


def speed_words(rate: Fraction, speed: float, digits: int) -> str:
    """'The clip runs at 25.00 instead of 24 frames a second, 4.2 % too fast'."""
    found, off = f"{float(rate) * speed:.{digits}f}", f"{abs(speed - 1) * 100:.{digits - 1}f}"
    too = "fast" if speed > 1 else "slow"
    claimed = format_decimal(rate)
    return f"The clip runs at {found} instead of {claimed} frames a second, {off} % too {too}"

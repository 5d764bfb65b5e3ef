"""What a cadence looks like, in plain words for someone who works with cameras.

How much is seen is judged by how often the holds change. "Susceptibility ... to motion
artifacts peaks between 4 and 6 beats per second": Poynton, *Digital Video and HDTV*
(2003), "2-3 pulldown". The other bounds are our convention: hitches below two a second
are seen one by one, above 20 a second they fuse into a doubled edge.
"""

from __future__ import annotations

from fractions import Fraction

from patterns.timing.cadence import Cadence
from patterns.timing.notation import pattern_text, plural
from patterns.timing.rates import format_decimal
from patterns.timing.slip import LONGEST_PATTERN, SlowSlip, slow_slip

SINGLE_HITCHES_HZ = 2
POYNTON_PEAK_HZ = (4, 6)
FUSED_HZ = 20


def interval_text(value_s: Fraction) -> str:
    """'8.3 s', '200 s', '17 min', '28 h', '12 days', '3 years', '100 years or more'."""
    if value_s < 600:
        return f"{format_decimal(value_s, 1 if value_s < 100 else 0)} s"
    for unit_s, name in ((60, "min"), (3600, "h"), (86_400, "days")):
        if value_s < 100 * unit_s:
            return f"{float(value_s / unit_s):.0f} {name}"
    years = float(value_s / 31_557_600)
    return f"{years:.0f} years" if years < 100 else "100 years or more"


def _per_second(value_hz: Fraction) -> str:
    if value_hz < 1:
        return f"once in {interval_text(1 / value_hz)}"
    number = format_decimal(value_hz, 1)
    return {"1": "once", "2": "twice"}.get(number, f"{number} times") + " a second"


def _refreshes(count: int) -> str:
    return plural(count, "refresh", "refreshes")


def _effect(odd_hz: Fraction) -> str:
    """Say what odd holds that come `odd_hz` times a second do to a steady move."""
    if odd_hz < SINGLE_HITCHES_HZ:
        return "a steady move hitches each time"
    if odd_hz > FUSED_HZ:
        return "too fast to see as shaking, but moving edges look doubled"
    if POYNTON_PEAK_HZ[0] <= odd_hz <= POYNTON_PEAK_HZ[1]:
        return "steady moves judder at the most visible pace"
    return "steady moves judder"


def _pattern(holds: tuple[int, ...], beat_hz: Fraction) -> str:
    """Describe a short sequence of unequal holds."""
    if len(holds) == 2:
        return f"holds alternate {holds[0]} and {holds[1]} refreshes, {_per_second(beat_hz)}"
    usual = max(set(holds), key=holds.count)
    odd = next(hold for hold in holds if hold != usual)
    if holds.count(odd) == 1:
        return (
            f"most frames last {_refreshes(usual)}, one in {len(holds)} lasts "
            f"{odd}, {_per_second(beat_hz)}"
        )
    return f"holds run {pattern_text(holds)} refreshes, and repeat {_per_second(beat_hz)}"


def _even(cadence: Cadence) -> str:
    hold_ms = format_decimal(1000 / cadence.rate, 1)
    held = f"every frame is held {_refreshes(cadence.usual_hold)} ({hold_ms} ms)"
    if cadence.display.is_variable:
        return f"Even: the display follows at {format_decimal(cadence.refresh_hz)} Hz and {held}."
    return f"Even: {held}."


def _slipping(slip: SlowSlip, rate: Fraction) -> str:
    """Describe a fast pattern that breaks step now and then."""
    pattern, every = slip.pattern, f"every {interval_text(slip.interval_s)}"
    if len(pattern) == 1:
        if pattern[0] == 1 and not slip.longer:
            return f"Even, but one frame is dropped {every}: a small hitch."
        odd = _refreshes(pattern[0] + (1 if slip.longer else -1))
        return f"Even, but {every} one frame is held {odd} instead of {pattern[0]}: a small hitch."
    beat_hz = rate / len(pattern)
    twice = max(pattern) if slip.longer else min(pattern)
    step = f" (two {twice}s in a row)" if len(pattern) == 2 else ""
    minority = min(pattern.count(hold) for hold in set(pattern)) * beat_hz
    return f"Uneven: {_pattern(pattern, beat_hz)}, with a slip {every}{step}: {_effect(minority)}."


def _dropping(cadence: Cadence) -> str:
    """Fewer refreshes than frames."""
    lost, rate = format_decimal(cadence.dropped_per_second, 1), format_decimal(cadence.rate)
    each = 1 / cadence.ratio
    if each.denominator == 1:
        return (
            f"Loses {lost} of {rate} frames a second: only one frame in {each} shows, evenly, "
            f"so it looks like {format_decimal(cadence.refresh_hz)}."
        )
    return (
        f"Loses {lost} of {rate} frames a second: moves jump ahead "
        f"{_per_second(min(cadence.dropped_per_second, cadence.refresh_hz))}."
    )


def verdict(cadence: Cadence) -> str:
    """One sentence that says how the clip is held and what is seen of it."""
    if cadence.even:
        return _even(cadence)
    slip = slow_slip(cadence)
    if slip and 0 not in slip.pattern:
        return _slipping(slip, cadence.rate)
    if cadence.ratio < 1:
        return _dropping(cadence)
    odd_hz = cadence.odd_holds_per_second
    if cadence.period_frames <= LONGEST_PATTERN:
        return f"Uneven: {_pattern(cadence.holds, cadence.beat_hz)}: {_effect(odd_hz)}."
    return (
        f"Uneven: most frames last {_refreshes(cadence.usual_hold)}, others "
        f"{cadence.odd_hold}, {_per_second(odd_hz)}: {_effect(odd_hz)}."
    )


def _short_slip(slip: SlowSlip) -> str:
    return f"{pattern_text(slip.pattern)}, slip {interval_text(slip.interval_s)}"


def short_verdict(cadence: Cadence) -> str:
    """Word it for a table, in about 16 characters.

    'even 2'; '3:2' (holds in turn); '3:2, slip 8.3 s' (the same, breaking step every 8.3 s);
    '2 (3 in 1 of 12)' (held 2 refreshes, but one of 12 frames 3); 'drops 10/s' (frames lost).
    """
    if cadence.even:
        return pattern_text((cadence.usual_hold,))
    slip = slow_slip(cadence)
    if slip and 0 not in slip.pattern and len(slip.pattern) <= 2:
        return _short_slip(slip)
    if cadence.ratio < 1:
        return f"drops {format_decimal(cadence.dropped_per_second, 1)}/s"
    if cadence.period_frames <= LONGEST_PATTERN:
        return pattern_text(cadence.holds)
    odd = format_decimal(cadence.odd_holds_per_second, 1)
    return f"{cadence.usual_hold} ({cadence.odd_hold} {odd}/s)"

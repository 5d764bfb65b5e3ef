"""Panels for a comparison of rates, and for footage conformed to a timeline, with their words."""

from __future__ import annotations

from fractions import Fraction

from patterns.errors import RequestError
from patterns.present.feed import Feed, is_even
from patterns.present.split_clip import Panel
from patterns.timing.conform import Conform
from patterns.timing.rates import format_decimal
from patterns.timing.shutter import exposure_of_angle, format_exposure, shutter_angle

__all__ = ["conform_panels", "rate_panels"]


def _degrees(angle: Fraction) -> str:
    return f"{format_decimal(angle, 1)} deg"


def _shutter_words(rate: Fraction, exposure_s: Fraction, *, by_time: bool) -> str:
    """Exposure and angle, what is kept equal first."""
    time, angle = format_exposure(exposure_s), _degrees(shutter_angle(exposure_s, rate))
    return f"shutter kept {time}: {angle}" if by_time else f"shutter kept {angle}: {time}"


def rate_panels(
    rates: tuple[Fraction, ...],
    refresh_hz: Fraction,
    *,
    angle_deg: Fraction = Fraction(180),
    exposure_s: Fraction | None = None,
) -> tuple[Panel, ...]:
    """One panel a rate.

    Parameters
    ----------
    rates
        Frames a second.
    refresh_hz
        Refreshes a second of the display.
    angle_deg, exposure_s
        Shutter, kept by angle, or by time where an exposure is given.

    Raises
    ------
    RequestError
        The exposure is longer than a frame.
    """
    panels = []
    for rate in rates:
        exposure = exposure_of_angle(angle_deg, rate) if exposure_s is None else exposure_s
        feed = Feed.native(rate)
        even = is_even(feed, refresh_hz)
        panels.append(
            Panel(
                feed=feed,
                exposure_s=exposure,
                title=f"{format_decimal(rate)} fps",
                words=_shutter_words(rate, exposure, by_time=exposure_s is not None),
                mark="even" if even else "uneven",
                good=even,
            )
        )
    return tuple(panels)


def _repeat_words(conform: Conform) -> str:
    times, every = conform.odd_frames
    if not every:
        return f"every frame {times} times"
    count = format_decimal(every, 2)
    if times == 0:
        return f"one frame in {count} left out"
    return f"one frame in {count} shown {'twice' if times == 2 else f'{times} times'}"


def conform_panels(
    footage: Fraction,
    timeline: Fraction,
    refresh_hz: Fraction,
    *,
    angle_deg: Fraction = Fraction(180),
) -> tuple[Panel, ...]:
    """Footage on a timeline of another rate, in three ways, and footage shot at that rate.

    Raises
    ------
    RequestError
        The two rates are the same.
    """
    if footage == timeline:
        raise RequestError(
            f"footage and timeline are both {format_decimal(footage)}: nothing is conformed; "
            "try --footage 24 --timeline 30"
        )
    conform = Conform(footage, timeline)
    shot, line = format_decimal(footage), format_decimal(timeline)
    exposure = exposure_of_angle(angle_deg, footage)
    percent = f"{format_decimal(100 * conform.speed, 1)} %"
    repeated = Feed(footage, timeline, "repeated")
    sped = Feed(footage, timeline, "sped")
    native = Feed.native(timeline)

    def panel(feed: Feed, title: str, words: str, mark: str = "", good: bool | None = None,
              exposure_s: Fraction = exposure) -> Panel:  # fmt: skip
        even = is_even(feed, refresh_hz)
        return Panel(
            feed, exposure_s, title, words,
            mark or ("even" if even else "uneven"),
            even if good is None else good,
        )  # fmt: skip

    how = "repeated" if conform.speed > 1 else "dropped"
    changed = "sped up" if conform.speed > 1 else "slowed"
    mixed = format_decimal(100 * conform.mixed_share, 0)
    return (
        panel(repeated, f"{shot} in {line}, {how}", _repeat_words(conform)),
        panel(Feed(footage, timeline, "blended"), f"{shot} in {line}, blended",
              f"{mixed} % of frames are two at once", "ghosts", False),
        panel(sped, f"{shot} in {line}, {changed}", f"every frame once: {percent} speed"),
        panel(native, f"shot at {line}", "as it should be: nothing to conform",
              exposure_s=exposure_of_angle(angle_deg, timeline)),
    )  # fmt: skip

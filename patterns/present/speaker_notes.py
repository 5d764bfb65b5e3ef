"""Speaker's notes: what to say, what to look at and where, made from the numbers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.present import tracked_eye
from patterns.present.animation import PlayedTiming
from patterns.present.split_spec import SplitSpec
from patterns.present.talk_request import TalkRequest
from patterns.timing.cadence import Cadence
from patterns.timing.cadence_text import verdict
from patterns.timing.conform import Conform
from patterns.timing.rates import LIMIT_SECONDS, REFERENCE_RATE, format_decimal


@dataclass(frozen=True)
class Notes:
    """Notes of one thing to show."""

    title: str  # what it is
    say: tuple[str, ...]  # sentences to say, in order
    look: str  # where to look


def _holds_ms(cadence: Cadence) -> str:
    """'50 and 33.3 ms' of the holds that occur."""
    kinds = sorted({cadence.usual_hold, cadence.odd_hold} - {0}, reverse=True)
    times = [format_decimal(1000 * hold / cadence.refresh_hz, 1) for hold in kinds]
    return f"{' and '.join(times)} ms"


def _cadence_words(cadence: Cadence) -> str:
    times = "" if cadence.even else f" Frames stay {_holds_ms(cadence)}."
    return f"{format_decimal(cadence.rate)} fps. {verdict(cadence)}{times}"


def clip_notes(request: TalkRequest, spec: SplitSpec) -> Notes:
    """Notes of a split clip."""
    if spec.slow > 1:
        return Notes(
            f"{request.rates_words} fps slowed {spec.slow} times, to count along",
            (
                "Count aloud with the mark under the blocks: each cell is one refresh of the "
                "screen.",
                *(_count_words(cadence) for cadence in request.cadences),
            ),
            "The row of blocks under each picture, then the picture.",
        )
    speed = spec.fastest_px_s
    say = [f"One scene, {spec.scene.words}; only the frames a second differ."]
    if spec.scene.pattern == request.pattern:
        say += [_cadence_words(cadence) for cadence in request.cadences]
    say += [_shake_words(cadence, speed) for cadence in request.cadences]
    say += _pace_words(spec)
    scene = spec.scene.entry
    hz = format_decimal(request.refresh_hz)
    title = f"{request.rates_words} fps on a {hz} Hz screen: {scene.heading.lower()}"
    return Notes(title, tuple(say), scene.look_at)


def _pace_words(spec: SplitSpec) -> list[str]:
    """Mark a move that is faster than the guidance for pans, and say why."""
    if spec.times_guidance <= 1:
        return []
    return [
        f"The move is {spec.times_guidance:.1f} times as fast as the guidance for pans allows "
        f"({LIMIT_SECONDS} s across the picture at {REFERENCE_RATE} fps): chosen so that the last "
        "row sees it, not to be copied."
    ]


def _shake_words(cadence: Cadence, speed_px_s: float) -> str:
    if cadence.even:
        return f"At {format_decimal(cadence.rate)} every frame comes on time: it glides."
    span_ms = format_decimal(1000 * cadence.timing_error_span_s, 1)
    jump = format_decimal(Fraction(tracked_eye.double_edge_px(cadence, speed_px_s)), 1)
    return (
        f"At {format_decimal(cadence.rate)} the frames come up to {span_ms} ms off an even beat: "
        f"where it is fastest, at {speed_px_s:.0f} px/s, what you follow shakes by {jump} px."
    )


def _count_words(cadence: Cadence) -> str:
    holds = [hold for hold in cadence.first_holds(6) if hold]
    counted = " ".join(
        " ".join(str(n) for n in range(1, hold + 1)) + ("," if i < 3 else "")
        for i, hold in enumerate(holds[:4])
    )
    return f"At {format_decimal(cadence.rate)}: {counted.rstrip(',')}."


def conform_notes(request: TalkRequest) -> Notes:
    """Notes of the conform demonstration."""
    conform = Conform(request.footage, request.timeline)
    shot, line = format_decimal(request.footage), format_decimal(request.timeline)
    speed = format_decimal(100 * conform.speed, 1)
    mixed = format_decimal(100 * conform.mixed_share, 0)
    length = format_decimal(100 * conform.length, 1)
    return Notes(
        f"{shot} fps footage in a {line} fps timeline, four ways",
        (
            f"Left as it is, with {conform.repeat_words}, the move hesitates.",
            f"Blended, {mixed} % of the frames are two pictures at once: the shaking becomes "
            "ghosts.",
            f"Every frame used once, it plays at {speed} % and lasts {length} % of its length: "
            "even, but the move is another one.",
            f"Shot at {line}, there is nothing to repair.",
        ),
        "The edges of one bar, in each of the four pictures in turn.",
    )


def hold_chart_notes(request: TalkRequest) -> Notes:
    """Notes of the hold chart."""
    say = tuple(_cadence_words(cadence) for cadence in request.cadences)
    look = "The widths of the blocks: equal ones glide, unequal ones judder."
    return Notes("How long each frame stays on screen", say, look)


def space_time_notes(request: TalkRequest) -> Notes:
    """Notes of the space-time diagram."""
    say = ["The eye follows along the straight line. The screen can only step."]
    speed = request.split().fastest_px_s
    for cadence in request.cadences:
        rate, jump = format_decimal(cadence.rate), tracked_eye.double_edge_px(cadence, speed)
        say.append(
            f"At {rate} the steps are alike."
            if cadence.even
            else f"At {rate} they are not: at the clip's {speed:.0f} px/s the object shakes "
            f"by {jump:.1f} px about the line."
        )
    look = "The grey wedges between line and steps: whether they are all alike."
    return Notes("Where the object is, and where the eye is", tuple(say), look)


def eye_notes(request: TalkRequest) -> Notes:
    """Notes of the tracked-eye picture."""
    say = ["This is computed, not photographed: what falls on the retina of a following eye."]
    speed = request.split().fastest_px_s / tracked_eye.SLOWER
    for cadence in tracked_eye.with_contrast(request.cadences):
        blur = tracked_eye.hold_blur_px(cadence, speed)
        double = tracked_eye.double_edge_px(cadence, speed)
        more = f", with edges doubled {double:.1f} px apart" if double else ""
        rate = format_decimal(cadence.rate)
        say.append(f"At {rate} a sharp edge is smeared over {blur:.1f} px{more}.")
    say.append(
        f"The plate goes at {speed:.0f} px/s, a quarter of the clip's speed: there all is four "
        f"times as large. {tracked_eye.MODEL_WORDS}"
    )
    look = "The fine line at the right, whose sides are one step or two; then the letters."
    return Notes("What a following eye sees", tuple(say), look)


def animation_notes(timing: PlayedTiming, slow: int) -> Notes:
    """Notes of an animated picture; `timing` is that of any part of it."""
    slowed = f", slowed {slow} times" if slow > 1 else ""
    return Notes(
        f"For your own slides and chat: {timing.format.name}{slowed}",
        (
            "Viewers of animated pictures do not wait for the refresh: good for showing the "
            "pattern, not for judging a screen. The split clip is the true thing.",
        ),
        "The row of blocks under each picture.",
    )


def demo_notes(request: TalkRequest) -> Notes:
    """Notes of the one-page demonstration."""
    return Notes(
        "Try it on your own screen",
        (
            f"It opens at {request.rates_words} and measures the refresh of the screen it runs on.",
            "Move the rate until both pictures glide. Then pause, and step refresh by refresh.",
        ),
        "The poles while it plays, the blocks while it is paused.",
    )

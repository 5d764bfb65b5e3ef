"""A split clip as an animated picture for slides and chat: WebP, APNG or GIF, looped.

Animated WebP counts in milliseconds, GIF in hundredths of a second, APNG in exact
fractions of 16 bits (RFC 9649; GIF89a specification, graphic control extension; PNG
third edition, fcTL). Viewers show a picture that asks for 10 ms or less for 100 ms, in a
GIF one below 20 ms: common practice, no source. What a clock cannot hold is refused.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise
from math import ceil
from pathlib import Path
from typing import Literal

from PIL import Image

from patterns.errors import OutputError, RequestError
from patterns.picture.planes import planes_to_rgb
from patterns.present.split_clip import SplitClip, refuse_flashing
from patterns.present.split_spec import SplitSpec
from patterns.safety.check import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.side_by_side import Progress
from patterns.timing.rates import format_decimal
from patterns.whole_file import write_whole

FormatName = Literal["webp", "apng", "gif"]
LEAST_UNITS = 5  # a refresh must be this many units long, or rounding would itself judder

WELL_HELD = Fraction(1, 20)  # of a refresh, by which rounding may shift a change


@dataclass(frozen=True)
class AnimationFormat:
    """A format's clock."""

    name: str  # its name for people, and of its files
    suffix: str
    unit_s: Fraction  # what durations are counted in; 0: any fraction of two 16-bit numbers
    least_s: Fraction  # shortest duration that viewers honour


FORMATS: dict[FormatName, AnimationFormat] = {
    "webp": AnimationFormat("WebP", ".webp", Fraction(1, 1000), Fraction(11, 1000)),
    "apng": AnimationFormat("APNG", ".png", Fraction(0), Fraction(11, 1000)),
    "gif": AnimationFormat("GIF", ".gif", Fraction(1, 100), Fraction(2, 100)),
}


@dataclass(frozen=True)
class PlayedTiming:
    """Durations as they are written."""

    format: AnimationFormat  # whose clock they follow
    wanted_s: Fraction  # what each should last
    durations_s: tuple[Fraction, ...]  # in the file; their sum is as near as the clock allows

    @property
    def exact(self) -> bool:
        """Whether every duration is what it should be."""
        return all(d == self.wanted_s for d in self.durations_s)

    @property
    def worst_shift_s(self) -> Fraction:
        """How far a change comes before or after its due moment, at the worst."""
        ends = enumerate(accumulate(self.durations_s), start=1)
        return max(abs(end - number * self.wanted_s) for number, end in ends)

    @property
    def words(self) -> str:
        """Say what the file really plays."""
        wanted = format_decimal(1000 * self.wanted_s, 2)
        if self.exact:
            return f"{self.format.name} plays each refresh for {wanted} ms, exactly as it should"
        written = sorted(set(self.durations_s))
        list_ms = " or ".join(format_decimal(1000 * d, 2) for d in written)
        shift = format_decimal(1000 * self.worst_shift_s, 2)
        share = format_decimal(100 * self.worst_shift_s / self.wanted_s, 1)
        return (
            f"{self.format.name} cannot hold {wanted} ms a refresh: it plays {list_ms} ms, so "
            f"that a change comes up to {shift} ms ({share} % of a refresh) off its moment"
        )


def least_slow(name: FormatName, refresh_hz: Fraction) -> int:
    """Least slowing that a format holds well: exactly, or to a twentieth of a refresh."""
    form = FORMATS[name]
    least = max(form.least_s, LEAST_UNITS * form.unit_s)
    first = max(1, ceil(least * refresh_hz))
    for slow in range(first, first + 4):
        step = slow / refresh_hz
        exact = not form.unit_s or (step / form.unit_s).denominator == 1
        if exact or form.unit_s / 2 <= WELL_HELD * step:
            return slow
    return first


def played_timing(
    name: FormatName, refresh_hz: Fraction, slow: int, refreshes: int
) -> PlayedTiming:
    """Durations of `refreshes` pictures, each one refresh slowed `slow` times.

    Raises `RequestError`: the format would show something else: its clock is too coarse, or viewers
    do not play that fast. The message says which slowing it can hold.
    """
    form = FORMATS[name]
    wanted = slow / refresh_hz
    if wanted < max(form.least_s, LEAST_UNITS * form.unit_s):
        ms = format_decimal(1000 * wanted, 1)
        unit = f"counts in steps of {format_decimal(1000 * form.unit_s, 0)} ms"
        reason = (
            f"{form.name} {unit}, too coarse for" if form.unit_s * LEAST_UNITS > wanted
            else f"viewers of {form.name} do not play"
        )  # fmt: skip
        raise RequestError(
            f"{reason} refreshes of {ms} ms, and it would mislead: slow it at least "
            f"{least_slow(name, refresh_hz)} times (--slow), or make the split clip, a video"
        )
    if not form.unit_s:
        held = wanted
        if max(wanted.numerator, wanted.denominator) > 65535:
            held = wanted.limit_denominator(65535)
        return PlayedTiming(form, wanted, (held,) * refreshes)
    ends = [round(k * wanted / form.unit_s) * form.unit_s for k in range(refreshes + 1)]
    return PlayedTiming(form, wanted, tuple(b - a for a, b in pairwise(ends)))


LONGEST_S = 3  # of the scene, before slowing


@dataclass(frozen=True)
class Animation:
    """What was written: its timing, its loop, and what the check found."""

    timing: PlayedTiming
    seamless: bool
    safety: SafetyReport


def closed_spec(spec: SplitSpec) -> tuple[SplitSpec, bool]:
    """Shorten a clip to a loop; what repeats soon is nudged to close, the rest starts again.

    Returns the clip, and whether it closes without a seam.
    """
    feeds = tuple(panel.feed for panel in spec.panels)
    window = spec.meter_window
    scene = spec.scene
    most = max(1, int(LONGEST_S * spec.refresh_hz) // window)
    choices = []
    for rounds in range(1, most + 1):
        seconds = rounds * window / spec.refresh_hz
        wanted = seconds / scene.period_s
        periods = max(1, round(wanted))
        whole = all((seconds * f.footage).denominator == 1 for f in feeds)
        choices.append((abs(periods / wanted - 1), rounds, seconds, periods, whole))
    _, _, seconds, periods, whole = min(choices, key=lambda c: (not c[4], c[0], c[1]))
    if scene.period_s > LONGEST_S:
        return replace(spec, seconds=min(spec.seconds, Fraction(LONGEST_S))), False
    closed = scene.in_periods(seconds, periods)
    return replace(spec, seconds=seconds, scene=closed), whole


def _pictures(spec: SplitSpec) -> tuple[list[Image.Image], SafetyReport]:
    """All refreshes as RGB, and what the check says of the loop played as it will be."""
    clip = SplitClip(spec)
    pictures = []
    guard = LoopGuard(spec.width, spec.height, spec.refresh_hz / spec.slow)
    for k, frame in enumerate(clip.refreshes()):
        pictures.append(Image.fromarray(planes_to_rgb(frame)))
        guard.see(k * spec.slow / spec.refresh_hz, frame)
    return pictures, guard.report()


def _with_palette(pictures: Sequence[Image.Image]) -> list[Image.Image]:
    """Bring all to one palette, so that what stands still stays the same to the byte."""
    width, height = pictures[0].size
    sample = Image.new("RGB", (width, 3 * height))
    for place, k in enumerate((0, len(pictures) // 2, len(pictures) - 1)):
        sample.paste(pictures[k], (0, place * height))
    palette = sample.quantize(255, method=Image.Quantize.MEDIANCUT)
    return [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]


def animation_bytes(
    pictures: Sequence[Image.Image], name: FormatName, durations_s: Sequence[Fraction]
) -> bytes:
    """Encode pictures, each with its duration, in an endless loop.

    Raises `OutputError`: the encoder kept another number of pictures than it was given.
    """
    held = io.BytesIO()
    ms = [round(1000 * d) for d in durations_s]
    if name == "webp":
        first, *rest = pictures
        first.save(held, "WEBP", save_all=True, append_images=rest, duration=ms, loop=0,
                   quality=82, method=4)  # fmt: skip
        return held.getvalue()
    first, *rest = _with_palette(pictures)
    if name == "gif":
        first.save(held, "GIF", save_all=True, append_images=rest, duration=ms, loop=0,
                   disposal=1)  # fmt: skip
        return held.getvalue()
    first.save(held, "PNG", save_all=True, append_images=rest, duration=100, loop=0)
    return _with_delays(held.getvalue(), durations_s)


def _with_delays(png: bytes, durations_s: Sequence[Fraction]) -> bytes:
    """Set the delays of an APNG as exact fractions (PNG third edition, fcTL, bytes 20 to 23)."""
    out, at, number = bytearray(png[:8]), 8, 0
    while at < len(png):
        (length,) = struct.unpack_from(">I", png, at)
        kind, data = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        if kind == b"fcTL":
            if number >= len(durations_s):
                break
            delay = durations_s[number]
            data = data[:20] + struct.pack(">HH", delay.numerator, delay.denominator) + data[24:]
            number += 1
        out += struct.pack(">I", length) + kind + data
        out += struct.pack(">I", zlib.crc32(kind + data))
        at += 12 + length
    if number != len(durations_s) or at != len(png):
        raise OutputError("the APNG encoder merged pictures: another count than was drawn")
    return bytes(out)


def write_animation(
    spec: SplitSpec,
    name: FormatName,
    path: Path,
    *,
    force: bool = False,
    allow_flashing: bool = False,
    progress: Progress | None = None,
) -> Animation:
    """Write a loop of the split clip; every refresh is one picture.

    Raises `RequestError`: the format's clock cannot hold it, it exceeds a limit for flashes, or the
    file exists.
    Raises `OutputError`: the disk refuses it.
    """
    closed, seamless = closed_spec(spec)
    timing = played_timing(name, spec.refresh_hz, spec.slow, closed.refreshes)
    pictures, report = _pictures(closed)
    refuse_flashing(report, path.name, allow_flashing=allow_flashing)
    write_whole(path, animation_bytes(pictures, name, timing.durations_s), force=force)
    if progress is not None:
        progress(1, 1)
    return Animation(timing, seamless, report)

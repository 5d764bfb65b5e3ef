"""A split clip as an animated picture for slides and chat: WebP, APNG or GIF, looped."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from PIL import Image

from patterns.errors import OutputError
from patterns.picture.stills import planes_to_rgb
from patterns.present.animation_timing import FormatName, PlayedTiming, played_timing
from patterns.present.split_clip import SplitClip, SplitSpec
from patterns.present.split_file import refuse_flashing
from patterns.safety.guard import LoopGuard
from patterns.safety.report import SafetyReport
from patterns.side_by_side import Progress
from patterns.whole_file import write_whole

__all__ = ["Animation", "animation_bytes", "closed_spec", "write_animation"]

LONGEST_S = 3  # of the scene, before slowing


@dataclass(frozen=True)
class Animation:
    """What was written: its timing, its loop, and what the check found."""

    timing: PlayedTiming
    seamless: bool
    safety: SafetyReport


def closed_spec(spec: SplitSpec) -> tuple[SplitSpec, bool]:
    """Shorten a clip to a loop; what repeats soon is nudged to close, the rest starts again.

    Returns
    -------
    The clip, and whether it closes without a seam.
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

    Raises
    ------
    OutputError
        The encoder kept another number of pictures than it was given.
    """
    held = io.BytesIO()
    ms = [round(1000 * d) for d in durations_s]
    if name == "webp":
        # here, because it takes its time to load
        from imageio import v3 as iio

        with iio.imopen(held, "w", plugin="pillow", extension=".webp") as file:
            for picture in pictures:
                file.write(picture, is_batch=False, duration=ms, loop=0, quality=82, method=4)
        return held.getvalue()
    # by Pillow itself, for imageio takes no palette
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

    Raises
    ------
    RequestError
        The format's clock cannot hold it, it exceeds a limit for flashes, or the file exists.
    OutputError
        The disk refuses it.
    """
    closed, seamless = closed_spec(spec)
    timing = played_timing(name, spec.refresh_hz, spec.slow, closed.refreshes)
    pictures, report = _pictures(closed)
    refuse_flashing(report, path.name, allow_flashing=allow_flashing)
    write_whole(path, animation_bytes(pictures, name, timing.durations_s), force=force)
    if progress is not None:
        progress(1, 1)
    return Animation(timing, seamless, report)

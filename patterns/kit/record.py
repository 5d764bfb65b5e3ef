"""The record of a clip: what is in the file and how it will be held, as JSON and as text."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from typing import Any

from patterns.clip import Clip, canonical
from patterns.scenes.motion import Loop, crossing_time_s, image_motion
from patterns.strip.layout import picture_rows
from patterns.timing.cadence import Display, cadence
from patterns.timing.cadence_text import cadence_record
from patterns.timing.rates import format_rate
from patterns.timing.shutter import format_exposure
from patterns.version import VERSION
from patterns.video.codecs import codec_named
from patterns.video.encoders import available_encoders

SCHEMA = "evenhold/clip 1"


def fingerprint(clip: Clip) -> str:
    """Text that changes with everything that decides a clip's bytes, the version included."""
    codec = codec_named(clip.codec)
    settings = codec.arguments(
        clip.width, clip.height, clip.rate, available_encoders(), small=clip.small
    )
    digest = hashlib.sha256(" ".join(settings).encode()).hexdigest()[:8]
    return f"{VERSION} {digest} {canonical(clip)}"


def _plain(value: object) -> Any:
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else float(value)
    return value


def _motion_json(clip: Clip) -> dict[str, Any]:
    top, bottom = picture_rows(clip)
    motion = image_motion(clip.motion, clip.width, bottom - top)
    rate = float(clip.rate)

    def place(px_s: float) -> dict[str, float | None]:
        crossing = crossing_time_s(px_s, clip.width)
        return {
            "px_per_s": round(px_s, 4),
            "px_per_frame": round(px_s / rate, 4),
            "percent_of_width_per_frame": round(100 * px_s / rate / clip.width, 4),
            "crossing_s": round(crossing, 4) if crossing < 1e9 else None,
        }

    return {
        "fastest": place(motion.fastest_px_s)
        | {"at_x": round(motion.fastest_xy[0], 3), "at_y": round(motion.fastest_xy[1], 3)},
        "typical": place(motion.typical_px_s),
    }


def record_json(
    clip: Clip,
    file: Path,
    sha256: str,
    safety: dict[str, Any],
    loop: Loop | None,
    displays: Sequence[Display],
    level: str,
) -> dict[str, Any]:
    """The record as the object that is written beside the clip and printed by `--json`.

    `file` holds the clip and states `level`; `loop` is how its motion was
    fitted to whole periods, if it was.
    """
    caution = codec_named(clip.codec).caution(clip.rate)
    return {
        "schema": SCHEMA,
        "file": file.name,
        "bytes": file.stat().st_size,
        "sha256": sha256,
        "made_by": f"evenhold {VERSION}",
        "fingerprint": fingerprint(clip),
        "pattern": clip.pattern,
        "motion": {f.name: _plain(getattr(clip.motion, f.name)) for f in fields(clip.motion)},
        "rate": float(clip.rate),
        "rate_exact": str(clip.rate),
        "shutter_deg": float(clip.angle_deg),
        "exposure_s": float(clip.exposure_s),
        "exposure": format_exposure(clip.exposure_s),
        "width": clip.width,
        "height": clip.height,
        "frames": clip.frames,
        "duration_s": float(clip.duration_s),
        "strip": clip.strip,
        "identity": clip.identity,
        "codec": clip.codec,
        "codec_level": level,
        "small": clip.small,
        "seed": clip.seed,
        "loop": {
            "periods": loop.periods if loop else 0,
            "speed_change_percent": float(100 * loop.speed_change) if loop else 0.0,
        },
        "image_motion": _motion_json(clip),
        "cadence": [cadence_record(cadence(clip.rate, display)) for display in displays],
        "safety": safety,
        "warnings": [caution] if caution else [],
    }


def _motion_line(name: str, place: dict[str, Any], where: str) -> str:
    crossing = (
        "stands still" if place["crossing_s"] is None else f"{place['crossing_s']:.2f} s to cross"
    )
    return (
        f"  {name:<9} {place['px_per_frame']:.2f} px a frame, "
        f"{place['percent_of_width_per_frame']:.2f} % of the width, {crossing}{where}"
    )


def record_text(data: dict[str, Any], folder: str) -> str:
    """The record for a person: the same facts as the JSON object `data`."""
    rate = format_rate(Fraction(data["rate_exact"]))
    fastest = data["image_motion"]["fastest"]
    moves_alike = fastest["px_per_s"] == data["image_motion"]["typical"]["px_per_s"]
    where = (
        ""
        if moves_alike
        else f" (at {100 * fastest['at_x']:.0f} % across, {100 * fastest['at_y']:.0f} % down)"
    )
    level = f", level {data['codec_level']}" if data["codec_level"] else ""
    coded = f"{data['codec']}{' (small)' if data['small'] else ''}{level}"
    lines = [
        f"{folder}{data['file']}",
        f"  picture   {data['pattern']}, {data['width']}x{data['height']}, {coded}, "
        f"{data['bytes'] / 1e6:.1f} MB, clip id {data['identity']:04x}",
        f"  rate      {rate} fps, {data['frames']} frames, {data['duration_s']:.3f} s",
        f"  exposure  {data['exposure']}, shutter {data['shutter_deg']:.4g} degrees",
        _motion_line("fastest", fastest, where),
        _motion_line("typical", data["image_motion"]["typical"], ""),
    ]
    if data["loop"]["periods"]:
        change = data["loop"]["speed_change_percent"]
        nudge = f", speed changed by {change:+.3f} % to close exactly" if change else ""
        lines.append(f"  loop      {data['loop']['periods']} whole periods{nudge}")
    lines += [f"  on {entry['display']:>4} Hz {entry['verdict']}" for entry in data["cadence"]]
    lines.append(f"  safety    {data['safety']['summary']}")
    lines.append("            (flashes and stripes; an aid, not a certificate)")
    return "\n".join(lines)


def dump(data: dict[str, Any]) -> str:
    """JSON text with stable order, as it is printed and written to disk; pure ASCII."""
    return json.dumps(data, indent=2) + "\n"

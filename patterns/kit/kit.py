"""The set of clips that one takes to a device: every pattern at every rate, same motion."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from patterns.clip import Clip, describe
from patterns.errors import RequestError
from patterns.frame_source import FrameSource
from patterns.kit.make_clip import ClipJob, dump, file_digest, fingerprint, make_clip, read_record
from patterns.kit.pages import HOW_TO_NAME, crib_sheet, how_to_page, index_page
from patterns.picture.planes import picture_bytes, planes_to_rgb
from patterns.scenes.motion import Motion
from patterns.scenes.table import PATTERNS
from patterns.side_by_side import Progress, Task, side_by_side
from patterns.timing.cadence import DEFAULT_DISPLAYS, Display
from patterns.timing.rates import format_decimal
from patterns.video.codecs import codec_named
from patterns.whole_file import make_folder, write_whole

SCHEMA = "evenhold/kit 1"
POSTER_WIDTH = 960  # pixels


def kit_clips(
    motions: Iterable[Motion], rates: Iterable[Fraction], **values: Any
) -> tuple[Clip, ...]:
    """Every motion at every rate, from low to high; `values` as `describe` takes them.

    Raises `RequestError`: no rate, or a clip that is not possible.
    """
    wanted = sorted(set(rates))
    if not wanted:
        raise RequestError("a kit needs at least one rate: give --rates 24,25,30,50,60")
    return tuple(describe(motion, rate=rate, **values) for motion in motions for rate in wanted)


def _name(clip: Clip, digits: int) -> str:
    whole, dot, part = format_decimal(clip.rate).partition(".")
    suffix = codec_named(clip.codec).suffix
    return f"evenhold-{clip.pattern}-{whole:0>{digits}}{dot}{part}fps{suffix}"


def _work(clip: Clip) -> int:
    return clip.frames * PATTERNS[clip.pattern].work


def make_kit(
    folder: Path,
    clips: Sequence[Clip],
    displays: tuple[Display, ...] = DEFAULT_DISPLAYS,
    *,
    allow_flashing: bool = False,
    progress: Progress | None = None,
    jobs: int = 1,
) -> dict[str, Any]:
    """Make the clips that are missing or changed, then the pages; returns kit.json's object.

    `clips`: those of a pattern together, see `kit_clips`; `displays`: that the pages explain them
    for. `progress` is called with (work done, work in all), kept clips counted as done. `jobs`
    clips are made at once, in processes of their own; the bytes are the same.
    The result has one key more than kit.json: ``made``, the clips made in this run.

    Each clip appears whole with its record, so that an interrupted run resumes where it
    stopped. A clip is kept if its record names the same description and the same bytes.
    """
    digits = len(str(int(max(clip.rate for clip in clips))))
    wanted = [
        ClipJob(clip, folder / _name(clip, digits), True, allow_flashing, displays)
        for clip in clips
    ]
    make_folder(folder)
    records = {job.path: _kept(job) for job in wanted}
    missing = [job for job in wanted if records[job.path] is None]
    firsts = {job.clip.pattern: job.clip for job in reversed(wanted)}
    # A pattern's clips show the same country: the process that made one has most of the next.
    tasks = [
        Task(job.path.name, make_clip, (job,), _work(job.clip), job.clip.pattern) for job in missing
    ]
    tasks += [
        Task(f"the picture of {pattern}", write_poster, (clip, folder), 1, pattern)
        for pattern, clip in firsts.items()
    ]
    kept = sum(_work(job.clip) for job in wanted if job not in missing)

    def shifted(done: int, total: int) -> None:
        if progress is not None:
            progress(kept + done, kept + total)

    results = side_by_side(tasks, jobs, shifted)
    records.update(zip((job.path for job in missing), results, strict=False))
    posters = dict(zip(firsts, results[len(missing) :], strict=True))
    data = _kit_json(displays, list(records.values()), posters)
    write_whole(folder / "kit.json", dump(data), force=True)
    write_whole(folder / "index.html", index_page(data), force=True)
    write_whole(folder / "crib-sheet.html", crib_sheet(data), force=True)
    write_whole(folder / HOW_TO_NAME, how_to_page(), force=True)
    return data | {"made": [job.path.name for job in missing]}


def _kept(job: ClipJob) -> dict[str, Any] | None:
    """Record of a clip that need not be made again."""
    record = read_record(job.path)
    if record is None or record.get("fingerprint") != fingerprint(job.clip):
        return None
    if [entry["display"] for entry in record["cadence"]] != [d.name for d in job.displays]:
        return None
    if not job.allow_flashing and record["safety"]["verdict"] == "exceeds":
        return None
    try:
        whole = file_digest(job.path) == record["sha256"]
    except OSError:
        return None
    return record if whole else None


def poster_jpeg(clip: Clip, n: int, width: int) -> bytes:
    """Frame `n` of `clip` as a JPEG `width` pixels wide."""
    picture = Image.fromarray(planes_to_rgb(FrameSource(clip).draw(n)))
    picture.thumbnail((width, picture.height), Image.Resampling.LANCZOS)
    return picture_bytes(np.asarray(picture), ".jpg", quality=88, optimize=True)


def write_poster(clip: Clip, folder: Path, progress: Progress) -> str:  # noqa: ARG001 - a task
    """Write the middle frame of `clip` into `folder`; returns the file's name.

    Without the strip, whose figures are those of one rate: a pattern's clips share it.
    """
    name = f"evenhold-{clip.pattern}.jpg"
    plain = replace(clip, strip="none")
    if not clip.motion.in_pixels and clip.width > POSTER_WIDTH:
        # Drawn no larger than it is shown, where the scene stays the same.
        plain = replace(
            plain, width=POSTER_WIDTH, height=2 * round(clip.height * POSTER_WIDTH / clip.width / 2)
        )
    write_whole(folder / name, poster_jpeg(plain, clip.frames // 2, POSTER_WIDTH), force=True)
    return name


def _kit_json(
    displays: Iterable[Display], records: list[Any], posters: dict[str, str]
) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "made_by": records[0]["made_by"],
        "displays": [display.name for display in displays],
        "patterns": [
            {
                "pattern": pattern,
                "poster": posters[pattern],
                "clips": [record for record in records if record["pattern"] == pattern],
            }
            for pattern in dict.fromkeys(record["pattern"] for record in records)
        ],
    }


def kit_text(data: dict[str, Any], folder: Path) -> str:
    """What was made, for a person, from what `make_kit` returns."""
    clips = [clip for group in data["patterns"] for clip in group["clips"]]
    made = len(data["made"])
    size_mb = sum(clip["bytes"] for clip in clips) / 1e6
    lines = [
        f"{len(clips)} clips in {folder} ({made} made now, {len(clips) - made} kept), "
        f"{size_mb:.0f} MB",
        *(f"  {clip['file']}" for clip in clips),
        f"Open {folder / 'index.html'}; print {folder / 'crib-sheet.html'}.",
        "Copy the whole folder to a phone by cable, card or cloud drive: messengers recompress.",
        "Caution: clips move across the whole picture. Warn people who are sensitive to moving or",
        "flashing pictures, and stop at the first discomfort.",
    ]
    return "\n".join(lines)

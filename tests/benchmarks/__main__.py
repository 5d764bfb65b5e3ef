"""How long a user waits, beside what is allowed and what else could be used.

`python -m tests.benchmarks` measures whole commands at 1920x1080 with default settings, each
beside its limit and, as a ratio, beside the least that the job takes:

- `render`, against the encoder alone at the same settings with all cores, fed the same
  frames from memory, and against the bundled ffmpeg's own `testsrc2` through the same
  encoder, which is what one would otherwise use;
- start-up until the first frame is drawn; peak memory of a clip's processes together;
- `read` and `check`, against the bundled decoder alone on the same file;
- the kit of 15 clips.

It takes less than five minutes. `--cores N` shows scaling, `--long` adds a clip of ten minutes.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from patterns.clip import Clip, describe
from patterns.frame_source import FrameSource
from patterns.video.codecs import CODECS
from patterns.video.encoders import available_encoders
from patterns.video.process import ffmpeg_path
from patterns.video.reader import read_luma
from patterns.video.writer import VideoSpec, VideoWriter

PATTERNS = ("bars", "terrain", "orbit")
COMMAND = [sys.executable, "-m", "patterns"]
FFMPEG = ["-hide_banner", "-loglevel", "error", "-y"]
LEAST_DB = 46.0
_FIRST = """
import sys
from patterns.__main__ import settle
settle()
from patterns.cli.render import command
from patterns.frame_source import FrameSource
from patterns.clip import describe
FrameSource(describe(sys.argv[1])).draw(0)
"""


def show(what: str, value: float, unit: str, limit: float | None = None, more: str = "") -> None:
    """Print one line; limits are upper ones, of dB lower ones."""
    within = limit is None or (value >= limit if unit == "dB" else value <= limit)
    beside = "" if limit is None else f"{limit:8.1f}"
    print(
        f"{what:<44}{value:8.2f} {unit:<3}{beside:>9}  {'' if within else 'OVER':<5}{more}",
        flush=True,
    )


def took_s(words: list[str]) -> float:
    """Wall time of a program, its start included."""
    start = time.perf_counter()
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(words)} failed: {done.stderr}")
    return time.perf_counter() - start


def median_s(words: list[str], runs: int) -> float:
    """Median wall time."""
    return statistics.median(took_s(words) for _ in range(runs))


def render(pattern: str, out: Path, *more: str) -> list[str]:
    """The command that a person types."""
    return [*COMMAND, "render", pattern, "--out", str(out), "--force", "--quiet", *more]


def encoder_alone(clip: Clip, path: Path) -> tuple[float, float]:
    """Wall time of the encoder with all frames in memory, and luma PSNR of the worst frame."""
    source = FrameSource(clip)
    frames = [source.draw(n) for n in range(clip.frames)]
    spec = VideoSpec(path, clip.width, clip.height, clip.rate, clip.codec, clip.frames, force=True)
    start = time.perf_counter()
    with VideoWriter(spec) as writer:
        for frame in frames:
            writer.write(frame)
    took = time.perf_counter() - start
    worst = max(
        float(np.mean(np.square(frame.y.astype(np.int16) - luma, dtype=np.float32)))
        for frame, (_, luma) in zip(frames, read_luma(path), strict=True)
    )
    return took, float(10 * np.log10(255**2 / worst))


def other_source(clip: Clip, path: Path) -> list[str]:
    """The bundled ffmpeg's own moving test picture through the same encoder."""
    codec = CODECS[clip.codec]
    picture = f"testsrc2=size={clip.width}x{clip.height}:rate={clip.rate}"
    length = ["-frames:v", str(clip.frames)]
    settings = codec.arguments(clip.width, clip.height, clip.rate, available_encoders())
    return [ffmpeg_path(), *FFMPEG, "-f", "lavfi", "-i", picture, *length, *settings, str(path)]


def _tree_bytes(pid: int) -> int:
    """Memory of a process and of those that it started; 0 where the system does not tell."""
    total = 0
    if sys.platform == "win32":
        return total
    try:
        fields = Path(f"/proc/{pid}/statm").read_text().split()
        total += int(fields[1]) * os.sysconf("SC_PAGE_SIZE")
        for task in Path(f"/proc/{pid}/task").iterdir():
            total += sum(map(_tree_bytes, map(int, (task / "children").read_text().split())))
    except OSError:
        pass
    return total


def watched(words: list[str]) -> tuple[float, float]:
    """Wall time of a program, and the most MB that it and what it starts hold at one time."""
    start, most = time.perf_counter(), 0
    process = subprocess.Popen(words)
    while process.poll() is None:
        most = max(most, _tree_bytes(process.pid))
        time.sleep(0.02)
    if process.returncode:
        raise SystemExit(f"{' '.join(words)} failed")
    return time.perf_counter() - start, most / 1e6


def one_pattern(pattern: str, folder: Path, runs: int) -> None:
    """A clip of 10 s at 24 frames a second."""
    clip, out = describe(pattern), folder / "clip.mp4"
    alone, worst_db = encoder_alone(clip, folder / "alone.mp4")
    other = took_s(other_source(clip, folder / "other.mp4"))
    took, memory = zip(*(watched(render(pattern, out)) for _ in range(runs)), strict=True)
    whole = statistics.median(took)
    ratios = f"{whole / alone:.2f} x encoder alone, {whole / other:.2f} x testsrc2"
    show(f"render {pattern}, 10 s at 24 fps", whole, "s", 2.5 if pattern == "bars" else 7, ratios)
    show("  the encoder alone, from memory", alone, "s")
    show("  testsrc2 through the same encoder", other, "s")
    show("  worst frame", worst_db, "dB", LEAST_DB, f"{out.stat().st_size * 8e-7:.1f} Mbit/s")
    first = median_s([sys.executable, "-c", _FIRST, pattern], runs)
    show("  first frame", first, "s", None if pattern == "bars" else 2.5)
    show("  memory of all its processes", max(memory), "MB", 600)
    if pattern != "bars":
        show(
            f"render {pattern}, 10 s at 60 fps",
            took_s(render(pattern, out, "--rate", "60")),
            "s",
            14,
        )


def reading(folder: Path, runs: int) -> None:
    """`read` and `check` of a clip, beside the decoder."""
    clip = folder / "read.mp4"
    took_s(render("terrain", clip))
    nothing = ["-f", "null", os.devnull]
    decoder = median_s([ffmpeg_path(), *FFMPEG, "-i", str(clip), *nothing], runs)
    show("the decoder alone, terrain, 10 s", decoder, "s")
    for word, most in (("read", 1.3), ("check", 2.0)):
        took = median_s([*COMMAND, word, str(clip)], runs)
        show(
            f"{word} of the same clip", took, "s", most * decoder, f"{took / decoder:.2f} x decoder"
        )


def _take_cores(wanted: int | None) -> int | None:
    """Run on so many cores only, where the system has that; how many there are then."""
    if sys.platform != "linux":
        return os.cpu_count()
    if wanted:
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:wanted])
    return len(os.sched_getaffinity(0))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Benchmark of what a user waits for.")
    parser.add_argument("--cores", type=int, help="use so many cores only (Linux)")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--long", action="store_true", help="add a clip of ten minutes")
    parser.add_argument("--no-kit", action="store_true")
    parser.add_argument("patterns", nargs="*", default=PATTERNS)
    asked = parser.parse_args()
    cores = _take_cores(asked.cores)
    print(f"{cores} cores, {platform.platform()}, Python {platform.python_version()}")
    print(f"{'what':<44}{'measured':>8}    {'limit':>9}")
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for pattern in asked.patterns:
            one_pattern(pattern, folder, asked.runs)
        reading(folder, asked.runs)
        out = folder / "clip.mp4"
        show(
            "render terrain, 10 s at 24 fps, 4k",
            took_s(render("terrain", out, "--size", "4k")),
            "s",
            25,
        )
        if asked.long:
            words = render("terrain", out, "--seconds", "600")
            show("memory of a clip of ten minutes", watched(words)[1], "MB", 600)
        if not asked.no_kit:
            kit = took_s([*COMMAND, "kit", "--out", str(folder / "kit"), "--quiet"])
            size = sum(path.stat().st_size for path in (folder / "kit").iterdir())
            show("the kit of 15 clips", kit, "s", 80, f"{size / 1e6:.0f} MB")
    print(f"all of this took {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()

"""How long a user waits, beside what is allowed and what else could be used.

`python -m tests.benchmarks` measures whole commands at 1920x1080 with default settings, each
beside its limit and, as a ratio, beside the least that the job takes:

- `render`, against the encoder alone at the same settings with all cores, fed the same
  frames from memory, and against the bundled ffmpeg's own `testsrc2` through the same
  encoder, which is what one would otherwise use;
- start-up until the first frame is drawn; peak memory of a clip's processes together;
- `read` and `check`, against the bundled decoder alone on the same file; those of bars, which it
  is through with before Python and numpy would be, have no limit;
- the kit of 15 clips.

Processor seconds, where the system tells them, are those of all processes of a command; on a
machine that does other things too they scatter less than what a clock says. All takes less than
five minutes; `--runs 3` prints medians, `--cores N` shows scaling, `--long` adds ten minutes.
"""

from __future__ import annotations

import argparse
import compileall
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

import patterns
from patterns.clip import Clip, describe
from patterns.frame_source import FrameSource
from patterns.video.codecs import CODECS
from patterns.video.process import ffmpeg_path
from patterns.video.reader import read_luma
from patterns.video.writer import VideoSpec, VideoWriter

if sys.platform != "win32":
    import resource

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


class Cost(NamedTuple):
    """What a program took: seconds by the clock and of processors, and MB at one time."""

    wall_s: float
    processor_s: float
    memory_mb: float


def show(what: str, value: float, unit: str, limit: float | None = None, more: str = "") -> None:
    """Print one line; limits are upper ones, of dB lower ones."""
    within = limit is None or (value >= limit if unit == "dB" else value <= limit)
    beside = "" if limit is None else f"{limit:8.1f}"
    print(
        f"{what:<36}{value:8.2f} {unit:<3}{beside:>9}  {'' if within else 'OVER':<5}{more}",
        flush=True,
    )


def show_cost(what: str, cost: Cost, limit_s: float | None = None, more: str = "") -> None:
    """Print a command's seconds."""
    show(what, cost.wall_s, "s", limit_s, f"{cost.processor_s:6.1f} processor s  {more}")


def _processor_s() -> float:
    """Processor seconds of this process and of all that have ended; 0 where nobody tells."""
    if sys.platform == "win32":
        return 0.0
    else:  # noqa: RET505 - so that types are checked for each system
        mine = resource.getrusage(resource.RUSAGE_SELF)
        ended = resource.getrusage(resource.RUSAGE_CHILDREN)
        return mine.ru_utime + mine.ru_stime + ended.ru_utime + ended.ru_stime


def _tree_bytes(pid: int, above: bytes = b"") -> int:
    """Memory of a process and of those that it started; 0 where the system does not tell.

    `above`: words of the process that started it. One with the same was not yet anything else, and
    the memory that is seen in it is that of the other.
    """
    total = 0
    if sys.platform != "linux":
        return total
    try:
        words = Path(f"/proc/{pid}/cmdline").read_bytes()
        if words == above:
            return total
        fields = Path(f"/proc/{pid}/statm").read_text().split()
        total += int(fields[1]) * os.sysconf("SC_PAGE_SIZE")
        for task in Path(f"/proc/{pid}/task").iterdir():
            started = map(int, (task / "children").read_text().split())
            total += sum(_tree_bytes(child, words) for child in started)
    except OSError:
        pass
    return total


def once(words: list[str], *, with_memory: bool = True) -> Cost:
    """What a program takes, its start included.

    Looking at its memory takes some of its cores' time, so that it can be left out.
    """
    start, used, most = time.perf_counter(), _processor_s(), 0
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    while with_memory and process.poll() is None:
        most = max(most, _tree_bytes(process.pid))
        time.sleep(0.02)
    process.wait()
    if process.returncode:
        raise SystemExit(f"{' '.join(words)} failed")
    return Cost(time.perf_counter() - start, _processor_s() - used, most / 1e6)


def middle(costs: Sequence[Cost]) -> Cost:
    """Medians of what several runs took; of memory the most."""
    wall, processor, memory = zip(*costs, strict=True)
    return Cost(statistics.median(wall), statistics.median(processor), max(memory))


def cost_of(words: list[str], runs: int = 1) -> Cost:
    """What a program takes, of several runs."""
    return middle([once(words) for _ in range(runs)])


def render(pattern: str, out: Path, *more: str) -> list[str]:
    """The command that a person types."""
    return [*COMMAND, "render", pattern, "--out", str(out), "--force", "--quiet", *more]


def encoder_alone(clip: Clip, path: Path) -> tuple[Cost, float]:
    """Cost of the encoder with all frames in memory, and luma PSNR of the worst frame."""
    source = FrameSource(clip)
    frames = [source.draw(n) for n in range(clip.frames)]
    spec = VideoSpec(path, clip.width, clip.height, clip.rate, clip.codec, clip.frames, force=True)
    start, used = time.perf_counter(), _processor_s()
    with VideoWriter(spec) as writer:
        for frame in frames:
            writer.write(frame)
    cost = Cost(time.perf_counter() - start, _processor_s() - used, 0)
    worst = max(
        float(np.mean(np.square(frame.y.astype(np.int16) - luma, dtype=np.float32)))
        for frame, (_, luma) in zip(frames, read_luma(path), strict=True)
    )
    return cost, float(10 * np.log10(255**2 / worst))


def other_source(clip: Clip, path: Path) -> list[str]:
    """The bundled ffmpeg's own moving test picture through the same encoder."""
    codec = CODECS[clip.codec]
    picture = f"testsrc2=size={clip.width}x{clip.height}:rate={clip.rate}"
    length = ["-frames:v", str(clip.frames)]
    settings = codec.arguments(clip.width, clip.height, clip.rate)
    return [ffmpeg_path(), *FFMPEG, "-f", "lavfi", "-i", picture, *length, *settings, str(path)]


def one_pattern(pattern: str, folder: Path, runs: int) -> None:
    """A clip of 10 s at 24 frames a second, and one at 60."""
    clip, out, moving = describe(pattern), folder / "clip.mp4", pattern != "bars"
    alone, worst_db = encoder_alone(clip, folder / "alone.mp4")
    other = cost_of(other_source(clip, folder / "other.mp4"))
    whole = cost_of(render(pattern, out), runs)
    ratios = (
        f"{whole.wall_s / alone.wall_s:.2f} x encoder alone, "
        f"{whole.wall_s / other.wall_s:.2f} x testsrc2"
    )
    show_cost(f"render {pattern}, 10 s at 24 fps", whole, 7 if moving else 2.5, ratios)
    show_cost("  the encoder alone, from memory", alone)
    show_cost("  testsrc2 through the same encoder", other)
    show("  worst frame", worst_db, "dB", LEAST_DB, f"{out.stat().st_size * 8e-7:.1f} Mbit/s")
    first = cost_of([sys.executable, "-c", _FIRST, pattern], runs)
    show_cost("  first frame", first, 2.5 if moving else None)
    show("  memory of all its processes", whole.memory_mb, "MB", 600)
    if moving:
        show_cost(
            f"render {pattern}, 10 s at 60 fps", cost_of(render(pattern, out, "--rate", "60")), 14
        )


def reading(folder: Path, runs: int) -> None:
    """`read` and `check` of clips, and `read` of a recording, beside the decoder."""
    clip, filmed, bars = (folder / name for name in ("read.mp4", "filmed.mp4", "bars.mp4"))
    cost_of(render("terrain", clip))
    cost_of(render("bars", bars))
    # a screen a little askew in the pictures of a camera on a stand, 240 a second as the page on
    # filming asks for, with a sensor's noise and a phone's steady 60 Mbit/s (from memory)
    seen = (
        "scale=1600:900,pad=1920:1080:160:90:0x202020,rotate=0.02:c=0x202020,gblur=0.8,"
        "fps=240,noise=c0s=8:c0f=t"
    )
    steady = ["-b:v", "60M", "-maxrate", "60M", "-bufsize", "12M", str(filmed)]
    coded = ["-c:v", "libx264", "-preset", "superfast", *steady]
    cost_of([ffmpeg_path(), *FFMPEG, "-t", "5", "-i", str(clip), "-vf", seen, *coded])
    for word, path, what, most in (
        ("read", clip, "the clip", 1.3),
        ("check", clip, "the clip", 2.0),
        ("read", filmed, "a recording, 5 s at 240 fps", 1.3),
        ("read", bars, "a clip of bars", None),
        ("check", bars, "a clip of bars", None),
    ):
        decoder = [ffmpeg_path(), *FFMPEG, "-i", str(path), "-f", "null", os.devnull]
        command = [*COMMAND, word, str(path)]
        # by turns, because a machine's speed drifts; and what takes a second scatters most
        pairs = [
            [once(words, with_memory=False) for words in (decoder, command)]
            for _ in range(runs if path == filmed else 3 * runs)
        ]
        alone, whole = map(middle, zip(*pairs, strict=True))
        ratio = f"{whole.wall_s / alone.wall_s:.2f} x decoder"
        show_cost(f"{word} of {what}", whole, most and most * alone.wall_s, ratio)
        show_cost("  the decoder alone", alone)


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
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument("--long", action="store_true", help="add a clip of ten minutes")
    parser.add_argument("--no-kit", action="store_true")
    parser.add_argument("patterns", nargs="*", default=PATTERNS)
    asked = parser.parse_args()
    # as after installing: no command measured compiles what it imports
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    compileall.compile_dir(Path(patterns.__file__).parent, quiet=1)
    cores = _take_cores(asked.cores)
    print(f"{cores} cores, {platform.platform()}, Python {platform.python_version()}")
    print(f"{'what':<36}{'measured':>8}    {'limit':>9}")
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for pattern in asked.patterns:
            one_pattern(pattern, folder, asked.runs)
        reading(folder, asked.runs)
        out = folder / "clip.mp4"
        show_cost(
            "render terrain, 10 s at 24 fps, 4k",
            cost_of(render("terrain", out, "--size", "4k")),
            25,
        )
        if asked.long:
            long = cost_of(render("orbit", out, "--seconds", "600"))
            show("memory of an orbit of ten minutes", long.memory_mb, "MB", 600)
        if not asked.no_kit:
            kit = cost_of([*COMMAND, "kit", "--out", str(folder / "kit"), "--quiet"])
            size = sum(path.stat().st_size for path in (folder / "kit").iterdir())
            show_cost("the kit of 15 clips", kit, 80, f"{size / 1e6:.0f} MB")
    print(f"all of this took {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()

"""How fast the render command is, and how much memory it takes: `python -m tests.benchmarks`.

For each pattern at 1920x1080, 24 fps, 10 s, default codec, side by side in one run:

- the whole command, as a person runs it;
- the encoder alone, with the same settings, fed the same frames from memory;
- start-up until the first frame is drawn, as the command draws it;
- peak memory of the Python process;
- a plain numpy script that averages 32 sharp sub-frames for each frame, which is what one
  would otherwise write (timed on a few frames and scaled up).

`--long` adds the memory of a clip of ten minutes, `--size 4k` another size.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.clip import Clip
from patterns.frame_source import FrameSource
from patterns.rendering.planes import Planes
from patterns.scenes.bars import bars_for_picture
from patterns.scenes.motion import Motion, OrbitMotion, TerrainMotion
from patterns.sizes import parse_size
from patterns.timing.shutter import exposure_of_angle
from patterns.video.writer import VideoSpec, VideoWriter

SUB_FRAMES = 32
_RUN = """
import json, re, sys
from pathlib import Path
from patterns.__main__ import main
sys.argv[1:] = json.loads(sys.argv[1])
code = main()
# Not getrusage: its peak starts from that of the process which started this one.
peak_kb = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
print(json.dumps({"code": code, "peak_mb": peak_kb / 1024}))
"""
_FIRST = """
import sys
from patterns.__main__ import settle
settle()
from patterns.cli.render import command
from patterns.frame_source import FrameSource
from tests.benchmarks.__main__ import clips
source = FrameSource(clips(int(sys.argv[2]), int(sys.argv[3]))[sys.argv[1]])

source.draw(0)

"""


def clips(width: int, height: int) -> dict[str, Clip]:
    """The three patterns with the command's defaults."""
    rate = Fraction(24)
    motions: dict[str, Motion] = {
        "bars": bars_for_picture(width, height),
        "terrain": TerrainMotion(),
        "orbit": OrbitMotion(),
    }
    exposure_s = exposure_of_angle(Fraction(180), rate)
    return {k: Clip(m, rate, exposure_s, width, height, 240) for k, m in motions.items()}


def command_s(pattern: str, size: str, seconds: int) -> tuple[float, float]:
    """Wall time of the whole command, and peak memory of its Python process in MB."""
    with tempfile.TemporaryDirectory() as folder:
        out = f"{folder}/clip.mp4"
        words = [
            "render",
            pattern,
            "--size",
            size,
            "--seconds",
            str(seconds),
            "--out",
            out,
            "--quiet",
        ]
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", _RUN, json.dumps(words)],
            check=True,
            capture_output=True,
            text=True,
        )
        wall_s = time.perf_counter() - start
    found = json.loads(done.stdout)
    if found["code"]:
        raise SystemExit(f"evenhold {' '.join(words)} failed: {done.stderr}")
    return wall_s, found["peak_mb"]


def encoder_s(clip: Clip) -> float:
    """Wall time of the encoder for the clip's frames, all of them in memory beforehand."""
    source = FrameSource(clip)
    frames = [source.draw(n) for n in range(clip.frames)]
    with tempfile.TemporaryDirectory() as folder:
        spec = VideoSpec(
            Path(folder) / "clip.mp4", clip.width, clip.height, clip.rate, clip.codec, clip.frames
        )
        start = time.perf_counter()
        with VideoWriter(spec) as writer:
            for frame in frames:
                writer.write(frame)
        return time.perf_counter() - start


def first_frame_s(pattern: str, width: int, height: int) -> float:
    """Wall time from nothing until the first frame is drawn, the interpreter's start included."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", _FIRST, pattern, str(width), str(height)], check=True)
    return time.perf_counter() - start


def plain_numpy_s(clip: Clip, frames: int = 3) -> float:
    """Wall time that averaging sharp sub-frames in linear light would take for the whole clip."""
    steps = 2 * SUB_FRAMES * 360 // int(clip.angle_deg)
    sharp = replace(clip, exposure_s=Fraction(0), rate=clip.rate * steps, strip="none")
    source = FrameSource(sharp)
    start = time.perf_counter()
    for n in range(frames):
        total = np.zeros((clip.height, clip.width))
        chroma = np.zeros((2, clip.height // 2, clip.width // 2))
        for k in range(SUB_FRAMES):
            frame: Planes = source.draw(steps * n + 2 * k + 1)
            total += ((frame.y - 16.0) / 219).clip(0, 1) ** 2.4
            chroma += (frame.cb, frame.cr)
        np.rint(16 + 219 * (total / SUB_FRAMES) ** (1 / 2.4)).astype(np.uint8)
        np.rint(chroma / SUB_FRAMES).astype(np.uint8)
    return (time.perf_counter() - start) / frames * clip.frames


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Benchmark of the render command.")
    parser.add_argument("--size", default="1080p")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--long", action="store_true")
    parser.add_argument("patterns", nargs="*", default=["bars", "terrain", "orbit"])
    asked = parser.parse_args()
    width, height = parse_size(asked.size)
    head = (
        "pattern",
        "command s",
        "encoder s",
        "ratio",
        "first frame s",
        "peak MB",
        "32 sub-frames s",
    )
    print("  ".join(f"{word:>14}" for word in head))
    for pattern in asked.patterns:
        clip = clips(width, height)[pattern]
        pairs = [(command_s(pattern, asked.size, 10), encoder_s(clip)) for _ in range(asked.runs)]
        ratio, whole, alone, peak = sorted((c[0] / e, c[0], e, c[1]) for c, e in pairs)[
            len(pairs) // 2
        ]
        first = sorted(first_frame_s(pattern, width, height) for _ in range(asked.runs))[
            asked.runs // 2
        ]
        figures = (whole, alone, ratio, first, peak, plain_numpy_s(clip))
        print(
            "  ".join([f"{pattern:>14}", *(f"{figure:>14.2f}" for figure in figures)]), flush=True
        )
        if asked.long:
            wall, peak = command_s(pattern, asked.size, 600)
            print(f"{pattern:>14}  ten minutes: {wall:.0f} s, peak {peak:.0f} MB", flush=True)


if __name__ == "__main__":
    main()

"""A trial of damage: files of each kind with bytes changed, or cut off, given to read and check.

python -m tests.simulation.broken_files prints, for each kind, how many were read and how many
refused, and whatever was neither: more than one line, another exit code, an error that nobody
caught, a file or a process left behind. A file over which a command hangs ends the trial with
the place at which it hung.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import os
import random
import subprocess
import sys
import tempfile
from collections import Counter
from fractions import Fraction
from pathlib import Path

from PIL import Image

from patterns.cli import main as evenhold
from patterns.clip import Clip
from patterns.frame_source import frames
from patterns.picture.planes import planes_to_rgb
from patterns.scenes.bars.motion import BarsMotion
from patterns.video.process import ffmpeg_path
from patterns.video.writer import VideoSpec, VideoWriter

__all__ = ["KINDS", "broken", "faults", "whole_files"]

VIDEOS = {
    "clip.mp4": (),
    "clip.mov": ("-c:v", "prores_ks"),
    "clip.mkv": ("-c", "copy"),
    "clip.webm": ("-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8"),
    "clip.avi": ("-c:v", "mpeg4", "-q:v", "3"),
    "clip.ts": ("-c", "copy"),
    "clip.mxf": ("-c:v", "mpeg2video", "-q:v", "3"),
    "clip.gif": (),
}
STILLS = ("clip.webp", "clip.apng", "still.jpg", "still.png", "still.tiff", "still.webp")
KINDS = (*VIDEOS, *STILLS)
HANGS_S = 90
ALLOWED = {"read": (0, 1), "check": (0, 1, 3)}


def whole_files(folder: Path) -> dict[str, bytes]:
    """A file of each kind, of the same second of bars."""
    clip = Clip(BarsMotion(Fraction(300), Fraction(90), Fraction(40)), Fraction(24),
                Fraction(1, 48), 320, 180, 12)  # fmt: skip
    drawn = list(frames(clip))
    first, *rest = [Image.fromarray(planes_to_rgb(frame)) for frame in drawn]
    made = folder / "clip.mp4"
    with VideoWriter(VideoSpec(made, 320, 180, Fraction(24))) as writer:
        for frame in drawn:
            writer.write(frame)
    for name, words in VIDEOS.items():
        if name != "clip.mp4":
            command = [ffmpeg_path(), "-v", "error", "-i", str(made), *words, str(folder / name)]
            subprocess.run(command, check=True)
    for name in STILLS:
        more = {"save_all": True, "append_images": rest, "duration": 42}
        format_name = "PNG" if name.endswith("apng") else None
        first.save(folder / name, format_name, **(more if name.startswith("clip") else {}))
    return {name: (folder / name).read_bytes() for name in KINDS}


def broken(whole: bytes, seed: int, *, cut: bool) -> bytes:
    """The file cut off somewhere, or with one to twenty stretches of bytes changed."""
    rng = random.Random(seed)
    if cut:
        return whole[: rng.randrange(len(whole))]
    data = bytearray(whole)
    for _ in range(rng.randint(1, 20)):
        # half of the stretches lie in the first part of the file, where it says what it is
        at = rng.randrange(min(len(data), rng.choice((200, 1000, len(data)))))
        stretch = min(rng.choice((1, 2, 4, 16, 64)), len(data) - at)
        fill = rng.choice((b"\0" * stretch, b"\xff" * stretch, rng.randbytes(stretch)))
        data[at : at + stretch] = fill
    return bytes(data)


def faults(word: str, path: Path) -> tuple[int, str]:
    """Exit code of a command over a file, and what is wrong with how it ended, if anything."""
    out, err = io.StringIO(), io.StringIO()
    faulthandler.dump_traceback_later(HANGS_S, exit=True, file=2)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = evenhold([word, str(path), "--quiet"])
    except Exception as error:
        return -1, f"{type(error).__name__}: {error}"
    finally:
        faulthandler.cancel_dump_traceback_later()
    said = err.getvalue().splitlines()
    if code not in ALLOWED[word]:
        return code, f"exit code {code}: {said}"
    if len(said) != (code == 1) or not all(line.startswith("evenhold: ") for line in said):
        return code, f"not one line: {said}"
    return code, ""


def left_behind(path: Path) -> str:
    """What a command left beside its file or running, in words, empty for nothing."""
    beside = sorted(found.name for found in path.parent.iterdir() if found != path)
    if sys.platform != "win32":
        with contextlib.suppress(ChildProcessError):
            os.waitpid(-1, os.WNOHANG)
            return f"a process still runs, and beside the file {beside}"
    return f"beside the file {beside}" if beside else ""


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Trial of broken files.")
    parser.add_argument("kinds", nargs="*", default=KINDS)
    parser.add_argument("--count", type=int, default=200, help="of each kind, cut and changed")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        wholes = whole_files(Path(name))
        for kind in asked.kinds:
            for cut in (False, True):
                codes: Counter[tuple[str, int]] = Counter()
                for seed in range(asked.count):
                    path = Path(name) / "broken" / f"broken{Path(kind).suffix}"
                    path.parent.mkdir(exist_ok=True)
                    path.write_bytes(broken(wholes[kind], seed, cut=cut))
                    for word in ALLOWED:
                        code, fault = faults(word, path)
                        fault = fault or left_behind(path)
                        codes[word, code] += 1
                        if fault:
                            say(f"  {kind} seed {seed} cut {cut} {word}: {fault}")
                    path.unlink()
                told = ", ".join(f"{w} {c}: {n}" for (w, c), n in sorted(codes.items()))
                say(f"{kind:12}{'cut' if cut else 'changed':9}{told}")


if __name__ == "__main__":
    main()

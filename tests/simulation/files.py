"""Trial files: clips as editors, platforms and accidents leave them, recordings, footage.

Each kind of case is drawn by a seed and comes with what is true of it. Run as a command
(`python -m tests.simulation.file_trial`) they are read and the readings judged.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction as F
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

import imageio_ffmpeg
import numpy as np
from scipy import ndimage

from patterns.clip import Clip
from patterns.frame_source import frames
from patterns.picture.arrays import FloatArray, UInt8Array
from patterns.scenes.bars.motion import BarsMotion
from patterns.strip.layout import strip_layout
from patterns.video.writer import VideoSpec, VideoWriter
from tests.reading.edits import encode, grainy, repeated_onto, shot
from tests.simulation.camera import Pose, view
from tests.simulation.conditions import draw_case
from tests.simulation.film import MOTION, Scene, film, stage
from tests.simulation.phone_file import save
from tests.simulation.screen import Backlight, play

__all__ = ["KINDS", "Truth", "make"]

Rng = np.random.Generator
Choice = TypeVar("Choice")
SIZE = (640, 360)
SECONDS = 5
FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()


@dataclass(frozen=True)
class Truth:
    """What is true of a file; None or empty where it does not matter.

    Attributes
    ----------
    kinds
        What it may be read as; footage with no claim counts as refused.
    as_made
        Whether every frame is there once, in order and at its own time.
    dropped
        Numbers left out between ones that are shown, where that is told number by number.
    repeats, mixed
        Pictures that show the frame before again, and that mix two frames.
    backward
        How often the numbers go back.
    speed
        Frames a second over those claimed.
    seconds, capture_hz
        Of a recording, true ones.
    least_error_ms
        Timing error that it has at least.
    intact
        Whether it is neither damaged nor cut off.
    """

    path: Path
    kinds: tuple[str, ...] = ("clip",)
    as_made: bool | None = False
    dropped: frozenset[int] | None = None
    repeats: int | None = 0
    mixed: int | None = 0
    backward: int | None = 0
    speed: float | None = 1.0
    seconds: float | None = None
    capture_hz: float | None = None
    least_error_ms: float = 0.0
    intact: bool = True


def _run(*words: str | Path) -> None:
    subprocess.run([FFMPEG, "-v", "error", "-y", *map(str, words)], check=True)


def _choice(rng: Rng, options: Sequence[Choice]) -> Choice:
    return options[int(rng.integers(len(options)))]


def base(folder: Path, rate: F, size: tuple[int, int] = SIZE) -> Path:
    """Clip of bars with the strip, made once."""
    path = folder / f"base-{float(rate):.3f}-{size[0]}x{size[1]}.mp4"
    if not path.exists():
        count = int(SECONDS * rate)
        clip = Clip(BarsMotion(F(150), F(160), F(80)), rate, 1 / (2 * rate), *size, count)
        with VideoWriter(VideoSpec(path, *size, rate, frames=count)) as writer:
            for frame in frames(clip):
                writer.write(frame)
    return path


def _x264(rng: Rng) -> tuple[str, ...]:
    return ("-c:v", "libx264", "-preset", "veryfast", "-crf", str(int(rng.integers(18, 30))))


def _as_made(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(25), F(30000, 1001), F(50), F(60)))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        *_x264(rng),
        "-vf",
        f"scale={_choice(rng, (640, 854, 426))}:-2",
        target,
    )
    return Truth(target, as_made=True, dropped=frozenset())


def _cut(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    at, gone = int(rng.integers(30, 60)), int(rng.integers(4, 30))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-vf",
        f"select='not(between(n,{at},{at + gone - 1}))',setpts=N/({rate})/TB",
        "-r",
        str(rate),
        *_x264(rng),
        target,
    )
    return Truth(target, dropped=frozenset(range(at, at + gone)))


def _joined(rng: Rng, folder: Path, name: str) -> Truth:
    """A later part, then an earlier one."""
    rate = _choice(rng, (F(24), F(30), F(60)))
    a, b = int(rng.integers(40, 50)), int(rng.integers(5, 30))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-i",
        base(folder, rate),
        "-filter_complex",
        f"[0]trim=start_frame={a}:end_frame={a + 45},setpts=PTS-STARTPTS[x];"
        f"[1]trim=start_frame={b}:end_frame={b + 40},setpts=PTS-STARTPTS[y];[x][y]concat",
        "-r",
        str(rate),
        *_x264(rng),
        target,
    )
    return Truth(target, backward=1, dropped=frozenset())


def _two_clips(rng: Rng, folder: Path, name: str) -> Truth:
    """A clip of 24 and one of 30 at their own frames, on a timeline of 30: 24 runs too fast."""
    target = folder / f"{name}.mp4"
    k = int(rng.integers(40, 70))
    _run(
        "-i",
        base(folder, F(30)),
        "-i",
        base(folder, F(24)),
        "-filter_complex",
        f"[0]trim=start_frame=0:end_frame={k},setpts=PTS-STARTPTS,settb=1/30,fps=30[x];"
        f"[1]trim=start_frame=20:end_frame=60,setpts=N/30/TB,settb=1/30,fps=30[y];[x][y]concat",
        "-r",
        "30",
        *_x264(rng),
        target,
    )
    return Truth(target, backward=None, dropped=frozenset())


def _trim_copy(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    source = folder / f"{name}-b.mp4"
    target = folder / f"{name}.{_choice(rng, ('mp4', 'mov'))}"
    _run(
        "-i",
        base(folder, rate),
        "-c:v",
        "libx264",
        "-preset",
        "veryfast",
        "-g",
        "48",
        "-bf",
        "2",
        source,
    )
    _run("-ss", f"{rng.uniform(0.5, 1.6):.3f}", "-i", source, "-t", "2", "-c", "copy", target)
    # the last pictures in decoding order may lack some that come before them
    return Truth(target, as_made=None, dropped=None)


def _truncated(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    end = _choice(rng, ("mkv", "ts", "mp4"))
    whole = folder / f"{name}-w.{end}"
    extra = ("-movflags", "+faststart") if end == "mp4" else ()
    _run("-i", base(folder, rate), *_x264(rng), *extra, whole)
    data = whole.read_bytes()
    target = folder / f"{name}.{end}"
    target.write_bytes(data[: int(len(data) * rng.uniform(0.4, 0.8))])
    return Truth(target, dropped=None, intact=False)


def _gif(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30)))
    target = folder / f"{name}.gif"
    _run("-t", "2", "-i", base(folder, rate), "-vf", "format=gray", target)
    return Truth(target, dropped=frozenset(), least_error_ms=2.0)


def _conform(rng: Rng, folder: Path, name: str) -> Truth:
    rate, to = _choice(rng, ((F(24), F(25)), (F(25), F(24)), (F(60), F(24)), (F(30), F(24))))
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", f"setpts=N/({to})/TB", "-r", str(to), *_x264(rng), target)
    return Truth(target, dropped=frozenset(), speed=float(to / rate))


def _conform_cut(rng: Rng, folder: Path, name: str) -> Truth:
    rate, to = _choice(rng, ((F(24), F(25)), (F(25), F(24)), (F(60), F(24)), (F(30), F(24))))
    at, gone = int(rng.integers(30, 60)), int(rng.integers(4, 30))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-vf",
        f"select='not(between(n,{at},{at + gone - 1}))',setpts=N/({to})/TB",
        "-r",
        str(to),
        *_x264(rng),
        target,
    )
    return Truth(target, dropped=frozenset(range(at, at + gone)), speed=float(to / rate))


def _converted(rng: Rng, folder: Path, name: str) -> Truth:
    rate, to = _choice(rng, ((F(24), F(30)), (F(25), F(60)), (F(24), F(60)), (F(24), F(25))))
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", f"fps={to}", *_x264(rng), target)
    return Truth(target, dropped=frozenset(), repeats=None)


def _thinned(rng: Rng, folder: Path, name: str) -> Truth:
    rate, to = _choice(rng, ((F(30), F(24)), (F(60), F(24)), (F(60), F(30)), (F(25), F(24))))
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", f"fps={to}", *_x264(rng), target)
    return Truth(target, dropped=None)


def _mixed(rng: Rng, folder: Path, name: str) -> Truth:
    rate, to = _choice(rng, ((F(24), F(30)), (F(25), F(60)), (F(24), F(60))))
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", f"framerate=fps={to}", *_x264(rng), target)
    return Truth(target, dropped=frozenset(), repeats=None, mixed=None)


def _looped(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    length, times = int(rng.integers(18, 50)), int(rng.integers(3, 6))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-vf",
        f"trim=end_frame={length},loop={times - 1}:{length}:0,setpts=N/({rate})/TB",
        "-r",
        str(rate),
        *_x264(rng),
        target,
    )
    return Truth(target, dropped=frozenset(), backward=times - 1)


def _reversed(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30)))
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", "reverse", "-r", str(rate), *_x264(rng), target)
    return Truth(target, dropped=frozenset(), backward=None, speed=None)


def _freeze(rng: Rng, folder: Path, name: str) -> Truth:
    """A still stretch, as an export that stalled."""
    rate = _choice(rng, (F(24), F(30), F(60)))
    at, more = int(rng.integers(30, 60)), int(rng.integers(3, 12))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-vf",
        f"loop={more}:1:{at},setpts=N/({rate})/TB",
        "-r",
        str(rate),
        *_x264(rng),
        target,
    )
    return Truth(target, dropped=frozenset(), repeats=1)


def _corrupt(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    whole = folder / f"{name}-w.mp4"
    _run("-i", base(folder, rate), *_x264(rng), "-g", str(int(rng.integers(12, 120))), whole)
    data = bytearray(whole.read_bytes())
    start = data.find(b"mdat") + 2000
    for _ in range(int(rng.integers(1, 60))):
        data[int(rng.integers(start, len(data) - 4000))] ^= int(rng.integers(1, 255))
    target = folder / f"{name}.mp4"
    target.write_bytes(data)
    return Truth(target, dropped=frozenset(), as_made=None, intact=False)


def _lossy(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    target = folder / f"{name}.mp4"
    _run(
        "-i",
        base(folder, rate),
        "-vf",
        f"scale={_choice(rng, (320, 426, 480, 640))}:-2",
        "-c:v",
        _choice(rng, ("libx264", "mpeg4")),
        *_choice(rng, (("-b:v", "40k"), ("-b:v", "80k"), ("-b:v", "150k"))),
        target,
    )
    return Truth(target, dropped=None, repeats=None, mixed=None, as_made=None)


def _inset(rng: Rng, folder: Path, name: str) -> Truth:
    """Picture in picture, over a moving one."""
    rate = _choice(rng, (F(24), F(30)))
    back = shot("terrain", rate, 60)
    behind = encode(
        [np.kron(p, np.ones((4, 4), np.float32)) for p in back], rate, folder / f"{name}-back.mp4"
    )
    wide = int(rng.integers(480, 800)) // 2 * 2
    target = folder / f"{name}.mp4"
    x, y = int(rng.integers(0, 1280 - wide)), int(rng.integers(0, 300))
    _run(
        "-i",
        behind,
        "-i",
        base(folder, rate),
        "-filter_complex",
        f"[1]scale={wide}:-2[s];[0][s]overlay={x}:{y}:shortest=1",
        *_x264(rng),
        target,
    )
    return Truth(target, as_made=True, dropped=frozenset())


def _cropped(rng: Rng, folder: Path, name: str) -> Truth:
    """Cut off at a side, in the strip or through it: what is left is read, refused or footage."""
    rate = _choice(rng, (F(24), F(30), F(60)))
    width, height = SIZE
    across = bool(rng.integers(2))
    share = float(rng.uniform(0.02, 0.7) if across else rng.uniform(0.01, 0.12))
    cut = round(share * (width if across else height)) // 2 * 2
    left = cut if across and rng.integers(2) else 0
    size = f"{width - cut}:{height}" if across else f"{width}:{height - cut}"
    target = folder / f"{name}.mp4"
    _run("-i", base(folder, rate), "-vf", f"crop={size}:{left}:0", *_x264(rng), target)
    kinds = ("clip", "recording", "footage")
    return Truth(target, kinds, as_made=None, dropped=frozenset())


def _squeezed(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30)))
    target = folder / f"{name}.mp4"
    size = _choice(rng, ("480:480", "854:300", "360:640", "960:400", "426:426"))
    _run("-i", base(folder, rate), "-vf", f"scale={size}", *_x264(rng), target)
    return Truth(target, as_made=True, dropped=frozenset())


def _transposed(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(30), F(60)))
    target = folder / f"{name}.mp4"
    way = _choice(
        rng,
        (
            "transpose=0",
            "transpose=1",
            "transpose=2",
            "transpose=3",
            "hflip",
            "vflip",
            "hflip,vflip",
        ),
    )
    _run("-i", base(folder, rate, (1280, 720)), "-vf", way, *_x264(rng), target)
    return Truth(target, as_made=True, dropped=frozenset())


def _coarse_clock(rng: Rng, folder: Path, name: str) -> Truth:
    rate = _choice(rng, (F(24), F(24000, 1001), F(60), F(60000, 1001), F(30000, 1001)))
    target = folder / f"{name}.mkv"
    _run("-t", f"{rng.uniform(2, 4.5):.2f}", "-i", base(folder, rate), *_x264(rng), target)
    return Truth(target, as_made=True, dropped=frozenset())


def _filled(
    rng: Rng,
    folder: Path,
    name: str,
    *,
    rate: F | None = None,
    capture: int | None = None,
    light: str = "even",
    store: int | None = None,
    tag: bool = False,
) -> Truth:
    """A recording in which the clip fills the picture, seen nearly straight."""
    rate = rate or _choice(rng, (F(24), F(30), F(60)))
    capture = capture or _choice(rng, (120, 240))
    display = 60
    case = draw_case("moderate", rate, display, capture, int(rng.integers(1 << 30)))
    clip = Clip(MOTION, rate, 1 / (2 * rate), 1280, 720, 65536)
    band = strip_layout(1280, 720, rate).band_height
    rows = (720 - band, 720)
    pose = Pose(
        float(rng.uniform(0, 2)),
        float(rng.uniform(0, 360)),
        float(rng.uniform(-0.4, 0.4)),
        float(rng.uniform(0.97, 1.04)) * 960,
    )
    screen = case.screen
    veil = replace(case.veil, ripple=0.0)
    if light == "pulsed":
        screen = replace(
            screen, backlight=Backlight(display, float(rng.uniform(0.3, 0.5)), float(rng.random()))
        )
    if light == "glare":
        veil = replace(veil, flat=float(rng.uniform(0.15, 0.35)), spot=float(rng.uniform(0.3, 0.8)))
    case = replace(case, upright=False, pose=pose, screen=screen, veil=veil)
    count = 200 if capture > 100 else 120
    played = play(
        rate,
        F(display),
        count / capture + 0.3,
        rng,
        first=int(rng.integers(0, 6000)),
        drops_per_s=0.0,
        stalls_per_s=0.0,
    )
    matrix = view(pose, (1280, 720), rows)
    shift = np.eye(3)
    shift[:2, 2] = (480 + rng.uniform(-6, 6), 510 + rng.uniform(-6, 3))
    corners = np.array([(0, rows[0]), (1280, rows[0]), (1280, 720), (0, 720)], float)
    seen = np.c_[corners, np.ones(4)] @ (shift @ matrix).T
    scene = Scene(
        case, clip, played, shift @ matrix, (540, 960), rows, 0, seen[:, :2] / seen[:, 2:]
    )
    target = folder / f"{name}.mp4"
    _save(
        (luma for luma, _ in film(scene, count)),
        target,
        store or capture,
        case.crf,
        tag and capture,
    )
    return Truth(
        target,
        ("recording",),
        dropped=frozenset(),
        repeats=None,
        mixed=None,
        speed=None,
        seconds=(count - 1) / capture,
        capture_hz=capture,
    )


def _save(pictures: Iterable[UInt8Array], path: Path, rate: int, crf: int, tag: int | None) -> None:
    words = [
        FFMPEG,
        "-v",
        "error",
        "-y",
        "-f",
        "rawvideo",
        "-pix_fmt",
        "gray",
        "-s",
        "960x540",
        "-r",
        str(rate),
        "-i",
        "-",
        "-vf",
        "scale=in_range=tv:out_range=tv,format=yuv420p",
        "-c:v",
        "libx264",
        "-preset",
        "veryfast",
        "-crf",
        str(crf),
    ]
    if tag:
        words += [
            "-movflags",
            "use_metadata_tags",
            "-metadata",
            f"com.android.capture.fps={float(tag):.6f}",
        ]
    subprocess.run([*words, str(path)], input=b"".join(p.tobytes() for p in pictures), check=True)


def _filmed(rng: Rng, folder: Path, name: str) -> Truth:
    """An ordinary recording: tilted, a part of the picture."""
    rate, capture = _choice(rng, (F(24), F(30), F(60))), 240
    case = draw_case("moderate", rate, 60, capture, int(rng.integers(1 << 30)))
    scene = stage(case, 160, drops_per_s=0, stalls_per_s=0)
    target = folder / f"{name}.mp4"
    pictures = [luma for luma, _ in film(scene, 160)]

    save(pictures, target, capture, case.crf)
    return Truth(
        target,
        ("recording",),
        dropped=frozenset(),
        repeats=None,
        mixed=None,
        speed=None,
        seconds=159 / capture,
        capture_hz=capture,
    )


def _footage(rng: Rng, folder: Path, name: str, *, repeats: bool = False) -> Truth:
    """Footage that is panned at an uneven pace, cut, and grainy; as shot."""
    source = _scenery(int(rng.integers(1 << 30)))
    count, place, pictures = 120, 0.0, []
    pace = np.interp(
        np.arange(count), np.sort(rng.integers(0, count, 6)), rng.choice([0, 0.2, 1, 3, 8, 14], 6)
    )
    cuts = set(rng.integers(20, 110, 3).tolist())
    for n in range(count):
        place = rng.uniform(0, 800) if n in cuts else place + pace[n]
        pictures.append(_window(source, place).astype(np.float32))
    if repeats:
        pictures, _ = repeated_onto(pictures, F(24), F(30))
    # a move that stands still for a single picture has a repeat in it
    stands = bool(((pace[1:-1] == 0) & (pace[:-2] > 0) & (pace[2:] > 0)).any())
    grain = float(_choice(rng, (0.0, 1.0, 2.5)))
    target = encode(
        grainy(pictures, grain, int(rng.integers(1 << 30))),
        F(30) if repeats else F(25),
        folder / f"{name}.mp4",
        int(rng.integers(18, 32)),
    )
    return Truth(
        target, ("footage",), dropped=frozenset(), repeats=None if repeats or stands else 0
    )


@lru_cache(maxsize=4)
def _scenery(seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal((256, 1024))
    total = sum(ndimage.gaussian_filter(noise, s, mode="wrap") * s for s in (0.7, 2, 6, 20))
    return np.asarray(120 + 40 * total / total.std(), np.float64)


def _window(scenery: FloatArray, place: float) -> FloatArray:
    """180 x 320 pixels from column `place` on, linear between columns, going round."""
    at = (np.arange(320) + place) % (scenery.shape[1] - 1)
    left = at.astype(int)
    part = at - left
    return np.asarray(scenery[:180, left] * (1 - part) + scenery[:180, left + 1] * part)


def _footage_repeats(rng: Rng, folder: Path, name: str) -> Truth:
    return _footage(rng, folder, name, repeats=True)


KINDS: dict[str, Callable[[Rng, Path, str], Truth]] = {
    "as made": _as_made,
    "cut": _cut,
    "joined": _joined,
    "two clips": _two_clips,
    "trimmed by copy": _trim_copy,
    "truncated": _truncated,
    "gif": _gif,
    "conformed": _conform,
    "conformed and cut": _conform_cut,
    "converted": _converted,
    "thinned": _thinned,
    "mixed": _mixed,
    "looped": _looped,
    "reversed": _reversed,
    "frozen": _freeze,
    "corrupt": _corrupt,
    "lossy": _lossy,
    "inset": _inset,
    "cropped": _cropped,
    "squeezed": _squeezed,
    "transposed": _transposed,
    "coarse clock": _coarse_clock,
    "filled 60 at 120": lambda r, f, n: _filled(r, f, n, rate=F(60), capture=120),
    "filled": _filled,
    "filled at 60": lambda r, f, n: _filled(r, f, n, capture=60),
    "slow motion, tag": lambda r, f, n: _filled(r, f, n, capture=240, store=30, tag=True),
    "slow motion": lambda r, f, n: _filled(r, f, n, capture=240, store=30),
    "pulsed light": lambda r, f, n: _filled(r, f, n, light="pulsed"),
    "glare": lambda r, f, n: _filled(r, f, n, light="glare"),
    "filmed": _filmed,
    "footage": _footage,
    "footage repeated": _footage_repeats,
}


def make(kind: str, seed: int, folder: Path) -> Truth:
    """File of a kind; made anew (the draw must run), its slow parts kept in the folder."""
    rng = np.random.default_rng([seed, *kind.encode()])
    return KINDS[kind](rng, folder, f"{kind.replace(' ', '-').replace(',', '')}-{seed}")

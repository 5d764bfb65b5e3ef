"""Files: animations and stills through Pillow, videos through the decoder."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from patterns.errors import InputError, RequestError
from patterns.picture.arrays import UInt8Array
from patterns.safety.file_pictures import marked_picture, write_marked
from patterns.safety.files import check_file
from patterns.video.writer import VideoSpec, VideoWriter
from tests.reading.test_clip_file import damaged
from tests.safety.sequences import BT1702, BT1702_RED, HEIGHT, WIDTH, flash, flat, patch
from tests.video.moving import moving_texture


def write_video(
    path: Path, pictures: list[UInt8Array], rate: Fraction, size: tuple[int, int] = (WIDTH, HEIGHT)
) -> Path:
    """Write an H.264 file with PyAV, which is no part of the project."""
    with av.open(str(path), "w") as container:
        options = {"crf": "12", "preset": "veryfast"}
        stream = container.add_stream("libx264", rate=rate, options=options)
        stream.width, stream.height, stream.pix_fmt = *size, "yuv420p"
        for picture in pictures:
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def write_animation(path: Path, pictures: list[UInt8Array], stays_ms: int) -> Path:
    """Write GIF, APNG or WebP."""
    first, *rest = [Image.fromarray(p) for p in pictures]
    options = {"lossless": True} if path.suffix == ".webp" else {"disposal": 1}
    first.save(path, save_all=True, append_images=rest, duration=stays_ms, loop=0, **options)
    return path


@pytest.mark.parametrize(
    ("rate", "per_s", "fails"),
    [(Fraction(24), 4, True), (Fraction(30000, 1001), 3, False), (Fraction(30000, 1001), 4, True)],
)
def test_a_video_at_its_own_times(tmp_path: Path, rate: Fraction, per_s: int, fails: bool) -> None:
    lit = patch(0.6, 0.6, 235)
    count = round(6 * rate)
    # a light is on for the first half of each 1/3 or 1/4 s (a little longer, so that 3 Hz fits)
    turns = [n / rate * per_s * Fraction(99, 100) % 1 for n in range(count)]
    pictures = [lit if turn < Fraction(1, 2) else flat(0) for turn in turns]
    result = check_file(write_video(tmp_path / "flash.mp4", pictures, rate))
    finding = flash(result.report, BT1702)
    assert finding.exceeds == fails
    assert result.report.frames == count
    assert result.report.duration_s == pytest.approx(count / rate, abs=1e-3)
    if fails:
        assert finding.share == pytest.approx(0.36, abs=0.01)
        assert result.worst is not None


@pytest.mark.parametrize("suffix", [".gif", ".png", ".webp"])
@pytest.mark.parametrize(("stays_ms", "fails"), [(100, True), (200, False)])
def test_an_animation_is_looked_at_as_a_loop(
    tmp_path: Path, suffix: str, stays_ms: int, fails: bool
) -> None:
    """Two frames of 100 ms are 5 flashes a second, of 200 ms 2.5, once they loop (WCAG 2.2)."""
    pictures = [flat((255, 0, 0)), flat((255, 255, 255))]
    result = check_file(write_animation(tmp_path / f"two{suffix}", pictures, stays_ms))
    assert flash(result.report, BT1702).exceeds == fails
    assert flash(result.report, BT1702_RED).exceeds == fails
    assert any("loop" in note for note in result.report.notes)


def test_frames_without_a_duration_stay_for_100_ms(tmp_path: Path) -> None:
    """Common practice of browsers, no source."""
    result = check_file(write_animation(tmp_path / "fast.gif", [flat(0), flat(255)], 0))
    assert flash(result.report, BT1702).flashes_per_s == 5


def test_stripes_that_stay_are_seen_for_as_long_as_they_stay(tmp_path: Path) -> None:
    """Epilepsy Foundation consensus: shown for 0.5 s. A picture of 2 s, then black for 0.1 s."""
    stripes = flat(0)
    stripes[:, np.arange(WIDTH) % 30 < 15] = 255  # 16 pairs
    pictures = [Image.fromarray(p) for p in (stripes, flat(0))]
    path = tmp_path / "slides.gif"
    pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=[2000, 100], loop=0)
    report = check_file(path).report
    assert "Epilepsy Foundation patterns" in report.exceeded
    assert "ITU-R BT.1702 regular patterns" in report.exceeded


def test_a_still_has_stripes_only(tmp_path: Path) -> None:
    picture = flat(0)
    picture[:, np.arange(WIDTH) // 20 % 2 == 0] = 255
    Image.fromarray(picture).save(tmp_path / "still.png")
    report = check_file(tmp_path / "still.png").report
    assert report.method == "still"
    assert not report.flashes
    assert report.exceeded == ("ITU-R BT.1702 regular patterns", "Epilepsy Foundation patterns")


def test_a_short_video_is_looked_at_as_a_loop(tmp_path: Path) -> None:
    """0.4 s that end dark and begin light: four flashes a second only in a loop."""
    pictures = [flat(235 if n % 6 < 3 else 0) for n in range(12)]
    result = check_file(write_video(tmp_path / "short.mp4", pictures, Fraction(24)))
    assert flash(result.report, BT1702).exceeds
    assert any("loop" in note for note in result.report.notes)


def test_a_long_video_is_looked_at_as_a_loop_if_asked(tmp_path: Path) -> None:
    pictures = [flat(0)] * 60
    for n in (*range(0, 6, 2), *range(52, 60, 2)):
        pictures[n] = flat(235)  # three flashes at one end, four at the other
    path = write_video(tmp_path / "ends.mp4", pictures, Fraction(12))
    once, looped = check_file(path), check_file(path, loop=True)
    assert flash(looped.report, BT1702).flashes_per_s > flash(once.report, BT1702).flashes_per_s


def test_pictures_that_are_due_at_once_are_refused(tmp_path: Path) -> None:
    """What is seen then is not known; a frame without a time of its own is nobody's wrong word."""
    source = write_video(tmp_path / "whole.mp4", [flat(n) for n in range(10)], Fraction(25))
    with av.open(str(source)) as whole, av.open(str(tmp_path / "odd.mkv"), "w") as odd:
        stream = odd.add_stream_from_template(whole.streams.video[0])
        for packet in whole.demux(whole.streams.video[0]):
            if packet.pts is not None and packet.dts is not None:
                if packet.pts == 5 * (packet.duration or 0):
                    packet.pts -= packet.duration or 0
                packet.stream = stream
                odd.mux(packet)
    with pytest.raises(InputError, match="two pictures due at once"):
        check_file(tmp_path / "odd.mkv")


def test_bad_files_are_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "text.mp4").write_text("no video")
    (tmp_path / "empty.gif").touch()
    Image.fromarray(flat(3)).save(tmp_path / "whole.png")
    data = (tmp_path / "whole.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(data[: len(data) // 2])
    for name in ("text.mp4", "empty.gif", "cut.png", "missing.mp4"):
        with pytest.raises(InputError) as caught:
            check_file(tmp_path / name)
        assert "\n" not in str(caught.value)


def test_a_damaged_video_is_told_and_judged_alike_each_time(tmp_path: Path) -> None:
    path = tmp_path / "whole.mp4"
    with VideoWriter(VideoSpec(path, 320, 192, Fraction(30))) as writer:
        for frame in moving_texture(60, 320, 192):
            writer.write(frame)
    hurt = damaged(path, eighths=7, step=path.stat().st_size // 40)
    reports = [check_file(hurt).report for _ in range(4)]
    assert "damaged" in reports[0].notes[0]
    assert reports == reports[:1] * 4


def test_the_worst_moment_is_marked(tmp_path: Path) -> None:
    pictures = [patch(0.6, 0.6, 235, 40) if n % 6 < 3 else flat(40) for n in range(48)]
    worst = check_file(write_video(tmp_path / "v.mp4", pictures, Fraction(24))).worst
    assert worst is not None
    marked = np.asarray(marked_picture(worst))
    assert marked.shape == (540, 960, 3)
    assert (marked[1, 100] == (255, 0, 200)).all()
    assert marked[100, 100].min() == marked[100, 100].max()
    assert marked[500, 900].max() < 40  # outside it is dimmed
    write_marked(worst, tmp_path / "w.png", force=False)
    with Image.open(tmp_path / "w.png") as written:
        assert written.size == (960, 540)
    with pytest.raises(RequestError, match="exists"):
        write_marked(worst, tmp_path / "w.png", force=False)
    with pytest.raises(RequestError, match=r"\.png"):
        write_marked(worst, tmp_path / "w.jpg", force=False)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["v.mp4", "w.png"]

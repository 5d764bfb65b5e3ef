"""From callbacks to a reading: holds, what was not observed, and what was dropped."""

from __future__ import annotations

import contextlib
import json
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.reading.stored_reading import from_json
from patterns.timing.cadence import Display, cadence
from patterns.web.browser_reading import browser_reading
from patterns.web.observation import parse_observation
from tests.web.serving import observation


def calls(rate: Fraction, hz: Fraction, numbers: range) -> list[list[float]]:
    """Callbacks of a browser that presents as the arithmetic says: ceil(n R/F)."""
    ratio = hz / rate
    shown = [float(1000 * (-(-n * ratio // 1)) / hz) for n in numbers]
    return [[float(n / rate), round(ms, 1), n + 5] for n, ms in zip(numbers, shown, strict=True)]


def reading(rate: Fraction, hz: Fraction, callbacks: list[Any], frames: int = 240) -> Any:
    refresh = observation()["refresh"] | {"interval_ms": float(1000 / hz)}
    body = json.dumps(observation(callbacks=callbacks, refresh=refresh)).encode()
    record = {"rate_exact": str(rate), "frames": frames, "identity": 77}
    return browser_reading(parse_observation(body), record)


GRID = [
    (Fraction(rate), Fraction(hz))
    for rate in (24, 25, 30, 50, Fraction(24000, 1001), 60)
    for hz in (50, 60, 72, 90, 120, 144)
    if rate <= hz
]


@pytest.mark.parametrize(("rate", "hz"), GRID)
def test_holds_are_those_of_the_arithmetic(rate: Fraction, hz: Fraction) -> None:
    """Timestamps rounded to 0.1 ms, as browsers do; holds by the definition ceil(n R/F)."""
    found = reading(rate, hz, calls(rate, hz, range(4, 200)))
    expected = cadence(rate, Display.fixed(hz)).first_holds(200)
    assert [h["refreshes"] for h in found["holds"]] == list(expected[4:199])
    assert found["refresh_hz"] == float(hz)
    assert not found["dropped"]
    assert found["timing_error_rms_ms"] == pytest.approx(
        found["expected"]["timing_error_rms_ms"], abs=0.01
    )


# As phones send it: WebKit under any name, and a browser that only mentions it.
WEBKIT = "Mozilla/5.0 (iPhone) AppleWebKit/605.1.15 (KHTML, like Gecko) CriOS/130.0 Mobile/15E148"
OTHER = "Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/130.0"


@pytest.mark.parametrize(("agent", "claims"), [(WEBKIT, False), (OTHER, True)])
def test_where_page_updates_are_no_refreshes_no_cadence_is_claimed(
    agent: str, claims: bool
) -> None:
    callbacks = calls(Fraction(24), Fraction(60), range(4, 100))
    device = observation()["device"] | {"agent": agent}
    body = json.dumps(observation(callbacks=callbacks, device=device)).encode()
    record = {"rate_exact": "24", "frames": 240, "identity": 77}
    found = browser_reading(parse_observation(body), record)
    assert (found["pattern"] == [3, 2]) is claims
    assert ("3:2" in found["verdict"]) is claims
    assert ("film the screen" in found["verdict"]) is not claims
    from_json(found, source="test")


def test_the_reading_is_one_that_others_read() -> None:
    found = reading(Fraction(24), Fraction(60), calls(Fraction(24), Fraction(60), range(100)))
    again = from_json(json.loads(json.dumps(found)), source="test")
    assert (again.kind, again.pattern, again.clip) == ("browser", (3, 2), 77)
    assert "3:2 at 60 Hz, as 24 on 60 must be" in found["verdict"]
    assert "What the panel showed may differ" in found["warnings"][0]
    assert found["details"]["device"]["label"] == "Dam wall tablet"
    assert found["details"]["drop_counters"] == {
        "by_media_time": 0,
        "by_browser": 0,
        "browser_total": 52,
    }


def test_a_missed_callback_is_not_a_long_hold() -> None:
    """60 on 60 Hz, every third callback missed: all was presented, so nothing is held longer."""
    given = calls(Fraction(60), Fraction(60), range(4, 200))
    kept = [call for i, call in enumerate(given) if i % 3]
    found = reading(Fraction(60), Fraction(60), kept)
    assert {h["refreshes"] for h in found["holds"]} == {1}
    assert not found["dropped"]
    assert len(found["unseen"]) == len(given) - len(kept) - 2  # the first and the last lie outside
    assert sum(found["unread"].values()) == found["pictures"] - found["read"]


def test_a_dropped_frame_is_named() -> None:
    given = calls(Fraction(24), Fraction(60), range(4, 100))
    later = [[s, ms, p - (s > 50 / 24 - 0.01)] for s, ms, p in given if round(s * 24) != 50]
    found = reading(Fraction(24), Fraction(60), later)
    assert found["dropped"] == [50]
    assert found["drops_beyond_cadence"] == 1
    assert "1 frame dropped" in found["verdict"]


def test_a_drop_among_missed_callbacks_is_counted_but_not_named() -> None:
    """Frames 50 and 51 have no callback, and only one frame was presented between."""
    given = calls(Fraction(24), Fraction(60), range(4, 100))
    later = [[s, ms, p - (s > 51 / 24)] for s, ms, p in given if round(s * 24) not in (50, 51)]
    found = reading(Fraction(24), Fraction(60), later)
    assert not found["dropped"]
    assert found["unseen"] == [50, 51]
    assert found["details"]["drop_counters"]["by_media_time"] == 1


def test_every_second_frame_lost_on_a_slow_screen() -> None:
    """60 on 30 Hz: 30 a second must be lost, and none more."""
    given = calls(Fraction(60), Fraction(60), range(4, 200))[::2]
    halved = [[s, ms, i] for i, (s, ms, _) in enumerate(given)]
    found = reading(Fraction(60), Fraction(30), halved)
    assert len(found["dropped"]) == 97
    assert found["drops_beyond_cadence"] <= 1
    assert {h["refreshes"] for h in found["holds"]} == {1}


def test_a_loop_begins_a_passage_of_its_own() -> None:
    """The first callbacks after the start, late as players are, are left out."""
    first = calls(Fraction(24), Fraction(60), range(4, 72))
    second = [[s, ms + 3033.3, p + 80] for s, ms, p in calls(Fraction(24), Fraction(60), range(72))]
    found = reading(Fraction(24), Fraction(60), first + second, frames=72)
    assert found["details"]["passes"] == 2
    assert {h["refreshes"] for h in found["holds"]} == {2, 3}
    assert not found["dropped"]
    assert not found["out_of_order"]
    assert found["timing_error_span_ms"] == pytest.approx(1000 / 120, abs=0.01)


def test_times_off_the_refresh_are_said() -> None:
    given = calls(Fraction(24), Fraction(60), range(4, 100))
    shaky = [[s, ms + (7 if i % 2 else 0), p] for i, (s, ms, p) in enumerate(given)]
    found = reading(Fraction(24), Fraction(60), shaky)
    assert any("no whole number of refreshes" in text for text in found["warnings"])


@pytest.mark.parametrize(
    ("state", "words"), [("power-saving", "saves power"), ("changing", "refresh changed")]
)
def test_the_state_of_the_refresh_is_said(state: str, words: str) -> None:
    refresh = observation()["refresh"] | {"state": state}
    seen = parse_observation(json.dumps(observation(refresh=refresh)).encode())
    found = browser_reading(seen, {"rate_exact": "24", "frames": 72, "identity": 1})
    assert any(words in text for text in found["warnings"])


@pytest.mark.parametrize("frames", [240, 1 << 16])
def test_a_post_cannot_grow_in_the_server(frames: int) -> None:
    """Jumps from end to end of a long clip would list hundreds of millions of numbers."""
    far = (frames - 1) / 24
    jumps = [[far * (i % 2), 100.0 * i, i] for i in range(10_000)]
    if frames > 50_000:
        with pytest.raises(RequestError, match="too many frames open"):
            reading(Fraction(24), Fraction(60), jumps, frames)
    beyond = [[3600.0 * (i % 2), 100.0 * i, 3 * i] for i in range(10_000)]
    assert len(json.dumps(reading(Fraction(24), Fraction(60), beyond, 240))) < 10_000


PLAUSIBLE = st.lists(
    st.tuples(st.floats(0, 12), st.floats(0, 20_000), st.integers(1, 4)), min_size=2, max_size=60
)
ODD = st.lists(
    st.tuples(st.floats(0, 86_400), st.floats(0, 8e10), st.integers(1, 10**6)),
    min_size=2,
    max_size=60,
)
ON_FRAMES = st.lists(
    st.tuples(st.integers(0, 239).map(lambda n: n / 24), st.floats(0, 9e3), st.integers(1, 2)),
    min_size=2,
    max_size=120,
)


@given(PLAUSIBLE | ODD | ON_FRAMES, st.sampled_from([1.0, 4.2, 16.667, 33.4, 1000.0]))
def test_whatever_is_sent_in_form_gives_a_reading_or_a_refusal(
    told: list[tuple[float, float, int]], interval_ms: float
) -> None:
    refresh = observation()["refresh"] | {"interval_ms": interval_ms}
    presented = 0
    callbacks = []
    for media_s, shown_ms, more in told:
        presented += more
        callbacks.append([media_s, shown_ms, presented])
    body = json.dumps(observation(callbacks=callbacks, refresh=refresh)).encode()
    record = {"rate_exact": "24", "frames": 240, "identity": 77}
    with contextlib.suppress(RequestError):
        found = browser_reading(parse_observation(body), record)
        assert from_json(json.loads(json.dumps(found, allow_nan=False)), source="test").verdict


def test_too_little_is_no_base_for_a_judgement() -> None:
    found = reading(Fraction(24), Fraction(60), calls(Fraction(24), Fraction(60), range(4, 9)))
    assert found["verdict"].startswith("too short")
    assert found["pattern"] is None
    assert found["even"] is None

"""From callbacks to a reading: holds, what was not observed, and what was dropped."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest

from patterns.measure.reading import from_json
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


def test_too_little_is_no_base_for_a_judgement() -> None:
    found = reading(Fraction(24), Fraction(60), calls(Fraction(24), Fraction(60), range(4, 9)))
    assert found["verdict"].startswith("too short")
    assert found["pattern"] is None
    assert found["even"] is None

"""The JSON of a reading: its keys are pinned, and it comes back as it went."""

from __future__ import annotations

import json
from fractions import Fraction as F

import pytest

from patterns.errors import InputError
from patterns.reading.reading import SCHEMA, to_json
from patterns.reading.reading_text import reading_csv, reading_text
from patterns.reading.recording import judge_recording
from patterns.reading.stored_reading import from_json
from tests.reading.screen import Screen, film, play

KEYS = [
    "schema", "kind", "file", "verdict", "explanation", "warnings", "rate", "rate_exact", "clip",
    "refresh_hz", "refresh_from", "refresh_candidates", "capture_hz", "pictures", "read", "unread",
    "seconds", "frames_seen", "pattern", "even", "timing_error_rms_ms", "timing_error_span_ms",
    "inter_arrival_ms", "speed", "expected", "dropped", "drops_beyond_cadence", "repeated",
    "blended", "out_of_order", "unseen", "holds", "details", "footage",
]  # fmt: skip
SCREEN = Screen(F(24000, 1001), F(60), 4, lost=frozenset({40}))
READING = judge_recording(film(play(SCREEN), SCREEN, 240, seed=1), file="tablet.mov")


def test_the_keys_are_these() -> None:
    shown = to_json(READING)
    assert list(shown) == KEYS
    assert shown["schema"] == SCHEMA == "evenhold/reading 1"
    assert list(shown["holds"][0]) == ["number", "start_s", "hold_s", "refreshes"]
    assert shown["rate_exact"] == "24000/1001"
    assert shown["dropped"] == [40]


def test_a_reading_comes_back_as_it_went() -> None:
    text = json.dumps(to_json(READING))
    back = from_json(json.loads(text), source="x")
    again = to_json(back)
    for key in KEYS:
        if key == "inter_arrival_ms":
            assert again[key] == pytest.approx(json.loads(text)[key], abs=0.002)
        elif key != "expected":
            assert again[key] == json.loads(text)[key], key


@pytest.mark.parametrize(
    "data",
    [
        {},
        [],
        7,
        {"schema": "evenhold/clip 1"},
        {"schema": SCHEMA},
        {**to_json(READING), "holds": [{}]},
        {**to_json(READING), "kind": "song"},
        {**to_json(READING), "rate_exact": "1/0"},
        {**to_json(READING), "unread": 3},
    ],
)
def test_what_is_no_reading_is_refused_in_one_line(data: object) -> None:
    with pytest.raises(InputError, match="reading") as caught:
        from_json(data, source="tablet.json")
    assert "\n" not in str(caught.value)


def test_csv_has_a_line_for_each_hold() -> None:
    lines = reading_csv(READING).splitlines()
    assert lines[0] == "number,start_s,start_exact,hold_s,refreshes"
    assert len(lines) == 1 + len(READING.holds)
    first = READING.holds[0]
    assert lines[1].startswith(f"{first.number},{first.start_s:.6f},,")


def test_text_fits_a_terminal_and_starts_with_the_verdict() -> None:
    lines = reading_text(READING).splitlines()
    assert max(map(len, lines)) < 80
    assert lines[0].startswith("tablet.mov: held 3:2 at 59.94 or 60 Hz, as 23.976 on 60 must be; 1")

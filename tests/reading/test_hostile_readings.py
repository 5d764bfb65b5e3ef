"""Readings from outside: whatever they hold, one line or a comparison, and soon."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from patterns.errors import InputError
from patterns.reading.compare import compare, comparison_json, comparison_text
from patterns.reading.compare_page import compare_page
from patterns.reading.reading import to_json
from patterns.reading.recording import judge_recording
from patterns.reading.stored_reading import from_json
from tests.reading.screen import Screen, film, play

COSTLY = settings(max_examples=settings().max_examples // 3)


def _real() -> dict[str, Any]:
    screen = Screen(F(24), F(60), 3, lost=frozenset({20, 21, 40}))
    found = to_json(judge_recording(film(play(screen), screen, 240, seed=1), file="tablet.mov"))
    found["blended"] = [{"number": 3, "share": 0.5, "start_s": 0.1, "picture": 30}]
    found["unread"] = {"no strip": 3}
    found["refresh_candidates"] = [60.0, 120.0]
    found["explanation"], found["warnings"] = ["24 does not divide 60"], ["film for longer"]
    found["capture_hz"] = found["capture_hz"] or 240.0
    return dict(json.loads(json.dumps(found)))


REAL = _real()


def places(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Ways to every value; of a list the way to its first two."""
    if path:
        yield path
    if isinstance(data, dict):
        for key in data:
            yield from places(data[key], (*path, key))
    elif isinstance(data, list):
        for index in range(min(2, len(data))):
            yield from places(data[index], (*path, index))


PLACES = sorted(places(REAL), key=repr)
EXTREME: st.SearchStrategy[Any] = st.sampled_from(
    [
        *(0, -1, 1, 10**9, 2**32, 2**41, 10**24, 10**400, -(10**24)),
        *(0.0, -0.0, 1e-320, 1e-9, 1e8, 1e9, 1e308, -1e308, float("inf"), float("nan")),
        *(
            "",
            "\x1b[2J",
            "\ud800",
            "1/0",
            "1e999",
            "0/1",
            "9999999999/1",
            "x" * 20_000,
            "recording",
        ),
        *(None, True, False, [], {}, [[]], [None], {"": 0}, [1, 2] * 400),
    ]
)
ANY = EXTREME | st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def changed(path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    data = json.loads(json.dumps(REAL))
    inner = data
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return dict(data)


def use(data: dict[str, Any]) -> None:
    """Everything that `evenhold compare` does with a reading."""
    text = json.dumps(data)
    reading = from_json(json.loads(text), source="kept.json")
    found = compare([("Kept", reading), ("Real", from_json(REAL, source="real.json"))])
    assert comparison_text(found)
    assert json.dumps(comparison_json(found), allow_nan=False)
    assert len(compare_page(found).encode()) < 3_000_000


def test_the_real_one_is_taken() -> None:
    use(REAL)


@given(st.sampled_from(PLACES), ANY)
@example(("pattern",), [])
@COSTLY
def test_any_value_anywhere_is_taken_or_refused_in_one_line(
    path: tuple[str | int, ...], value: Any
) -> None:
    said = ""
    try:
        use(changed(path, value))
    except InputError as error:
        said = str(error)
    assert "\n" not in said
    assert len(said) < 1500


COUNT, NUMBER = st.integers(0, 2**41), st.integers(0, 2**32)
SECONDS, HERTZ = st.floats(0, 1e8), st.floats(1e-4, 1e6)


def numbers(of: st.SearchStrategy[int]) -> st.SearchStrategy[list[int]]:
    return st.lists(of, max_size=40)


HOLD = st.fixed_dictionaries(
    {
        "number": NUMBER | st.integers(0, 50),
        "start_s": st.none() | SECONDS,
        "hold_s": SECONDS,
        "refreshes": st.none() | COUNT | st.integers(0, 4),
    }
)
WITHIN_LIMITS = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["clip", "recording", "photo", "footage", "browser"]),
        "verdict": st.text("ab <&\"'", min_size=1).filter(str.strip),
        "rate_exact": st.sampled_from([None, "24", "24000/1001", "1000000", "1/9999"]),
        "clip": st.sampled_from([None, REAL["clip"], "0000"]),
        "refresh_hz": st.none() | HERTZ,
        "seconds": SECONDS,
        "holds": st.lists(HOLD, max_size=60) | st.lists(HOLD, min_size=30, max_size=80),
        "dropped": numbers(NUMBER) | st.just(list(range(0, 60_000, 2))),
        "repeated": numbers(NUMBER),
        "drops_beyond_cadence": COUNT,
        "pattern": st.none() | numbers(COUNT),
        "even": st.none() | st.booleans(),
        "timing_error_rms_ms": st.none() | st.floats(0, 1e9),
        "timing_error_span_ms": st.none() | st.floats(0, 1e9),
        "speed": st.none() | st.floats(-1e6, 1e6),
    }
)


@given(WITHIN_LIMITS)
@COSTLY
def test_whatever_lies_within_the_limits_is_compared_and_drawn(fields: dict[str, Any]) -> None:
    use({**REAL, **fields})


def test_holds_that_go_to_and_fro_over_many_losses_are_soon_drawn() -> None:
    """Twenty thousand holds, each across all of the numbers lost."""
    hold = {"start_s": 0.0, "hold_s": 0.1, "refreshes": 1}
    holds = [{**hold, "number": 65_535 * (n % 2)} for n in range(20_000)]
    use({**REAL, "kind": "browser", "holds": holds, "dropped": list(range(1, 60_000))})


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("seconds", 1e308, "reading.seconds must be a number from 0 to 1e\\+08"),
        ("rate_exact", "1/0", "reading.rate_exact must be frames a second"),
        ("verdict", "", "reading.verdict must be text"),
        ("holds", [{}], "reading.holds must be an object with the keys"),
        ("pattern", [10**24], "reading.pattern must be whole numbers"),
    ],
)
def test_a_refusal_names_the_field(field: str, value: Any, words: str) -> None:
    with pytest.raises(InputError, match=words):
        from_json({**REAL, field: value}, source="kept.json")

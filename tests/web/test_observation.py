"""What devices post: taken only whole, bounded and of the right form."""

from __future__ import annotations

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.web.observation import parse_observation
from tests.web.serving import observation


def parse(data: Any) -> Any:
    return parse_observation(json.dumps(data).encode())


def test_a_whole_observation() -> None:
    seen = parse(observation())
    assert len(seen.callbacks) == 48
    assert seen.device.label == "Dam wall tablet"
    assert seen.refresh.state == "steady"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[]",
        b"null",
        b'"text"',
        b"[" * 100_000,
        b'{"schema": "evenhold/observation 1"}',
        b"1e999",
        b"NaN",
    ],
)
def test_what_is_not_of_the_form_is_refused(body: bytes) -> None:
    with pytest.raises(RequestError):
        parse_observation(body)


WRONG: list[tuple[str, Any]] = [
    ("schema", "evenhold/observation 2"),
    ("clip", 7),
    ("clip", "x" * 256),
    ("extra", 1),
    ("skipped", -1),
    ("skipped", True),
    ("skipped", 1.5),
    ("callbacks", []),
    ("callbacks", [[0, 0, 0]]),
    ("callbacks", [[0, 0, 0]] * 20_001),
    ("callbacks", [[0, 0, 1], [0, 0, 1]]),
    ("callbacks", [[0, 0, 2], [0, 0, 1]]),
    ("callbacks", [[0, 0, 1], [-1, 0, 2]]),
    ("callbacks", [[0, 0, 1], [0, 0, "2"]]),
    ("callbacks", [[0, 0, 1], [0, True, 2]]),
    ("callbacks", [[0, 0, 1], [0, 0, 2.5]]),
    ("callbacks", [[0, 0, 1], [0, 0]]),
    ("callbacks", "no list"),
    ("refresh", {}),
    ("refresh", observation()["refresh"] | {"interval_ms": 0}),
    ("refresh", observation()["refresh"] | {"state": "<b>"}),
    ("refresh", observation()["refresh"] | {"more": 1}),
    ("counters", {"total": -1, "dropped": 0}),
    ("shown", {"full_screen": "yes", "pixels_per_pixel": 1, "hidden": False}),
    ("device", observation()["device"] | {"label": "x" * 61}),
    ("device", observation()["device"] | {"agent": None}),
    ("device", observation()["device"] | {"screen": [1, 2, 3]}),
]


@pytest.mark.parametrize(
    ("key", "value"), WRONG, ids=[f"{k}-{i}" for i, (k, _) in enumerate(WRONG)]
)
def test_a_wrong_field_is_refused_by_name(key: str, value: Any) -> None:
    with pytest.raises(RequestError):
        parse(observation(**{key: value}))


def test_texts_lose_their_control_characters() -> None:
    device = observation()["device"] | {"label": "a\x1b[2Jb\u202ec\n"}
    assert parse(observation(device=device)).device.label == "a[2Jbc"


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)


@given(st.sampled_from(sorted(observation())), JSON)
def test_any_field_of_any_shape_is_taken_or_refused(key: str, value: Any) -> None:
    """Never another error than the one that is reported."""
    with contextlib.suppress(RequestError):
        seen = parse_observation(json.dumps(observation(**{key: value})).encode())
        assert len(seen.callbacks) >= 2

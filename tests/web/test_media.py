"""Clips as players ask for them: ranges, conditions and types of RFC 9110."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from patterns.kit.pages import container_type, media_type
from tests.web.serving import KEY, Served

NAME = "evenhold-bars-24fps.mp4"
PATH = f"/{KEY}/clips/{NAME}"


@pytest.fixture
def data(kit: Path) -> bytes:
    return (kit / NAME).read_bytes()


def test_a_whole_clip_is_untouched(site: Served, data: bytes) -> None:
    answer = site.ask(PATH)
    assert answer.status == 200
    assert answer.body == data
    assert answer.headers["content-type"] == "video/mp4"
    assert answer.headers["accept-ranges"] == "bytes"
    assert int(answer.headers["content-length"]) == len(data)
    assert "content-disposition" not in answer.headers  # else phones save instead of play


def test_the_first_two_bytes(site: Served, data: bytes) -> None:
    """What mobile Safari asks before anything else."""
    answer = site.ask(PATH, range="bytes=0-1")
    assert answer.status == 206
    assert answer.headers["content-range"] == f"bytes 0-1/{len(data)}"
    assert answer.headers["content-length"] == "2"
    assert answer.body == data[:2]


def test_open_and_suffix_ranges(site: Served, data: bytes) -> None:
    answer = site.ask(PATH, range="bytes=1000-")
    assert (answer.status, answer.body) == (206, data[1000:])
    answer = site.ask(PATH, range="bytes=-500")
    assert (answer.status, answer.body) == (206, data[-500:])
    assert answer.headers["content-range"].startswith(f"bytes {len(data) - 500}-")
    beyond = site.ask(PATH, range=f"bytes=10-{10 * len(data)}")
    assert (beyond.status, beyond.body) == (206, data[10:])
    longer = site.ask(PATH, range=f"bytes=-{10 * len(data)}")
    assert (longer.status, longer.body) == (206, data)


def test_several_ranges(site: Served, data: bytes) -> None:
    answer = site.ask(PATH, range="bytes=0-9,100-109")
    assert answer.status == 206
    assert answer.headers["content-type"].startswith("multipart/byteranges; boundary=")
    assert data[:10] in answer.body
    assert data[100:110] in answer.body


def test_a_range_past_the_end(site: Served, data: bytes) -> None:
    """RFC 9110, 15.5.17: 416 with the length."""
    answer = site.ask(PATH, range=f"bytes={len(data)}-")
    assert answer.status == 416
    assert answer.headers["content-range"] == f"bytes */{len(data)}"


@pytest.mark.parametrize("value", ["bytes=5-2", "bytes=a-b", "bytes=", "bytes", "frames=0-1"])
def test_invalid_ranges_are_rejected(site: Served, value: str) -> None:
    """RFC 9110, 14.2: a server may ignore or reject what it does not understand."""
    assert site.ask(PATH, range=value).status in (200, 400)


def test_a_thousand_ranges_cost_no_more_than_the_file(site: Served, data: bytes) -> None:
    many = ",".join(f"{i}-{i}" for i in range(0, 2000, 2))
    answer = site.ask(PATH, range=f"bytes={many}")
    assert (answer.status, answer.body) == (200, data)


def test_conditions(site: Served, kit: Path, data: bytes) -> None:
    """RFC 9110, 13.2.2: If-None-Match before If-Modified-Since, If-Range for ranges."""
    first = site.ask(PATH)
    tag = first.headers["etag"]
    digest = json.loads((kit / NAME).with_suffix(".json").read_text())["sha256"]
    assert tag == f'"{digest}"'
    for value in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        answer = site.ask(PATH, if_none_match=value)
        assert (answer.status, answer.body) == (304, b"")
        assert answer.headers["etag"] == tag
    assert site.ask(PATH, if_none_match='"other"').status == 200
    since = first.headers["last-modified"]
    assert site.ask(PATH, if_modified_since=since).status == 304
    assert site.ask(PATH, if_none_match='"other"', if_modified_since=since).status == 200
    assert site.ask(PATH, if_modified_since="Thu, 01 Jan 1970 00:00:00 GMT").status == 200
    assert site.ask(PATH, if_modified_since="yesterday").status == 200
    assert site.ask(PATH, range="bytes=0-1", if_range=tag).status == 206
    stale = site.ask(PATH, range="bytes=0-1", if_range='"other"')
    assert (stale.status, stale.body) == (200, data)


def test_head(site: Served, data: bytes) -> None:
    answer = site.ask(PATH, method="HEAD")
    assert (answer.status, answer.body) == (200, b"")
    assert int(answer.headers["content-length"]) == len(data)


def test_media_types_name_the_codec() -> None:
    """The H.264 string is RFC 6381's own form: profile 100, no constraints, level 4.0 = 0x28."""
    record = {"file": "a.mp4", "codec": "h264", "codec_level": "4.0"}
    assert media_type(record) == 'video/mp4; codecs="avc1.640028"'
    vp9 = {"file": "a.mp4", "codec": "vp9", "codec_level": "4.1"}
    assert media_type(vp9) == 'video/mp4; codecs="vp09.00.41.08"'
    assert media_type(record | {"codec": "prores", "codec_level": ""}) == "video/mp4"
    assert container_type("a.mov") == "video/quicktime"
    assert container_type("a.exe") == "application/octet-stream"

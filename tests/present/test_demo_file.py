"""The live page as a file: complete in itself, and written whole."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from patterns.errors import RequestError
from patterns.present.talk import make_talk
from patterns.present.talk_pages import DEMO_CAUTION, demo_page
from patterns.present.talk_request import TalkRequest


def test_the_page_holds_everything_itself() -> None:
    html = demo_page()
    assert not re.search(r'(src|href)="(?!data:)', html)
    assert "http" not in html.replace("http-equiv", "")


def test_a_page_that_exists_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "demo.html"
    path.write_text("mine")
    with pytest.raises(RequestError, match="--force"):
        make_talk(TalkRequest(tmp_path), ["demo"])
    assert path.read_text() == "mine"


def test_the_caution_stands_before_the_pictures() -> None:
    html = demo_page()
    assert html.index(DEMO_CAUTION) < html.index("<canvas")

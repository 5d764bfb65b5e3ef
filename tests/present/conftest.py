"""A whole talk, made once for all tests that open its pages."""

from __future__ import annotations

import json
from fractions import Fraction as F
from pathlib import Path

import pytest

from patterns.present.talk import make_talk
from patterns.present.talk_request import TalkRequest


def talk_request(folder: Path) -> TalkRequest:
    """Bars that cross in two seconds: animated pictures are loops of a second."""
    return TalkRequest(folder, width=960, height=540, seconds=F(1, 2), paces={"bars": F(2)})


@pytest.fixture(scope="session")
def talk_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a talk; what it reports meanwhile goes up from nothing to all."""
    path = tmp_path_factory.mktemp("talk")
    seen: list[float] = []
    data = make_talk(
        talk_request(path),
        progress=lambda done, total: seen.append(done / total),
    )
    assert seen == sorted(seen)
    assert seen[-1] == 1
    assert json.loads((path / "talk.json").read_text()) == data
    return path

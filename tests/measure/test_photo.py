"""What a photo's reading says of cells that are too noisy, over-exposed or dark."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np

from patterns.measure.photo import judge_photo
from patterns.measure.reading import Reading, to_json
from patterns.measure.reading_fields import from_json
from patterns.measure.reading_text import reading_text
from patterns.strip.identity import Identity
from patterns.strip.photo import PhotoReading
from patterns.strip.placement import Placement

CELLS = 24


def reading(
    refreshes: list[int], *, noisy: tuple[int, ...] = (), clipped: tuple[int, ...] = ()
) -> Reading:
    """Reading of holds in refreshes of 60 Hz, some of them not told."""
    shares = np.array(refreshes) / sum(refreshes)
    doubt = [0.05 if i in noisy else 0.005 for i in range(CELLS)]
    found = PhotoReading(
        cells=tuple(float(share) for share in shares),
        uncertainty=tuple(d / CELLS for d in doubt),
        told=tuple(i not in noisy + clipped for i in range(CELLS)),
        clipped=clipped,
        identity=Identity.of(F(24), 0x1234),
        placement=Placement("wide", np.eye(3)),
        warnings=(),
    )
    return judge_photo(found, file="tablet.jpg", exposure_s=F(1))


def test_all_cells_told() -> None:
    found = reading([3, 2] * 12)
    assert [h.refreshes for h in found.holds] == [3, 2] * 12
    assert found.unread == ()
    assert "held 3:2 at 60 Hz, as 24 on 60 must be" in found.verdict
    assert "all 24 holds told, right to 2 %" in found.verdict
    assert found.error is not None


def test_noisy_and_over_exposed_cells_are_left_out_and_counted() -> None:
    found = reading([3, 2] * 12, noisy=(3, 8), clipped=(5,))
    assert [h.number for h in found.holds] == [i for i in range(CELLS) if i not in (3, 5, 8)]
    assert dict(found.unread) == {
        "hold cells too noisy to be told to 8 %": 2,
        "hold cells over-exposed": 1,
    }
    assert "21 of 24 holds told" in found.verdict
    assert any("Cells 3, 8 are too noisy" in text and "ISO" in text for text in found.warnings)
    assert found.details["not_told"] == [3, 5, 8]
    assert [found.details["relative"][i] for i in (3, 5, 8)] == [None] * 3
    # a sum over all cells is not told if some of them are not
    assert found.error is None
    assert from_json(to_json(found), source="x").unread == found.unread
    assert "too noisy to be told" in " ".join(reading_text(found).split())


def test_a_dark_cell_is_told_as_dark_even_if_its_hold_is_not() -> None:
    held = [3, 2] * 12
    held[6], held[7] = 5, 0
    found = reading(held, noisy=(7,))
    assert found.dropped == (7,)
    assert 7 not in [h.number for h in found.holds]
    assert "1 cell dark: frames 7" in found.verdict


def test_nothing_told_gives_no_number() -> None:
    found = reading([3, 2] * 12, noisy=tuple(range(CELLS)))
    assert found.holds == ()
    assert found.pattern is None
    assert "no hold of the 24 cells could be told to 8 %" in found.verdict
    assert not any(ms in found.verdict for ms in (" ms", "Hz"))

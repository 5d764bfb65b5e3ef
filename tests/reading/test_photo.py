"""What is said of photos: of steady ones, of lost frames, and of all that is no steady exposure.

The light of a frame is the time for which it was lit; a cell's is that of all its frames.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction as F
from functools import cache
from itertools import accumulate, pairwise

import numpy as np
import pytest

from patterns.picture.arrays import FloatArray
from patterns.reading.photo import judge_photo
from patterns.reading.photo_cadence import Cells, match
from patterns.reading.reading import Reading, to_json
from patterns.reading.reading_text import reading_text
from patterns.reading.stored_reading import from_json
from patterns.strip.code import Identity, hold_row, number_word, word_bits
from patterns.strip.photo import PhotoReading, Run, find_run
from patterns.timing.cadence import Display

Times = list[tuple[int, float, float]]  # number, on, off in seconds
FIRST = 1001


def played(
    rate: F, refresh: int, frames: int = 400, *, lost: Sequence[int] = (), speed: F = F(1)
) -> Times:
    """Frames as a screen shows them: each from the refresh after it is due to the next one's."""
    starts = [
        (FIRST + i, int(F(i) / rate / speed * refresh + F(3, 7)) / refresh)
        for i in range(frames)
        if i not in lost
    ]
    return [(n, on, off) for (n, on), (_, off) in pairwise(starts)]


def exposed(times: Times, parts: Sequence[tuple[float, float]]) -> dict[int, float]:
    """Seconds of each frame in exposures given as (begin, length)."""
    light: dict[int, float] = {}
    for number, on, off in times:
        for begin, length in parts:
            lit = min(off, begin + length) - max(on, begin)
            if lit > 0:
                light[number] = light.get(number, 0.0) + lit
    return light


def read(
    rate: F, light: dict[int, float], told_s: F | None = F(1), *, display: int | None = 60,
    sigma: float = 0.004, noisy: tuple[int, ...] = (), clipped: tuple[int, ...] = (),
    noise: FloatArray | None = None, tone: float = 1.0,
) -> Reading:  # fmt: skip
    """Reading of a photo with this light; `sigma` and `noise` in mean cells."""
    cells = hold_row(rate).cells
    whole = sum(light.values())
    share, level = np.zeros(cells), np.zeros(28)
    for number, seconds in light.items():
        share[number % cells] += seconds / whole
        level += seconds / whole * word_bits(number_word(number))
    run = passed(tuple(share), tuple(level**tone))
    if noise is not None:
        share = share + noise / cells
    doubt = np.where(np.isin(np.arange(cells), noisy), 0.05, sigma) / cells
    found = PhotoReading(
        cells=tuple(float(s) for s in share),
        uncertainty=tuple(float(d) for d in doubt),
        known=tuple(i not in noisy + clipped for i in range(cells)),
        clipped=clipped,
        identity=Identity.of(rate, 0x1234),
        warnings=(),
        run=run,
    )
    on = None if display is None else Display.fixed(display)
    return judge_photo(found, file="tablet.jpg", exposure_s=told_s, display=on)


@cache
def passed(share: tuple[float, ...], level: tuple[float, ...]) -> Run | None:
    return find_run(np.array(share), np.array(level), np.full(28, 0.003))


def steady(
    rate: F, refresh: int, length: float = 1.0, told_s: F | None = F(1), **more: object
) -> Reading:
    """Photo of a clip that plays as it must."""
    light = exposed(played(rate, refresh), [(2.013, length)])
    return read(rate, light, told_s, display=refresh, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("rate", "refresh", "pattern"),
    [
        (F(24), 60, (3, 2)),
        (F(24000, 1001), 60, (3, 2)),
        (F(25), 60, (3, 2, 3, 2, 2)),
        (F(30), 60, (2,)),
        (F(48), 60, (2, 1, 1, 1)),
        (F(50), 60, (2, 1, 1, 1, 1)),
        (F(60000, 1001), 60, (1,)),
        (F(60), 60, (1,)),
        (F(60), 90, (2, 1)),
        (F(60), 144, (3, 2, 3, 2, 2)),
        (F(120), 120, (1,)),
    ],
)
def test_holds_are_those_of_one_showing(rate: F, refresh: int, pattern: tuple[int, ...]) -> None:
    """Patterns by hand: the holds of n frames must add up to n R/F refreshes."""
    found = steady(rate, refresh)
    assert found.pattern == pattern
    assert found.dropped == ()
    assert "as " in found.verdict
    mean = sum(hold.hold_s for hold in found.holds) / len(found.holds)
    assert mean == pytest.approx(1 / float(rate), rel=0.12)


def test_every_second_frame_that_is_never_shown_is_told_as_it_must_be() -> None:
    """120 on 60 Hz: on the other phase no cell that is lit would be due."""
    found = steady(F(120), 60)
    assert found.pattern == (1, 0)
    assert len({cell % 2 for cell in found.dropped}) == 1
    assert "must be" in found.verdict


def test_a_sum_that_does_not_tell_its_showings_is_no_pattern() -> None:
    """50 on 75 Hz is 2:1, but over two rounds of 25 every cell is lit for three refreshes."""
    found = steady(F(50), 75)
    assert found.pattern is None
    assert found.even is None
    assert "single showings are not known" in found.verdict


@pytest.mark.parametrize("refresh", [60, None])
@pytest.mark.parametrize(("rate", "lost"), [(F(24), [60]), (F(30), [75, 76]), (F(25), [61])])
def test_lost_frames_are_told_where_the_frame_before_took_their_time(
    rate: F, lost: list[int], refresh: int | None
) -> None:
    light = exposed(played(rate, 60, lost=lost), [(2.013, 1.0)])
    found = read(rate, light, display=refresh)
    cells = hold_row(rate).cells
    assert found.dropped == tuple(sorted((FIRST + n) % cells for n in lost))
    assert found.drops_beyond == len(lost)
    assert not {h.number for h in found.holds} & set(found.dropped)
    assert "lost" in found.verdict


@pytest.mark.parametrize(
    ("rate", "length", "lost"), [(F(60), 1.0, [160]), (F(50), 1.0, [113]), (F(24), 2.0, [55, 77])]
)
def test_a_lost_showing_of_two_is_told(rate: F, length: float, lost: list[int]) -> None:
    light = exposed(played(rate, 60, lost=lost), [(2.013, length)])
    found = read(rate, light, F(length))
    cells = hold_row(rate).cells
    assert found.dropped == tuple(sorted((FIRST + n) % cells for n in lost))
    assert "lost in some of 2 showings" in found.verdict


LENGTHS, USUAL = (0.5, 0.9, 0.95, 1.3, 1.7), (F(24), F(25), F(30), F(60))


@pytest.mark.parametrize(  # known and not known by turns, so that each length and rate has both
    ("rate", "length", "known"),
    [(rate, s, (i + k) % 2 == 0) for i, s in enumerate(LENGTHS) for k, rate in enumerate(USUAL)],
)
def test_an_exposure_of_no_whole_period_loses_nothing(rate: F, length: float, known: bool) -> None:
    told = F(length).limit_denominator(100) if known else None
    found = steady(rate, 60, length, told)
    must = {F(24): (3, 2), F(25): (3, 2, 3, 2, 2), F(30): (2,), F(60): (1,)}
    assert found.dropped == ()
    assert found.pattern == must[rate]
    assert found.verdict.startswith("if the clip ran at its own speed") is not known


def test_too_short_an_exposure_says_so() -> None:
    found = steady(F(24), 60, 0.25, F(1, 4))
    assert found.holds == ()
    assert found.even is None
    assert "expose for one second" in found.verdict


def seam(rate: F) -> dict[int, float]:
    """The clip ends at 0.4 s of the exposure and begins again with number 0."""
    frames = round(2.4 * rate) + 3
    times = played(rate, 60, 400)
    return exposed(
        [(n if i < frames else i - frames, on, off) for i, (n, on, off) in enumerate(times)],
        [(2.013, 1.0)],
    )


def pause(rate: F) -> dict[int, float]:
    return exposed(played(rate, 60), [(2.013, 0.3)]) | {
        n: s + 0.25 * (i == 0)
        for i, (n, s) in enumerate(exposed(played(rate, 60), [(2.35, 0.45)]).items())
    }


FAULTS = {
    "seam": seam,
    "pause": pause,
    "half speed": lambda rate: exposed(played(rate, 60, speed=F(1, 2)), [(2.013, 1.0)]),
    "double speed": lambda rate: exposed(played(rate, 60, speed=F(2)), [(2.013, 1.0)]),
    "stack": lambda rate: exposed(played(rate, 60), [(2 + 0.29 * k, 0.25) for k in range(4)]),
}


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("rate", [F(24), F(25), F(30), F(60)])
def test_what_is_no_steady_exposure_invents_nothing(rate: F, fault: str, known: bool) -> None:
    found = read(rate, FAULTS[fault](rate), F(1) if known else None)
    assert found.dropped == ()
    if not known and fault.endswith("speed") and found.holds:  # told on a condition only
        assert found.verdict.startswith("if the clip ran at its own speed")
        return
    assert found.holds == ()
    assert found.pattern is None
    assert found.even is None
    assert "no hold is given" in found.verdict
    advice = ("expose once for one second", "expose for one second", "say --exposure")
    assert any(words in found.verdict for words in advice)
    assert "dropped" not in reading_text(found)


def test_noisy_and_over_exposed_cells_are_left_out_and_counted() -> None:
    found = steady(F(24), 60, noisy=(3, 8), clipped=(5,))
    assert not {3, 5, 8} & {h.number for h in found.holds}
    assert dict(found.unread) == {
        "hold cells too noisy to be known to 8 %": 2,
        "hold cells over-exposed": 1,
    }
    assert any("Cells 3, 8 are too noisy" in text and "ISO" in text for text in found.warnings)
    assert found.details["not_known"] == [3, 5, 8]
    assert [found.details["relative"][i] for i in (3, 5, 8)] == [None] * 3
    assert found.error is None
    assert from_json(to_json(found), source="x").unread == found.unread
    assert "too noisy to be known" in " ".join(reading_text(found).split())


def test_advice_is_not_to_expose_until_the_photo_is_clipped() -> None:
    """The cells are lit for a part of the time: what is just below white is the marks."""
    texts = steady(F(24), 60, noisy=(3,)).warnings
    assert not any("lit cells are bright" in text for text in texts)
    assert any("white marks are just below white" in text for text in texts)


@pytest.mark.parametrize("display", [None, 75])
def test_three_told_cells_of_thirty_are_neither_even_nor_uneven(display: int | None) -> None:
    light = exposed(played(F(30), 60), [(2.013, 1.0)])
    few = tuple(i for i in range(30) if i not in (2, 12, 13))
    found = read(F(30), light, display=display, sigma=0.2, noisy=few)
    assert found.even is None
    assert "even" not in found.verdict


def test_light_that_the_number_cells_contradict_is_not_told() -> None:
    """A camera that bends tones beside its light references as it does not there."""
    light = exposed(played(F(24), 60), [(2.013, 1.0)])
    found = read(F(24), light, tone=1.6)
    assert found.holds == ()
    assert "tones" in found.verdict


@pytest.mark.parametrize("rate", [F(24), F(30), F(60)])
def test_the_worst_cell_is_within_what_is_stated(rate: F) -> None:
    rng = np.random.default_rng(5)
    light = exposed(played(rate, 60), [(2.013, 1.0)])
    cells, beyond = hold_row(rate).cells, 0
    for _ in range(20):
        found = read(rate, light, sigma=0.02, noise=0.02 * rng.standard_normal(cells))
        stated = float(found.verdict.rsplit("right to ", 1)[1].split(" %")[0]) / 100
        worst = max(
            abs(h.hold_s * 60 - h.refreshes) / max(h.refreshes, 60 / float(rate))
            for h in found.holds
            if h.refreshes
        )
        beyond += worst > stated
    assert beyond <= 1


def stall() -> Times:
    return [
        (n, on + (i > 60) * 2 / 60, off + (i >= 60) * 2 / 60)
        for i, (n, on, off) in enumerate(played(F(24), 60))
    ]


def converted() -> Times:
    """24 to 30 by repeating each fourth frame, then on 60 Hz: 4:2:2:2 refreshes (by hand)."""
    ends = list(accumulate((4 if i % 4 == 3 else 2) / 60 for i in range(200)))
    return [(FIRST + i, on, off) for i, (on, off) in enumerate(pairwise([0.0, *ends]))]


@pytest.mark.parametrize("display", [None, 60])
@pytest.mark.parametrize("times", [stall, converted])
def test_holds_that_no_refresh_predicts_are_refused(
    times: Callable[[], Times], display: int | None
) -> None:
    """They are what a reflection or a pause may look like as well: a recording shows which."""
    found = read(F(24), exposed(times(), [(2.013, 1.0)]), display=display)
    assert (found.holds, found.pattern, found.even, found.dropped) == ((), None, None, ())
    assert "a stall, a converted rate" in found.verdict
    assert "film the screen in slow motion" in found.verdict


@pytest.mark.parametrize("display", [None, 60])
@pytest.mark.parametrize("rate", [F(25), F(50)])
def test_a_reflection_on_some_cells_is_no_uneven_playing(rate: F, display: int | None) -> None:
    light = exposed(played(rate, 60), [(2.013, 1.0)])
    bump = np.where((np.arange(25) > 6) & (np.arange(25) < 13), 0.27, 0.0)
    found = read(rate, light, display=display, noise=bump)
    assert found.holds == ()
    assert found.even is None
    assert found.dropped == ()
    assert "reflections" in found.verdict


@pytest.mark.parametrize(("shift", "told"), [(0, None), (10, (14, 15, 16))])
def test_cells_are_lost_only_where_another_is_seen_to_have_stood_in(
    shift: int, told: tuple[int, ...] | None
) -> None:
    """50 on 60 Hz for 1 s, frames 3 to 52; three in a row lack a showing.

    Beside cell 3, at which the exposure begins, what stood in for them cannot be seen.
    """
    numbers = np.arange(3, 53)
    held = np.bincount(numbers % 25, (numbers + 1) * 6 // 5 - numbers * 6 // 5, 25)
    for cell, lost in ((4, 2), (5, 1), (6, 1)):
        held[cell + shift] -= lost
    held[3 + shift] += 4 if shift else 0
    run = Run(3, 50, 50, 50, 0.0)
    seen = Cells(held / 60, np.full(25, 0.02 / 60), run, F(50), (0.99, 1.01))
    found = match(seen, F(60))
    assert (found and found.lost) == told

"""General flashes just below and just above every threshold."""

from __future__ import annotations

import pickle
from fractions import Fraction

import numpy as np
import pytest

from patterns.errors import RequestError
from patterns.safety.check import FlashCheck
from patterns.safety.flashes import LeadingEdges, Swings, TransitionCounter, leading_edge_s
from patterns.safety.viewing import Viewing
from tests.safety.sequences import (
    BT1702,
    HEIGHT,
    WCAG,
    WIDTH,
    alternate,
    flash,
    flat,
    patch,
    run,
    squares,
)

CELL = (1, 1)


def _changes(values: list[float], step: float = 0.1, dark: float = 0.8) -> int:
    swings = Swings(step, dark)
    count = 0
    for value in values:
        up, down = swings.see(np.full(CELL, value, np.float32))
        count += int(up[0, 0]) + int(down[0, 0])
    return count


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        # WCAG 2.2: opposing changes of 10 % or more of the maximum ...
        ([0.2, 0.3, 0.2, 0.3], 3),
        ([0.2, 0.2999, 0.2, 0.2999], 0),
        # ... where the darker image is below 0.80
        ([0.7999, 0.95, 0.7999], 2),
        ([0.8001, 0.95, 0.8001], 0),
        ([1.0, 0.85, 1.0, 0.79, 1.0], 2),
        # a slow ramp adds up, whatever its steps; a ripple on it does not break it
        (list(np.linspace(0, 1, 50)) + list(np.linspace(1, 0, 50)), 2),
        ([0.2, 0.26, 0.25, 0.31, 0.2], 2),
        # one change needs its opposite before the next counts
        ([0.0, 0.2, 0.4, 0.6], 1),
        ([0.5, 0.55, 0.5, 0.46, 0.5], 0),
        ([0.5, 0.55, 0.44, 0.5, 0.55], 2),
    ],
)
def test_changes_between_extremes(values: list[float], changes: int) -> None:
    assert _changes(values) == changes


def _codes(rate: int, changes_per_s: int) -> list[int]:
    return [int(n * changes_per_s / rate) % 2 for n in range(2 * rate)]


@pytest.mark.parametrize(
    ("changes", "fails"),
    [(6, False), (7, True)],
    ids=["three flashes", "three and a half, the example of technique G19"],
)
@pytest.mark.parametrize("word", [WCAG, BT1702])
def test_three_flashes_pass_and_three_and_a_half_fail(changes: int, fails: bool, word: str) -> None:
    """WCAG 2.2 technique G19: seven transitions in a second are 3.5 flashes, which fails."""
    pictures = [flat(0 if n < 10 else 255 * ((n - 10) // 8 % 2)) for n in range(10 + 8 * changes)]
    pictures += [pictures[-1]] * 60
    report = run(pictures, 60)
    finding = flash(report, word)
    # the transitions, 8/60 s apart, begin with the second one shown: `changes - 1` of them
    assert finding.flashes_per_s == (changes - 1) / 2
    one_more = run([*pictures[: 10 + 8 * changes], *[flat(127)] * 30], 60)
    assert flash(one_more, word).flashes_per_s == changes / 2
    assert flash(one_more, word).exceeds == fails
    assert one_more.passes != fails


@pytest.mark.parametrize("rate", [24, 25, 30, 60])
def test_a_second_is_half_open(rate: int) -> None:
    """Six changes a second, evenly spaced, never are seven within one second."""
    for changes, fails in ((6, False), (7, True), (8, True)):
        pictures = [flat(255 * bit) for bit in _codes(rate, changes)]
        assert flash(run(pictures, rate), WCAG).exceeds == fails


def test_times_decide_not_frame_numbers() -> None:
    check = FlashCheck(WIDTH, HEIGHT, Fraction(30))
    for n in range(20):  # the same pictures, ten times slower than the rate says
        check.see(Fraction(n, 3), flat(255 * (n % 2)))
    assert check.report().passes


@pytest.mark.parametrize(
    ("low", "high", "fails"),
    [
        # WCAG: sRGB codes of relative luminance 0 and 0.0999 / 0.1022 (IEC 61966-2-1)
        (0, 89, False),
        (0, 90, True),
        # darker image of 0.799 / 0.807, brighter 1: codes 231, 232
        (231, 255, True),
        (232, 255, False),
    ],
)
def test_wcag_luminance_thresholds(low: int, high: int, fails: bool) -> None:
    report = run(alternate(flat(low), flat(high), 3, 48), 24)
    assert flash(report, WCAG).exceeds == fails


@pytest.mark.parametrize(
    ("low", "high", "fails"),
    [
        # 20 cd/m2 of 200 from black: signal 0.383 (computed, BT.1886), code 97.7
        (0, 97, False),
        (0, 98, True),
        # darker image of 159 / 161 cd/m2: signal 0.9112, code 232.3
        (232, 255, True),
        (233, 255, False),
    ],
)
def test_bt1702_luminance_thresholds(low: int, high: int, fails: bool) -> None:
    """ITU-R BT.1702-3 (second-hand): 20 cd/m2 or more, the darker image below 160 cd/m2."""
    report = run(alternate(flat(low), flat(high), 3, 48), 24)
    assert flash(report, BT1702).exceeds == fails


def test_a_dimmer_screen_has_smaller_steps() -> None:
    """On 100 cd/m2 a step to signal 0.383 is 10 cd/m2; WCAG's is relative and stays."""
    pictures = alternate(flat(0), flat(98), 3, 48)
    dim = run(pictures, 24, Viewing(peak_cd_m2=100))
    assert not flash(dim, BT1702).exceeds
    assert flash(dim, WCAG).exceeds


@pytest.mark.parametrize(("share_w", "fails"), [(0.49, False), (0.5, False), (0.51, True)], ids=str)
def test_a_quarter_of_the_screen(share_w: float, fails: bool) -> None:
    pictures = alternate(patch(share_w, 0.5, 255), flat(0), 3, 48)
    finding = flash(run(pictures, 24), BT1702)
    assert finding.exceeds == fails
    assert finding.share == pytest.approx(share_w / 2, abs=0.003)


# At three heights the block is 0.5235 x 0.3927 heights: a quarter is 0.05139 heights squared,
# that is 2.891 % of a 16:9 picture (technique G176). A square of 0.22 and 0.2333 heights:
@pytest.mark.parametrize(("side", "fails"), [(0.2223, False), (0.2334, True)])
def test_a_quarter_of_ten_degrees(side: float, fails: bool) -> None:
    pictures = alternate(patch(side * 9 / 16, side, 255), flat(0), 3, 48)
    report = run(pictures, 24)
    assert flash(report, WCAG).share_limit == pytest.approx(0.02891, rel=1e-3)
    assert flash(report, WCAG).exceeds == fails
    assert not flash(report, BT1702).exceeds


def test_nearer_eyes_allow_more_pixels_and_farther_ones_fewer() -> None:
    pictures = alternate(patch(0.2334 * 9 / 16, 0.2334, 255), flat(0), 3, 48)
    assert flash(run(pictures, 24, Viewing(distance_heights=3.0)), WCAG).exceeds
    assert not flash(run(pictures, 24, Viewing(distance_heights=4.0)), WCAG).exceeds
    assert flash(run(pictures, 24, Viewing(distance_heights=2.0)), WCAG).exceeds


@pytest.mark.parametrize(("share", "fails"), [(0.12, False), (0.135, True)])
@pytest.mark.parametrize("gap", [0, 18, 198])
def test_areas_are_summed_whether_they_touch_or_not(gap: int, share: float, fails: bool) -> None:
    """ITU-R BT.1702 (second-hand): the combined area of flashes that occur concurrently."""
    lit = flat(0)
    half = round(WIDTH * share / 3) * 3  # whole cells
    lit[:, :half] = lit[:, half + gap : 2 * half + gap] = 255
    finding = flash(run(alternate(lit, flat(0), 3, 48), 24), BT1702)
    assert finding.share == pytest.approx(2 * share, abs=0.01)
    assert finding.exceeds == fails


@pytest.mark.parametrize(("side", "fails"), [(0.12, False), (0.15, True)])
def test_sixteen_squares_that_do_not_touch(side: float, fails: bool) -> None:
    """16 squares, in sum 22 % and 36 % of the screen, at 6 Hz."""
    finding = flash(run(alternate(squares(16, side), flat(0), 2, 48), 24), BT1702)
    assert finding.share == pytest.approx(16 * side**2, abs=0.02)
    assert finding.exceeds == fails


def test_only_the_field_is_summed_for_wcag() -> None:
    """Two areas of 2.5 % of the picture each, of which 2.9 % may flash within 10 degrees."""
    near, far = (flat(0), flat(0))
    for picture, left in ((near, 100), (far, 400)):
        picture[:72, :45] = picture[:72, left : left + 45] = 255
    assert flash(run(alternate(near, flat(0), 3, 48), 24), WCAG).exceeds
    assert not flash(run(alternate(far, flat(0), 3, 48), 24), WCAG).exceeds


@pytest.mark.parametrize(("pairs", "fails"), [(4, True), (8, True)])
def test_a_flash_made_of_stripes(pairs: int, fails: bool) -> None:
    """Stripes that come and go fill half of the screen, each of them 6 to 13 %."""
    lit = flat(0)
    lit[:, np.arange(WIDTH) * 2 * pairs // WIDTH % 2 == 0] = 255
    finding = flash(run(alternate(lit, flat(0), 2, 48), 24), BT1702)
    assert finding.share == pytest.approx(0.5, abs=0.01)
    assert finding.exceeds == fails


@pytest.mark.parametrize(("share", "fails"), [(0.22, False), (0.3, True)])
def test_flashes_of_other_parts_each_time(share: float, fails: bool) -> None:
    """Three parts of the screen flash in turn, each twice a second: six flashes on the screen."""
    pictures, width = [], round(WIDTH * share)
    for n in range(48):
        picture = flat(0)
        if n % 4 < 2:
            left = n // 4 % 3 * width
            picture[:, left : left + width] = 255
        pictures.append(picture)
    finding = flash(run(pictures, 24), BT1702)
    assert finding.exceeds == fails
    assert finding.flashes_per_s == (6 if fails else 2)


def test_the_times_and_the_worst_moment_are_told() -> None:
    quiet = [flat(0)] * 48
    check = FlashCheck(WIDTH, HEIGHT, Fraction(24))
    pictures = quiet + alternate(patch(0.8, 0.8, 255), flat(0), 2, 48) + quiet
    for n, picture in enumerate(pictures):
        check.see(Fraction(n, 24), picture)
    finding = flash(check.report(), BT1702)
    assert len(finding.intervals) == 1
    assert float(finding.intervals[0][0]) == pytest.approx(2, abs=0.05)
    assert float(finding.intervals[0][1]) == pytest.approx(4, abs=0.1)
    assert check.worst is not None
    assert 2 < check.worst.time_s < 4
    assert check.worst.region.mean() == pytest.approx(0.64, abs=0.01)


@pytest.mark.parametrize(("seconds", "told"), [(4, False), (6, True)])
def test_extended_flashing_is_told_beside_the_verdict(seconds: int, told: bool) -> None:
    """Two flashes a second for four of five seconds (IRIS, an open analyser)."""
    report = run(alternate(flat(0), flat(255), 6, 24 * seconds), 24)
    assert report.passes
    extended = flash(report, "extended")
    assert extended.exceeds == told
    assert extended.extra
    assert any("about 5 s" in caution for caution in report.cautions()) == told


def test_extended_flashing_may_pause_but_not_for_long() -> None:
    flashing = alternate(flat(0), flat(255), 4, 60)
    for pause, told in ((6, True), (72, False)):
        report = run([*flashing, *[flat(0)] * pause, *flashing], 24)
        assert flash(report, "extended").exceeds == told


@pytest.mark.parametrize(
    ("rate", "apart"),
    [(25, Fraction(9, 25)), (50, Fraction(9, 25)), (30, Fraction(1, 3)), (24, Fraction(1, 3))],
)
def test_leading_edges_9_frames_at_25_and_10_at_30(rate: int, apart: Fraction) -> None:
    """ITU-R BT.1702-3 (second-hand): 360 ms at 50 Hz, 334 ms at 60 Hz; frames are computed."""
    assert leading_edge_s(Fraction(rate)) == apart


@pytest.mark.parametrize(("apart", "acceptable"), [(10, True), (9, False)])
def test_far_apart_leading_edges_are_acceptable(apart: int, acceptable: bool) -> None:
    """Leading edges 10 frames of 1/30 s apart pass whatever the trailing edges do.

    Trailing edges first right before the next leading edge, then right after their own:
    seven changes fall within one second, though only three flashes begin in it.
    """
    edges = LeadingEdges(CELL, Fraction(1, 3))
    counter = TransitionCounter(CELL)
    leads = [0, apart, 2 * apart, 3 * apart]
    trails = [apart - 1, 2 * apart - 1, 2 * apart + 1, 3 * apart + 1]
    most, exempt = 0, True
    for n in range(3 * apart + 2):
        up, down = (np.full(CELL, n in places) for places in (leads, trails))
        counter.see(Fraction(n, 30), up | down)
        edges.see(Fraction(n, 30), up, down)
        if counter.count[0, 0] > 6:
            exempt &= bool(edges.acceptable()[0, 0])
        most = max(most, int(counter.count[0, 0]))
    assert most >= 7
    assert exempt == acceptable


def test_times_must_rise() -> None:
    check = FlashCheck(WIDTH, HEIGHT, Fraction(24))
    check.see(Fraction(1, 24), flat(0))
    with pytest.raises(RequestError, match="in order of time"):
        check.see(Fraction(1, 24), flat(0))


@pytest.mark.parametrize(("peak", "distance"), [(0, 3), (200, 0.1), (1e6, 3), (200, 100)])
def test_impossible_viewing_is_refused(peak: float, distance: float) -> None:
    with pytest.raises(RequestError):
        Viewing(peak, distance)


def test_memory_does_not_grow() -> None:
    """After 1 s the check keeps a second of changes, however long it goes on."""
    counter, sizes = TransitionCounter((2, 2)), []
    for n in range(2000):
        counter.see(Fraction(n, 60), np.ones((2, 2), np.bool_))
        sizes.append(len(pickle.dumps(counter)))
    assert sizes[-1] < 1.05 * sizes[60]  # times have more digits later
    assert (counter.count == 60).all()

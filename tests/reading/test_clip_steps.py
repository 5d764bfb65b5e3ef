"""Speed and partings from the steps of the frame numbers, on sequences whose truth is known."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction as F

import pytest

from patterns.reading.clip_file import ClipSteps, clip_steps, judge_clip
from patterns.reading.reading import Reading
from patterns.reading.sightings import Sightings, Watched
from patterns.reading.true_times import true_time
from patterns.strip.code import Identity
from patterns.strip.read import Seen


def shown(numbers: Sequence[int], rate: F, timeline: F) -> Watched:
    """A file of `timeline` pictures a second whose pictures show these numbers."""
    log = Sightings()
    for place, number in enumerate(numbers):
        log.take(place / timeline, Seen(number, identity=Identity(1, rate, True, 7)))
    return log.watched()


def steps(numbers: Sequence[int], rate: F, timeline: F) -> ClipSteps:
    watched = shown(numbers, rate, timeline)
    return clip_steps(watched.runs, rate, timeline, watched.interval_s)


def judged(numbers: Sequence[int], rate: F, timeline: F) -> Reading:
    return judge_clip(
        shown(numbers, rate, timeline), file="edit.mp4", file_rate=timeline, mean_rate=timeline
    )


def test_frames_cut_out_change_no_speed() -> None:
    numbers = [*range(100), *range(111, 200)]
    reading = judged(numbers, F(60), F(60))
    assert reading.speed == 1
    assert reading.dropped == tuple(range(100, 111))
    assert reading.details["cuts"] == 1
    assert not any("conformed" in text for text in reading.explanation)
    assert reading.error is not None
    assert reading.error.rms_ms < 0.01


def test_joined_pieces_run_at_their_own_speed_and_are_judged_each_by_itself() -> None:
    reading = judged([*range(90, 150), *range(20, 80)], F(24), F(24))
    assert reading.speed == 1
    assert reading.details["steps_back"] == 1
    assert reading.out_of_order == ()
    assert reading.dropped == ()
    assert reading.error is not None
    assert reading.error.rms_ms < 0.01
    assert "it steps back 1 time" in reading.verdict
    assert not reading.verdict.startswith("as it was made")


@pytest.mark.parametrize("length", [3, 18, 50])
def test_a_loop_is_a_loop_however_short(length: int) -> None:
    found = steps(list(range(length)) * 4, F(60), F(60))
    assert found.back == 3
    assert found.speed == 1


def test_a_drop_in_a_later_turn_of_a_loop_is_seen() -> None:
    turn = list(range(40))
    reading = judged([*turn, *turn[:17], *turn[18:]], F(30), F(30))
    assert reading.dropped == (17,)


@pytest.mark.parametrize(
    ("rate", "timeline"), [(F(24), F(25)), (F(60), F(24)), (F(24000, 1001), F(24))]
)
def test_a_conform_is_told_though_frames_are_cut_out(rate: F, timeline: F) -> None:
    found = steps([*range(60), *range(75, 140)], rate, timeline)
    assert found.speed == float(timeline / rate)


def test_frames_missing_one_by_one_are_no_speed() -> None:
    numbers = [n for n in range(150) if n not in (20, 47, 88, 90, 131)]
    assert steps(numbers, F(30), F(30)).speed == 1


@pytest.mark.parametrize(("rate", "timeline"), [(F(24), F(60)), (F(25), F(24)), (F(60), F(24))])
def test_conversions_keep_their_speed(rate: F, timeline: F) -> None:
    numbers = [int(place * rate / timeline) for place in range(150)]
    found = steps(numbers, rate, timeline)
    assert found.speed == 1
    assert (found.back, found.cuts) == (0, 0)


def test_pictures_in_the_wrong_order_are_no_step_back() -> None:
    reading = judged([n + (0, 1, -1, 0)[n % 4] for n in range(80)], F(24), F(24))
    assert reading.details["steps_back"] == 0
    assert len(reading.out_of_order) == 20


def test_a_reversed_clip_is_said_to_be_one() -> None:
    reading = judged(range(90, 0, -1), F(24), F(24))
    assert reading.speed is None
    assert any("backwards" in text for text in reading.explanation)


def test_only_the_clip_that_most_pictures_show_is_judged() -> None:
    log = Sightings()
    for place in range(100):
        other = place >= 60
        number, clip = (place + 40, 8) if other else (place, 7)
        log.take(
            F(place, 30), Seen(number, identity=Identity(1, F(24 if other else 30), True, clip))
        )
    reading = judge_clip(log.watched(), file="e.mp4", file_rate=F(30), mean_rate=F(30))
    assert reading.dropped == ()
    assert reading.frames_seen == 60
    assert any("40 pictures of others" in text for text in reading.warnings)
    assert not reading.verdict.startswith("as it was made")


class TestSlowMotion:
    """What was taken at 240 pictures a second and stored on a timeline of 30."""

    WATCHED = shown([place // 10 for place in range(240)], F(24), F(30))  # 24 fps, 240 a second

    def test_the_tag_is_believed(self) -> None:
        found = true_time(self.WATCHED, F(30), None, F(240))
        assert found.scale == F(1, 8)
        scaled = self.WATCHED.scaled(found.scale)
        assert float(scaled.last_s) == pytest.approx(239 / 240)

    def test_the_strip_tells_where_no_tag_does(self) -> None:
        found = true_time(self.WATCHED, F(30), None, None)
        assert found.scale == F(1, 8)
        assert "240" in found.warnings[0]

    def test_when_the_first_frame_came_was_not_filmed(self) -> None:
        """Of it two pictures of eight: a second told 7.7 times too slowly, and no usual rate."""
        late = shown([(place + 6) // 8 for place in range(200)], F(30), F(30))
        assert true_time(late, F(30), None, None).scale == F(1, 8)

    def test_what_was_given_comes_first(self) -> None:
        assert true_time(self.WATCHED, F(30), F(120), F(240)).scale == F(1, 4)

    def test_a_tag_left_on_a_file_in_true_time_is_not_believed(self) -> None:
        in_true_time = shown([place // 2 for place in range(120)], F(30), F(60))
        assert true_time(in_true_time, F(60), None, F(240)).scale == 1

    def test_a_slow_player_is_no_slow_motion(self) -> None:
        slow = shown([place // 5 for place in range(200)], F(60), F(120))
        found = true_time(slow, F(120), None, None)
        assert found.scale == 1
        assert "--capture-rate" in found.warnings[0]


def test_a_screen_without_its_edges_ends_on_a_long_or_a_short_hold_at_its_own_speed() -> None:
    numbers = [n for n in range(48) for _ in range(12 if n % 2 == 0 else 8)]
    assert steps(numbers, F(24), F(240)).speed == 1
    faster = [n for n in range(480) for _ in range(2 if n % 5 else 1)]  # 24 in 1.8 of 60
    found = steps(faster, F(24), F(60)).speed
    assert found is not None
    assert abs(found - F(60) / F(9, 5) / 24) < 0.005


def test_a_file_of_which_nothing_was_read_steps_back_nowhere() -> None:
    assert clip_steps([], F(24), F(24), 1 / 24).back == 0

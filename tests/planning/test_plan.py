"""The assembled plan: what its advice may and may not say, and that it follows from its numbers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import atan, degrees

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.errors import RequestError
from patterns.planning.plan import PlanRequest, make_plan
from patterns.planning.record import plan_json
from patterns.planning.words import (
    MOST_LINES,
    WIDTH,
    brief_text,
    filter_brief,
    rate_reasons,
    shutter_brief,
)
from patterns.scenes.bars import pattern as bars
from patterns.scenes.bars.motion import BarsMotion
from patterns.scenes.motion import Motion, image_motion
from patterns.scenes.orbit.motion import OrbitMotion
from patterns.scenes.terrain.motion import TerrainMotion
from patterns.timing.audience import Audience, parse_share
from patterns.timing.rates import arcmin
from patterns.timing.shutter import FilterChoice, Shutter, parse_metered

F = Fraction
RATES = ["24000/1001", "24", "25", "30000/1001", "30", "48", "50", "60000/1001", "60", "90", "120"]
DISPLAYS = ["50", "59.94", "60", "75", "90", "120", "144", "48-120"]
BARS = BarsMotion(F(-300), F(480), F(160))

audiences = st.lists(
    st.tuples(st.sampled_from(DISPLAYS), st.integers(1, 9)), min_size=1, max_size=3
).map(lambda pairs: Audience.of([(parse_share(d)[0], F(w)) for d, w in pairs]))
rate_lists = st.lists(st.sampled_from(RATES).map(F), min_size=1, max_size=6).map(tuple)


@given(rate_lists, audiences)
def test_a_less_even_rate_never_stands_above_a_more_even_one_without_saying_why(
    rates: tuple[Fraction, ...], audience: Audience
) -> None:
    plan = make_plan(PlanRequest(BARS, audience, rates=rates))
    said = rate_reasons(plan)
    for i, above in enumerate(plan.rates):
        for below in plan.rates[i + 1 :]:
            excess = above.standing.expected_error_s - below.standing.expected_error_s
            if excess > 2e-9:
                assert "the rank goes by" in said[i] or "the rank counts" in said[i]


@given(rate_lists, audiences)
def test_ties_are_said_to_be_ties(rates: tuple[Fraction, ...], audience: Audience) -> None:
    plan = make_plan(PlanRequest(BARS, audience, rates=rates))
    for above, below, said in zip(plan.rates, plan.rates[1:], rate_reasons(plan)[1:], strict=False):
        tied = above.standing.evenness == below.standing.evenness
        assert ("as even as" in said) == tied
        if tied:
            assert above.rate > below.rate
            assert above.movement.step_px < below.movement.step_px


def test_the_jump_is_the_span_times_the_speed() -> None:
    # 24 on 60 Hz: timing errors span 8.333 ms (computed); a pan of 1920 px in 7 s.
    motion = bars.BARS.motion(1920, 1080)
    audience = Audience.of([parse_share("60")])
    jump = make_plan(PlanRequest(motion, audience, rates=(F(24),))).best.jump
    assert jump.px == pytest.approx(1920 / 7 / 120)
    assert jump.percent_of_width == pytest.approx(100 / 7 / 120)
    # At three picture heights a 16:9 picture spans 33 degrees (Chapiro et al. 2019).
    assert degrees(2 * atan(1920 / 1080 / 6)) == pytest.approx(33, abs=0.2)
    assert arcmin(1920, 1080, F(3)) / 60 == pytest.approx(33, abs=0.2)
    assert jump.arcmin == pytest.approx(arcmin(jump.px, 1080, F(3)))


def nears(audience: str, rate: str) -> tuple[str, list[float | None]]:
    request = PlanRequest(BARS, Audience.of([parse_share(audience)]), rates=(F(rate),))
    near = make_plan(request).best.near
    assert near is not None
    return str(near.rate), [
        round(float(s.slip.interval_s), 3) if s.slip else None for s in near.showings
    ]


def test_what_slips_is_the_rate_that_does_not_fit_the_display() -> None:
    # 59.94 on 60 Hz gains a refresh every 16.683 s; 60 on 60 is even (computed)
    assert nears("60", "60") == ("60000/1001", [16.683])
    assert nears("60", "60000/1001") == ("60", [None])
    assert nears("59.94", "60000/1001") == ("60", [16.683])
    assert nears("24", "24000/1001") == ("24", [None])
    # of 24 on 60 Hz, 3:2, what is seen is a break of step every 8.342 s, as `cadence` says
    assert nears("60", "24") == ("24000/1001", [8.342])


@given(
    st.lists(st.sampled_from(RATES).map(F), max_size=5).map(tuple),
    rate_lists,
    audiences,
    st.sampled_from([None, 50, 60]),
    st.sampled_from([None, "ISO100 f/2.8 1/2000", "ISO800 f/1.7 1/8", "ISO50 f/4 1/8000"]),
    st.sampled_from(
        [BARS, replace(BARS, speed_px_s=F(0)), TerrainMotion("down", F(50), F(20)), OrbitMotion()]
    ),
)
def test_the_brief_fits_a_phone(
    footage: tuple[Fraction, ...],
    rates: tuple[Fraction, ...],
    audience: Audience,
    mains_hz: int | None,
    metered: str | None,
    motion: Motion,
) -> None:
    request = PlanRequest(
        motion, audience, rates=rates, footage=footage, mains_hz=mains_hz,
        metered=metered and parse_metered(metered),  # type: ignore[arg-type]
    )  # fmt: skip
    lines = brief_text(make_plan(request)).splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= WIDTH
    assert [w for w in ("Rate", "Shutter", "Filter", "Move") if f"\n{w} " in "\n".join(lines)] == [
        "Rate", "Shutter", "Filter", "Move",
    ]  # fmt: skip


def test_what_29_97_does_beside_30() -> None:
    # 29.97 on 60 Hz: one extra refresh each 16.683 s (computed); 0.6 s in ten minutes.
    audience = Audience.of([parse_share("60"), parse_share("48-120")])
    near = plan_json(make_plan(PlanRequest(BARS, audience, rates=(F(30),))))["rates"][0]["near"]
    assert near["rate"] == "30000/1001"
    fixed, variable = near["slips"]
    assert fixed["every_s"] == pytest.approx(16.683, abs=1e-3)
    assert fixed["in_take"] == pytest.approx(600 / 16.683, abs=1e-2)
    assert (variable["every_s"], variable["in_take"]) == (None, 0)
    assert near["drift_s"] == pytest.approx(0.6)


def changed(motion: Motion, quantity: str, value: float) -> Motion:
    exact = F(value)
    if isinstance(motion, BarsMotion):
        return bars.BARS.motion(1920, 1080, {"direction": motion.direction, "cross": exact})
    if isinstance(motion, TerrainMotion):
        if quantity == "height":
            return replace(motion, height_m=exact)
        return replace(motion, ground_speed_m_s=exact)
    assert isinstance(motion, OrbitMotion)
    return replace(motion, turn_deg_s=exact if quantity == "turn rate" else 360 / exact)


@pytest.mark.parametrize(
    "motion",
    [
        bars.BARS.motion(1920, 1080, {"cross": F(3)}),
        bars.BARS.motion(1920, 1080, {"direction": "level", "cross": F(2)}),
        TerrainMotion("forward", F(14), F(25)),
        TerrainMotion("sideways", F(6), F(50), F(40)),
        TerrainMotion("down", F(20), F(60)),
        OrbitMotion("tower", F(12)),
        OrbitMotion("tank", F(-3), F(40), F(10)),
    ],
)
@pytest.mark.parametrize("rate", ["24", "60"])
def test_a_move_that_is_changed_as_advised_meets_the_guidance_exactly(
    motion: Motion, rate: str
) -> None:
    plan = make_plan(PlanRequest(motion, rates=(F(rate),)))
    assert plan.best.movement.remedies
    for remedy in plan.best.movement.remedies:
        met = changed(motion, remedy.quantity, remedy.meets_at)
        speed = image_motion(met, 1920, 1080).fastest_px_s
        assert 1920 / speed == pytest.approx(7 * 24 / float(F(rate)), rel=1e-6)
        assert make_plan(PlanRequest(met, rates=(F(rate),))).best.movement.within


def test_the_share_past_the_guidance_is_the_moving_picture_s() -> None:
    slow = make_plan(PlanRequest(TerrainMotion("down", F(1), F(60)), rates=(F(24),)))
    fast = make_plan(PlanRequest(TerrainMotion("down", F(50), F(60)), rates=(F(24),)))
    assert (slow.best.movement.past_share, fast.best.movement.past_share) == (0, 1)
    half = make_plan(PlanRequest(TerrainMotion("forward", F(20), F(20)), rates=(F(24),)))
    assert 0 < half.best.movement.past_share < 1


def test_under_mains_the_advised_exposure_holds_still_and_names_its_angle() -> None:
    plan = make_plan(PlanRequest(BARS, rates=(F(24),), mains_hz=50))
    shutter = plan.best.shutter
    assert shutter.advised_s == F(1, 50)
    assert float(shutter.advised_deg) == 172.8  # Brown, Cinematography, table 10.6
    assert shutter_brief(shutter, 50) == ("1/50 s (172.8 deg)", "still under 50 Hz lamps")


def test_no_exposure_holds_still_is_said() -> None:
    plan = make_plan(PlanRequest(BARS, rates=(F(120),), mains_hz=50))
    assert plan.best.shutter.mains is not None
    assert plan.best.shutter.mains.nearest_s is None
    assert "FLICKERS under 50 Hz lamps" in shutter_brief(plan.best.shutter, 50)[1]


def test_filter_goes_with_the_advised_exposure_and_darkness_is_said() -> None:
    metered = parse_metered("ISO100 f/2.8 1/2000")
    plan = make_plan(PlanRequest(BARS, rates=(F(25),), mains_hz=50, metered=metered))
    filters = plan.best.shutter.filters
    assert filters is not None
    assert filters.factor == pytest.approx(40)  # 1/50 s against 1/2000 s
    dark = make_plan(PlanRequest(BARS, rates=(F(25),), metered=parse_metered("ISO100 f/2.8 1/5")))
    assert dark.best.shutter.filters is not None
    assert "too DARK" in filter_brief(dark.best.shutter.filters)[1]


def test_a_filter_is_named_by_density_factor_and_stops() -> None:
    # ND 1.8 passes 1/64 of the light, 6 stops; ND 3.0 is sold as ND1000 (common practice)
    assert FilterChoice(6.03, (F(9, 5),)).described == "ND 1.8 (ND64, 6 stops)"
    assert FilterChoice(1.0, (F(3, 10),)).described == "ND 0.3 (ND2, 1 stop)"
    pair = FilterChoice(12.0, (F(3), F(3, 5)))
    assert pair.described == "ND 3.0 + ND 0.6 (12 stops)"


def test_footage_is_conformed_where_that_is_more_even_and_left_where_it_is_not() -> None:
    plan = make_plan(PlanRequest(BARS, footage=(F(24), F(30))))
    shot_24, shot_30 = plan.footage
    assert shot_24.best is not None
    assert shot_24.best.conform.timeline == 30
    assert shot_24.best.conform.speed == F(5, 4)
    assert shot_30.best is None
    on_120 = make_plan(PlanRequest(BARS, Audience.of([parse_share("120")]), footage=(F(24),)))
    assert on_120.footage[0].best is None


@given(rate_lists, audiences, st.sampled_from(RATES).map(F))
def test_advised_conform_is_never_less_even_than_leaving_it(
    rates: tuple[Fraction, ...], audience: Audience, footage: Fraction
) -> None:
    advice = make_plan(PlanRequest(BARS, audience, rates=rates, footage=(footage,))).footage[0]
    if advice.best is not None:
        assert advice.best.played.evenness < advice.own.evenness
        assert abs(advice.best.conform.speed - 1) <= F(3, 10)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rates": ()}, "at least one candidate"),
        ({"shutter": Shutter(F(0))}, "outside 1 to 360"),
        ({"viewing_heights": F(0)}, "picture heights"),
        ({"width": 2}, "128 to 8192"),
        ({"take_s": F(0)}, "outside 0 to 86400"),
    ],
)
def test_impossible_requests(change: dict[str, object], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        PlanRequest(BARS, **change)  # type: ignore[arg-type]


def test_footage_that_leaves_no_room_in_the_brief_is_counted() -> None:
    rates = (F(24000, 1001), F(30000, 1001))
    request = PlanRequest(BARS, Audience.of([parse_share("60")]), rates=rates,
                          footage=(F(24000, 1001), F(24)))  # fmt: skip
    lines = brief_text(make_plan(request)).splitlines()
    assert len(lines) <= MOST_LINES
    assert lines[-1].endswith("(1 more rate shot)")

"""Timelines and doubts. Check values are own design rules or arithmetic with exact factors, as said beside each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.life import Life, Span, accrue, derived_hours, derived_km, life_of, remaining_life
from services.odometer import (
    BadNumber,
    DisplayChange,
    ImpossibleSpeed,
    ReadingBeforeDelivery,
    ReadingInFuture,
    build_timeline,
    judge_reading,
    wheel_scale,
)
from services.riding import plain_km_per_day

readings = st.lists(st.tuples(st.floats(1, 2000), st.floats(0, 30_000)), min_size=0, max_size=12)


def judge(day, value, unit="km", days=(0, 100), km=(0.0, 1000.0), rate=10.0, strict=True, now=1000.0, delivered=0.0):
    return judge_reading(
        day=day, value=value, unit=unit, now_day=now, delivered_day=delivered, readings_days=list(days),
        readings_km=list(km), km_per_day=rate, strict=strict,
    )  # fmt: skip


def test_a_swapped_display_adds_up():
    # own rule: display A 0 to 4,812 km, display B now 1,350 km: life 6,162 km
    line = build_timeline([400, 600], [4812, 1350], [DisplayChange(450, 4812, 0)], zero_day=0)
    assert line.last_km == 6162


def test_a_chain_fitted_at_5000_has_run_what_came_after():
    # own rule: 6,162 km less 5,000 km
    line = build_timeline([100, 200], [5000, 6162], zero_day=0)
    assert life_of([Span(100, None, line)], 200).km == pytest.approx(1162)


def test_a_display_that_began_used_counts_only_its_own_distance():
    line = build_timeline([150], [2300], [DisplayChange(100, 1000, 2000)], zero_day=0)
    assert line.last_km == 1300


def test_a_lost_last_value_is_bridged_by_the_riding_rate_and_flagged():
    line = build_timeline([100, 300], [1000, 50], [DisplayChange(150, None, 0)], zero_day=0, km_per_day=10)
    assert line.life_at(150) == pytest.approx(1500)
    assert line.last_km == pytest.approx(1550)
    assert line.estimated.tolist() == [False, False, True, False]
    assert line.is_estimate([50, 120, 301]).tolist() == [False, True, True]


def test_without_a_rate_the_average_before_the_swap_bridges_it():
    line = build_timeline([100], [1000], [DisplayChange(150, None, 0)], zero_day=0)
    assert line.last_km == pytest.approx(1500)


def test_a_display_lost_on_the_first_day_is_bridged_with_nothing():
    assert build_timeline([], [], [DisplayChange(0, None, 0)], zero_day=0).last_km == 0


def test_life_before_the_first_day_is_nought_and_goes_on_at_the_rate_after_the_last():
    line = build_timeline([100], [1000], zero_day=0)
    assert line.life_at([-5, 50, 110], 8.0).tolist() == [0, 500, 1080]


def test_a_display_that_stood_at_something_at_handover_counts_from_there():
    assert build_timeline([10], [112], zero_day=0, zero_km=12).last_km == 100


@given(readings, st.floats(1, 2000))
def test_life_never_falls(rows, swap):
    line = build_timeline([d for d, _ in rows], [k for _, k in rows], [DisplayChange(swap, None, 0)], zero_day=0)
    assert np.all(np.diff(line.life_km) >= 0)
    assert np.all(np.diff(line.days) > 0)


@given(readings, st.randoms())
def test_the_order_of_rows_does_not_matter(rows, random):
    mixed = list(rows)
    random.shuffle(mixed)
    one = build_timeline([d for d, _ in rows], [k for _, k in rows], zero_day=0)
    other = build_timeline([d for d, _ in mixed], [k for _, k in mixed], zero_day=0)
    assert one.days.tolist() == other.days.tolist()
    assert one.life_km.tolist() == other.life_km.tolist()


def test_a_plausible_reading_is_accepted():
    assert judge(150, 1500).state == "accepted"


def test_the_first_reading_of_all_is_accepted():
    assert judge(150, 1500, days=(), km=()).state == "accepted"


def test_a_reading_in_miles_below_the_last_is_asked_about():
    # exact factor: 3,107 mi = 5,000.232 km (NIST SP 811)
    verdict = judge(110, 3107, days=(0, 100), km=(0, 4900), rate=10)
    assert (verdict.state, verdict.code) == ("suspect", "below-the-last-reading")
    miles = next(p for p in verdict.proposals if p.code == "typed_in_miles")
    assert miles.km == pytest.approx(5000.232, abs=0.001)
    assert "1,793 km below" in verdict.reason
    assert verdict.proposals[-1].code == "display_reset"


def test_kilometres_typed_as_miles_are_asked_about():
    verdict = judge(110, 5010, unit="mi", days=(0, 100), km=(0, 4900), rate=10)
    assert verdict.state == "suspect"
    assert verdict.proposals[0].km == 5010
    assert verdict.proposals[0].code == "typed_in_km"


def test_a_lost_digit_is_proposed():
    verdict = judge(110, 512, days=(0, 100), km=(0, 5000), rate=10)
    assert any(p.code.startswith("digit_slip") and 5000 <= p.km <= 5130 for p in verdict.proposals)


def test_a_small_step_back_is_rounding():
    # displays cut to whole units, desks round (common practice, no source)
    assert judge(110, 999.5).state == "accepted"
    assert judge(110, 621, unit="mi").state == "accepted"  # 999.4 km


def test_a_reading_between_two_that_exceeds_the_later_is_suspect_without_a_reset():
    verdict = judge(50, 3000, days=(0, 100), km=(0.0, 1000.0))
    assert verdict.code == "above-a-later-reading"
    assert all(p.km <= 1002 for p in verdict.proposals)


def test_a_reading_far_below_with_no_better_idea_still_offers_the_reset():
    verdict = judge(101, 0, days=(0, 100), km=(0, 48_000), rate=1)
    assert [p.code for p in verdict.proposals] == ["display_reset"]


def test_a_reading_below_between_two_offers_no_reset():
    verdict = judge(150, 5, days=(0, 100, 200), km=(0.0, 1000.0, 2000.0))
    assert "display_reset" not in {p.code for p in verdict.proposals}


def test_more_than_400_km_a_day_is_refused_at_the_desk_and_kept_from_a_file():
    with pytest.raises(ImpossibleSpeed) as refusal:
        judge(101, 700_000)
    assert refusal.value.field == "value"
    assert judge(101, 700_000, strict=False).code == "impossible-speed"


def test_more_than_200_km_a_day_for_days_is_asked_about():
    assert judge(110, 3500).code == "very-fast"


def test_a_leap_that_fits_better_in_another_unit_is_asked_about():
    verdict = judge(130, 1300, unit="mi", rate=10)
    assert verdict.code == "unlike-this-rider"
    assert verdict.proposals[0].km == 1300


def test_a_leap_of_four_times_the_usual_with_a_digit_too_many_is_asked_about():
    assert judge(130, 13_000, days=(0, 100), km=(0, 1000), rate=10, strict=False).proposals[0].km == 1300


def test_a_leap_with_no_better_idea_is_a_tour():
    assert judge(130, 2222, rate=10).state == "accepted"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1, 1_000_001, 10**400, True, "12", None])
def test_what_no_display_shows_is_refused(value):
    with pytest.raises(BadNumber) as refusal:
        judge(150, value)
    assert refusal.value.field == "value"


def test_a_reading_in_the_future_is_refused():
    with pytest.raises(ReadingInFuture):
        judge(1001, 1200)


def test_a_reading_before_the_handover_is_refused():
    with pytest.raises(ReadingBeforeDelivery):
        judge(-1, 1)


def test_a_trike_in_build_has_no_handover_to_be_before():
    assert judge(-1, 0.5, delivered=None).state == "accepted"


def test_a_wrong_wheel_scales_everything():
    # geometry: rolling circumferences of sizes 47-559 and 47-406, 2,051.5 and 1,570.8 mm
    assert wheel_scale(2051.5, 1570.8) == pytest.approx(1.3060, abs=0.0005)


def test_a_hub_moved_to_another_trike_keeps_its_kilometres():
    first = build_timeline([100], [1000], zero_day=0)
    second = build_timeline([300], [900], zero_day=0)
    life = life_of([Span(0, 100, first), Span(200, None, second, 5.0)], 310)
    assert life.km == pytest.approx(1000 + 300 + 50)
    assert life.days_fitted == 210
    assert life.is_estimate


def test_a_span_that_has_not_begun_adds_nothing():
    line = build_timeline([100], [1000], zero_day=0)
    assert life_of([Span(50, None, line)], 40, born_km=7) == Life(7, 0.0)


def test_an_unknown_past_is_unknown_and_not_nought():
    # EASA M.A.305 GM (d), 14 CFR 43.10 (analogy): limit 6,000, life 4,250 leaves 1,750; unknown stays unknown
    assert remaining_life(6000, Life(4250, 0)) == 1750
    assert remaining_life(6000, Life(4250, 0, is_unknown=True)) is None


def test_accrual_never_takes_back():
    assert accrue(np.array([5.0, 10.0]), np.array([7.0, 9.0])).tolist() == [2.0, 0.0]


def test_hours_are_derived_at_the_printed_mean_speed():
    # mean speed 18.7 km/h, printed for Dutch e-bike riders: 935 km are 50 h
    assert derived_hours(935.0) == pytest.approx(50)
    assert derived_km(50.0) == pytest.approx(935)
    assert derived_km(200.0) == pytest.approx(3740)
    assert derived_hours(None) is None


def test_a_rider_with_a_month_of_readings_has_a_plain_average_of_his_own():
    assert plain_km_per_day(build_timeline([0, 100], [0, 1000], zero_day=0)) == 10


@pytest.mark.parametrize(("days", "km"), [([], []), ([20], [400])])
def test_before_that_a_typical_rate_serves(days, km):
    assert plain_km_per_day(build_timeline(days, km, zero_day=0)) * 365.25 == pytest.approx(1600)


def test_a_trike_that_stands_has_the_rate_nought():
    assert plain_km_per_day(build_timeline([0, 200], [0, 0], zero_day=0)) == 0


def test_each_proposal_can_be_chosen_by_a_code_of_its_own():
    codes = [p.code for p in judge(110, 512, days=(0, 100), km=(0, 5000), rate=10).proposals]
    assert len(set(codes)) == len(codes) > 1


def test_a_whole_unit_below_the_last_is_never_taken_silently():
    assert judge(110, 999).code == "below-the-last-reading"


def test_miles_beyond_any_display_are_refused():
    with pytest.raises(BadNumber):
        judge(150, 900_000, unit="mi")


def test_a_refused_speed_says_the_limit_and_what_was_likely_meant():
    with pytest.raises(ImpossibleSpeed) as refusal:
        judge(110, 11_000, rate=10)
    assert "nobody rides more than 400 km" in refusal.value.message
    assert "1,100 km" in refusal.value.remedy


def test_a_speed_is_told_in_the_unit_that_was_typed():
    assert judge(110, 4000, unit="mi", strict=False).reason.endswith("nobody rides more than 249 mi.")
    assert "in 1 day is" in judge(101, 2000, strict=False).reason


def test_miles_typed_as_kilometres_above_the_last_reading_are_asked_about():
    # exact factor: 1,292 mi = 2,079 km; 90 days at 12 km a day after 1,000 km give 2,080 km
    verdict = judge(190, 1292, rate=12)
    assert (verdict.code, verdict.proposals[0].code) == ("unlike-this-rider", "typed_in_miles")
    assert "far less than this rider's 12 km a day" in verdict.reason


def test_a_rider_who_stood_still_is_not_asked():
    assert judge(190, 1010, days=(0, 100), km=(0, 1000.0), rate=12).state == "accepted"


def test_the_distance_of_a_tour_instead_of_the_whole_is_proposed():
    verdict = judge(107, 35, days=(0, 100), km=(0, 4900), rate=10)
    assert ("trip_counter", 4935) in {(p.code, p.km) for p in verdict.proposals}


def test_swapped_digits_are_proposed():
    verdict = judge(110, 9410, days=(0, 100), km=(0, 4800), rate=10, strict=False)
    assert 4910 in {p.km for p in verdict.proposals}


def test_the_first_reading_is_judged_from_the_handover():
    def first(value, day=7):
        return judge_reading(
            day=day, value=value, unit="km", now_day=1000, delivered_day=0.5, readings_days=[], readings_km=[],
            km_per_day=4.4, zero_km=12,
        )  # fmt: skip

    assert first(60).state == "accepted"
    assert first(5).code == "below-the-last-reading"
    with pytest.raises(ImpossibleSpeed):
        first(45_000)


@given(
    st.floats(0, 30_000), st.integers(1, 400), st.floats(0, 1_000_000), st.sampled_from(["km", "mi"]), st.floats(0, 60)
)
def test_every_verdict_gives_proposals_that_fit_after_the_last_reading(last, gap, value, unit, rate):
    try:
        verdict = judge(100 + gap, value, unit=unit, days=(100,), km=(last,), rate=rate, strict=False)
    except BadNumber:
        return
    assert (verdict.state == "suspect") is bool(verdict.code)
    assert all(p.km > last - 2 for p in verdict.proposals if p.code != "display_reset")
    assert len({p.code for p in verdict.proposals}) == len(verdict.proposals)
    assert len(verdict.reason) <= 400


def test_a_swap_before_the_handover_is_in_the_first_value_already():
    line = build_timeline([100], [1000], [DisplayChange(-20, 300, 0)], zero_day=0, zero_km=2)
    assert (line.last_km, float(line.days[0])) == (998, 0)


def test_after_a_guessed_last_value_the_life_of_the_trike_stays_an_estimate():
    line = build_timeline([100, 300, 400], [1000, 50, 60], [DisplayChange(150, None, 0)], zero_day=0, km_per_day=10)
    assert line.is_estimate([100, 150, 300, 400]).tolist() == [False, True, True, True]


@pytest.mark.parametrize(
    ("start", "end", "estimate"),
    [
        (0, 100, False),
        (0, 300, True),
        (0, 120, True),
        (120, 300, True),
        (150, 300, False),
        (200, 400, False),
        (200, 401, True),
    ],
)
def test_what_a_part_has_run_is_an_estimate_only_where_the_guess_lies_within(start, end, estimate):
    line = build_timeline([100, 300, 400], [1000, 50, 60], [DisplayChange(150, None, 0)], zero_day=0, km_per_day=10)
    assert life_of([Span(start, end, line)], 500).is_estimate is estimate


@given(readings, st.lists(st.floats(-10, 2100), min_size=1, max_size=5), st.floats(0, 50))
def test_life_at_a_later_day_is_never_less(rows, days, pace):
    line = build_timeline([d for d, _ in rows], [k for _, k in rows], zero_day=0)
    assert np.all(np.diff(line.life_at(sorted(days), pace)) >= -1e-9)


def test_a_leap_that_only_a_slip_explains_is_asked_about():
    verdict = judge(130, 3120, rate=10)
    assert verdict.code == "unlike-this-rider"
    assert "far more than this rider's 10 km a day" in verdict.reason
    assert 1320 in {p.km for p in verdict.proposals}

"""Check values printed in maintenance manuals and rules; aviation and military ones are analogies."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.rebasing import (
    WINDOW_SHARE,
    Rebase,
    Slot,
    add_days,
    add_months,
    rebase,
    rebase_date,
    window_days,
    window_hours,
    window_km,
)

dates = st.dates(date(2000, 1, 1), date(2060, 12, 31))


@pytest.mark.parametrize("done", [1604.4, 1614.4])
def test_a_window_kept_to_its_very_edge_counts_from_the_due_point(done):
    # TM 1-1500-328-23, printed: 75 h, due 1609.4, tolerance 5 h, next 1684.4
    assert rebase(Rebase.WINDOW, 1609.4, done, 75, window_hours(75)) == pytest.approx(1684.4)


@pytest.mark.parametrize("done", [1604.3, 1614.5])
def test_a_tenth_of_an_hour_outside_the_window_counts_from_the_work(done):
    assert rebase(Rebase.WINDOW, 1609.4, done, 75, window_hours(75)) == pytest.approx(done + 75)


def test_done_early_outside_the_window_the_next_counts_from_the_work():
    # TM 1-1500-328-23, printed: 50 h, due 1306.4, done 1299.9, next 1349.9
    assert rebase(Rebase.WINDOW, 1306.4, 1299.9, 50, window_hours(50)) == pytest.approx(1349.9)


def test_a_tenth_of_25_hours_makes_the_printed_band():
    # TM 1-1500-328-23, printed: 25 h, due 1472.7, band 1470.2 to 1475.2
    done = (1470.1, 1470.2, 1475.2, 1475.3)
    inside = [h for h in done if rebase(Rebase.WINDOW, 1472.7, h, 25, window_hours(25)) == 1472.7 + 25]
    assert inside == [1470.2, 1475.2]


@pytest.mark.parametrize(("hours", "tolerance"), [(25, 2.5), (49, 4.9), (50, 5), (75, 5), (500, 5)])
def test_a_window_in_hours_is_a_tenth_and_at_most_five(hours, tolerance):
    # TM 1-1500-328-23: a tenth below 50 h, 5 h from there on
    assert window_hours(hours) == pytest.approx(tolerance)


@pytest.mark.parametrize(("days", "tenth", "tolerance"), [(90, 9, 9), (180, 18, 18), (360, 36, 30)])
def test_a_tenth_of_a_quarter_half_and_whole_year(days, tenth, tolerance):
    # PS Magazine 580, printed: 9, 18 and 36 days; of the last TM 1-1500-328-23 leaves 30
    assert days * WINDOW_SHARE == pytest.approx(tenth)
    assert window_days(days) == tolerance


@pytest.mark.parametrize(("days", "tolerance"), [(14, 1), (300, 30), (365, 30), (1095, 30)])
def test_a_calendar_window_is_a_tenth_and_at_most_thirty_days(days, tolerance):
    # TM 1-1500-328-23: 10 % below 12 months, 30 days from there on; it prints 4 to 6 June for 14 days, so 1.4 is cut to 1
    assert window_days(days) == tolerance


def test_a_distance_window_is_a_tenth_and_at_most_250_km():
    # own rule
    assert (window_km(1000), window_km(5000)) == (100, 250)


@pytest.mark.parametrize(
    ("done", "inside"), [("1999-01-13", True), ("1999-01-12", False), ("1999-02-18", True), ("1999-02-19", False)]
)
def test_six_months_due_31_january_have_the_printed_window(done, inside):
    # TM 1-1500-328-23, printed: window 13 Jan to 18 Feb 1999, next 31 Jul 1999
    day = date.fromisoformat(done)
    following = rebase_date(Rebase.WINDOW, date(1999, 1, 31), day, window_days(180), months=6)
    assert (following == date(1999, 7, 31)) is inside
    assert inside or following == add_months(day, 6)


@pytest.mark.parametrize(("done", "following"), [(110, 200), (87, 187)])
def test_never_later_counts_from_the_earlier_of_due_and_done(done, following):
    # engine manual excerpt, printed: interval 100, due 100
    assert rebase(Rebase.NEVER_LATER, 100, done, 100, 0) == following


def test_never_later_after_30_hours_of_delay_leaves_70():
    # shop text on the federal rule, printed: due 100, done 130, next after 70 h
    assert rebase(Rebase.NEVER_LATER, 100, 130, 100, 0) - 130 == 70


@pytest.mark.parametrize(
    ("done", "window", "never_later", "from_done", "from_due"),
    [(87, 187, 187, 187, 200), (98, 200, 198, 198, 200), (103, 200, 200, 203, 200), (115, 215, 200, 215, 200)],
)
def test_four_policies_answer_the_same_work_in_four_ways(done, window, never_later, from_done, from_due):
    # the rules above, computed by hand: interval 100, due 100, tolerance 5
    policies = (Rebase.WINDOW, Rebase.NEVER_LATER, Rebase.FROM_DONE, Rebase.FROM_DUE)
    assert [rebase(p, 100, done, 100, 5) for p in policies] == [window, never_later, from_done, from_due]


def test_oil_done_past_the_window_counts_from_the_work_unless_it_may_never_be_later():
    # computed by hand: 5,000 km due at 10,000, tolerance 250
    tolerance = window_km(5000)
    assert rebase(Rebase.WINDOW, 10_000, 10_200, 5000, tolerance) == 15_000
    assert rebase(Rebase.WINDOW, 10_000, 10_300, 5000, tolerance) == 15_300
    assert rebase(Rebase.NEVER_LATER, 10_000, 10_300, 5000, tolerance) == 15_000


@pytest.mark.parametrize("policy", [Rebase.FROM_DUE, Rebase.NEVER_LATER])
def test_work_just_done_is_not_overdue_even_when_slots_were_missed(policy):
    # own rule
    assert rebase(policy, 100, 330, 100, 0) == 400
    assert rebase(policy, 100, 300, 100, 0) == 400
    assert rebase_date(policy, date(2023, 3, 1), date(2025, 5, 1), 0, months=12) == date(2026, 3, 1)


def test_the_normal_case_counts_from_the_release():
    # EASA FAQ 19102: release 3 May 2024, 12 months
    assert rebase_date(Rebase.FROM_DONE, date(2024, 5, 1), date(2024, 5, 3), 0, months=12) == date(2025, 5, 3)


@pytest.mark.parametrize("policy", [Rebase.NEVER_LATER, Rebase.FROM_DUE])
def test_an_extension_is_paid_back_at_the_next_due_date(policy):
    # EASA FAQ 19102 case 1: due 1 May 2024, variation used, done 20 May, 12 months
    assert rebase_date(policy, date(2024, 5, 1), date(2024, 5, 20), 0, months=12) == date(2025, 5, 1)


@pytest.mark.parametrize(
    ("anchor", "months", "expected"),
    [("2024-08-31", 6, "2025-02-28"), ("2024-01-31", 1, "2024-02-29"), ("2024-01-31", 2, "2024-03-31"),
     ("2024-02-29", 12, "2025-02-28"), ("2024-03-31", -1, "2024-02-29"), ("2024-11-30", 1, "2024-12-30")],
)  # fmt: skip
def test_months_are_calendar_months_clipped_at_the_end(anchor, months, expected):
    # measured with python-dateutil 2.9.0 (relativedelta)
    assert add_months(date.fromisoformat(anchor), months) == date.fromisoformat(expected)


def test_slots_stay_on_the_anchors_day_instead_of_drifting():
    # measured with python-dateutil 2.9.0: 31 Jan + 2 months is 31 Mar; month after month gives 29 Mar
    assert add_months(add_months(date(2024, 1, 31), 1), 1) == date(2024, 3, 29)
    slot = Slot(date(2024, 1, 31), 1, 0)
    assert slot.on == date(2024, 2, 29)
    assert slot.after(Rebase.FROM_DUE, date(2024, 2, 27), 3).on == date(2024, 3, 31)


def test_no_month_is_skipped_from_31_december():
    # python-dateutil issue 149, printed: a monthly recurrence rule gives the months 12,1,3,5,7,8,10,12 and must not be used
    months = [add_months(date(2014, 12, 31), n).month for n in range(8)]
    assert months == [12, 1, 2, 3, 4, 5, 6, 7]


def test_far_beyond_the_calendar_it_stays_at_its_end():
    assert add_months(date(2026, 1, 1), 1_000_000) == date.max
    assert add_days(date(2026, 1, 1), 10_000_000) == date.max
    assert Slot(date(2026, 1, 1), 1_000_000, 0).after(Rebase.FROM_DUE, date(2027, 1, 1), 0).on == date.max


def test_an_interval_of_nothing_ends_where_it_was_done():
    assert rebase_date(Rebase.FROM_DUE, date(2026, 1, 1), date(2026, 2, 1), 0) == date(2026, 2, 1)


@given(st.sampled_from(Rebase), dates, dates, st.integers(1, 60))
def test_the_next_date_lies_after_the_work_and_within_an_interval_and_its_window(policy, due, done, months):
    tolerance = window_days(months * 30)
    following = rebase_date(policy, due, done, tolerance, months=months)
    assert following > done
    # done well before it was due, a kept slot lies further on
    assert following <= add_months(max(done, due), months) + timedelta(days=tolerance)


@given(st.sampled_from(Rebase), st.floats(0, 50_000), st.floats(0, 50_000), st.floats(50, 10_000))
def test_the_next_distance_lies_after_the_work(policy, due, done, interval):
    assert rebase(policy, due, done, interval, window_km(interval)) > done

"""When a task falls due and the sentence that says why. Sources stand beside each value; rules without one say so."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.intervals import (
    Due,
    Limits,
    Point,
    Rebase,
    Rule,
    covered_tasks,
    early_from,
    next_limits,
    sentence,
    status,
)

DELIVERY = Point(date(2024, 1, 1), 0.0)
HUB_OIL = Rule(task="hub_oil", title="Hub oil", verb="Last changed", first_km=1000, every_km=5000, every_months=12)
RECURRING = Rule(task="hub_oil", title="Hub oil", verb="Last changed", every_km=5000, every_months=12)


# Limits


def test_the_break_in_comes_first_and_the_interval_counts_from_it():
    # hub instruction quoted by an owner: first at 1,000 km, then every 5,000 km or 12 months; done at 980 km on 10 Jun 2024
    assert next_limits(HUB_OIL, DELIVERY, []).km == 1000
    done = Point(date(2024, 6, 10), 980.0)
    assert next_limits(HUB_OIL, DELIVERY, [done]) == Limits(date(2025, 6, 10), 5980.0, None, None)


def test_a_trike_that_hardly_runs_gets_its_first_oil_by_the_calendar():
    # own rule: a trigger without a break-in of its own keeps the recurring interval
    limits = next_limits(HUB_OIL, DELIVERY, [])
    assert limits.is_first
    assert limits.on == date(2025, 1, 1)


def test_a_first_inspection_has_its_own_days_and_happens_once():
    # trike dealer: 90 days after break-in if the distance is not reached
    rule = Rule(task="first", first_km=200, first_days=90, every_months=12, once=True)
    assert next_limits(rule, DELIVERY, []) == Limits(date(2024, 3, 31), 200.0, None, None, True)
    assert next_limits(rule, DELIVERY, [Point(date(2024, 2, 1), 150.0)]) is None


def test_each_side_of_a_dual_criterion_is_reckoned_on_its_own():
    # TM 1-1500-328-23, printed: 14 days / 10 hours, done 22 May 1997 at 1709 h, due 5 June 1997 or 1719 h
    rule = Rule(task="inspection", every_days=14, every_hours=10)
    limits = next_limits(rule, Point(date(1997, 5, 22), None, 1709.0), [])
    assert (limits.on, limits.hours) == (date(1997, 6, 5), 1719.0)


@pytest.mark.parametrize(
    ("done", "expected"),
    [
        (Point(date(1997, 6, 4), None, 1718.0), (date(1997, 6, 19), 1729.0)),
        (Point(date(1997, 6, 3), None, 1720.0), (date(1997, 6, 17), 1729.0)),
        (Point(date(1997, 6, 6), None, 1720.5), (date(1997, 6, 19), 1730.5)),
    ],
)
def test_a_window_counts_only_for_its_own_side(done, expected):
    # same manual: windows 1718 to 1720 h and 4 to 6 June 1997, so 1.4 days are cut to one
    rule = Rule(task="inspection", every_days=14, every_hours=10, rebase=Rebase.WINDOW)
    limits = next_limits(rule, Point(date(1997, 5, 22), None, 1709.0), [done])
    assert (limits.on, limits.hours) == expected


@pytest.mark.parametrize(
    ("every", "due", "done", "following"),
    [(75, 1609.4, 1604.4, 1684.4), (75, 1609.4, 1614.4, 1684.4), (50, 1306.4, 1299.9, 1349.9)],
)
def test_hours_done_inside_the_printed_window_keep_the_slot_and_outside_begin_anew(every, due, done, following):
    # TM 1-1500-328-23, printed: 75 h within 5 h either way, next 1684.4; 50 h done 6.5 h early, next 1349.9
    rule = Rule(task="inspection", every_hours=every, rebase=Rebase.WINDOW)
    start, work = Point(date(1998, 1, 1), None, due - every), Point(date(1998, 6, 1), None, done)
    assert next_limits(rule, start, [work]).hours == pytest.approx(following)


def test_charge_cycles_count_like_any_meter():
    limits = next_limits(Rule(task="test", every_cycles=200), Point(date(2024, 1, 1), None, None, 40.0), [])
    assert limits.cycles == 240


def test_a_month_slot_kept_twice_stays_at_the_end_of_the_month():
    # measured with python-dateutil 2.9.0: 31 Jan + 2 months is 31 Mar, month after month gives 29 Mar
    rule = Rule(task="check", every_months=1, rebase=Rebase.FROM_DUE)
    start = Point(date(2024, 1, 31), None)
    assert next_limits(rule, start, [Point(date(2024, 2, 28), None)]).on == date(2024, 3, 31)


def test_a_life_unknown_at_the_last_work_leaves_the_calendar_only():
    limits = next_limits(RECURRING, DELIVERY, [Point(date(2024, 5, 1), None)])
    assert limits == Limits(date(2025, 5, 1), None, None, None)


def test_a_life_known_again_counts_from_there():
    dones = [Point(date(2024, 5, 1), None), Point(date(2025, 4, 1), 3000.0)]
    assert next_limits(RECURRING, DELIVERY, dones).km == 8000


@pytest.mark.parametrize(("usual", "severity", "short"), [(5000, 0.60, 3000), (7500, 0.50, 3750)])
def test_hard_use_shortens_distance_by_the_printed_ratios(usual, severity, short):
    # two service pages print 5,000 to 3,000 mi and 7,500 to 3,750 mi for severe use
    assert next_limits(Rule(task="t", every_km=usual), DELIVERY, [], severity).km == pytest.approx(short)


def test_hard_use_never_moves_the_calendar_nor_goes_below_a_quarter_nor_lengthens():
    # own rule
    assert next_limits(RECURRING, DELIVERY, [], 0.1) == Limits(date(2025, 1, 1), 1250.0, None, None)
    assert next_limits(RECURRING, DELIVERY, [], 1.5).km == 5000


def test_a_rule_may_stand_above_the_kind_of_use():
    assert next_limits(Rule(task="t", every_km=5000, severity_applies=False), DELIVERY, [], 0.5).km == 5000


def test_nought_means_that_the_trigger_is_not_used():
    assert next_limits(Rule(task="t", first_km=0, every_km=0, every_months=6), DELIVERY, []) == Limits(
        date(2024, 7, 1), None, None, None
    )


@given(st.sampled_from(Rebase), st.lists(st.tuples(st.integers(1, 900), st.floats(0, 9000)), max_size=8))
def test_whatever_the_policy_the_next_limits_lie_after_the_last_work(policy, steps):
    rule = Rule(task="t", every_km=2000, every_months=6, rebase=policy)
    day, km, dones = DELIVERY.on, 0.0, []
    for days, distance in steps:
        day, km = day + timedelta(days=days), km + distance
        dones.append(Point(day, km))
    limits = next_limits(rule, DELIVERY, dones)
    assert limits.on > day
    assert limits.km > km


# Early, soon, overdue


def test_the_early_window_opens_with_the_days_or_with_the_distance_whichever_is_shorter():
    due = Due(date(2025, 3, 1), "km", 8200.0)
    assert early_from(due, Rule(task="t", early_days=14, early_km=120), 12.0) == date(2025, 2, 19)
    assert early_from(due, Rule(task="t", early_days=14, early_km=1200), 12.0) == date(2025, 2, 15)
    assert early_from(due, Rule(task="t", early_days=14), 12.0) == date(2025, 2, 15)
    assert early_from(due, Rule(task="t", early_days=14, early_km=120), None) == date(2025, 2, 15)
    assert early_from(Due(None, None, None), Rule(task="t"), 12.0) is None


@pytest.mark.parametrize(
    ("today", "late_days", "word"),
    [
        ("2025-02-14", 0, "ok"),
        ("2025-02-15", 0, "soon"),
        ("2025-03-01", 0, "due"),
        ("2025-03-02", 0, "overdue"),
        ("2025-03-02", 3, "due"),
    ],
)
def test_today_only_compares(today, late_days, word):
    assert status(date(2025, 3, 1), date(2025, 2, 15), date.fromisoformat(today), late_days) == word


def test_what_has_no_date_is_not_due():
    assert status(None, None, date(2025, 3, 1)) == "ok"
    assert status(date(2025, 3, 1), None, date(2025, 2, 28)) == "ok"


# Larger covers smaller

INCLUDES = {"major": ["general", "bearings"], "general": ["chain", "brakes"]}


def test_a_larger_service_covers_the_smaller_ones_however_deep():
    # analogue: 14 CFR 91.409(b), an annual is accepted for a 100-hour inspection
    assert covered_tasks(["major"], INCLUDES) == {
        "general": "major",
        "bearings": "major",
        "chain": "major",
        "brakes": "major",
    }


def test_a_smaller_service_never_covers_the_larger():
    assert covered_tasks(["chain"], INCLUDES) == {}


def test_a_task_done_itself_is_not_covered_again():
    assert covered_tasks(["general", "chain"], INCLUDES) == {"brakes": "general"}


# The sentence


def told(rule=RECURRING, **changes):
    last = Point(date(2026, 4, 14), 3120.0)
    values = {"last": last, "limits": next_limits(rule, DELIVERY, [last]), "due": Due(date(2027, 4, 14), "date", 8120.0),
              "now_km": 5480.0, "today": date(2026, 9, 1)}  # fmt: skip
    return sentence(rule, **{**values, **changes})


def test_the_sentence_says_interval_last_time_and_what_comes_first():
    assert told() == (
        "Hub oil: every 5,000 km or 12 months. Last changed 14 Apr 2026 at 3,120 km, now about 5,480 km. "
        "Twelve months come first: due 14 Apr 2027."
    )


def test_the_sentence_speaks_miles_to_those_who_ride_miles():
    assert told(unit="mi").startswith(
        "Hub oil: every 3,107 mi or 12 months. Last changed 14 Apr 2026 at 1,939 mi, now about 3,405 mi."
    )


def test_when_the_distance_decides_the_sentence_says_where():
    words = told(due=Due(date(2027, 2, 1), "km", 8120.0))
    assert words.endswith("The distance comes first: due 1 Feb 2027 at 8,120 km.")


def test_what_is_past_was_due():
    assert told(today=date(2027, 5, 1)).endswith("Twelve months come first: was due 14 Apr 2027.")


def test_before_the_first_time_the_sentence_tells_the_break_in():
    words = told(
        HUB_OIL,
        last=None,
        limits=next_limits(HUB_OIL, DELIVERY, []),
        due=Due(date(2024, 5, 1), "km", 1000.0),
        now_km=420.0,
    )
    assert words == (
        "Hub oil: first at 1,000 km or 12 months. Not done yet, now about 420 km. "
        "The distance comes first: was due 1 May 2024 at 1,000 km."
    )


def test_hard_use_is_named():
    assert "every 3,750 km or 12 months (distance shortened to 75 % for hard use)" in told(severity=0.75)


def test_an_unknown_distance_is_called_unknown():
    words = told(last=Point(date(2026, 4, 14), None), limits=Limits(date(2027, 4, 14), None, None, None), now_km=None)
    assert words.endswith("Last changed 14 Apr 2026, its distance is not known. Due 14 Apr 2027.")


def test_a_measurement_speaks_for_itself():
    assert told(due=Due(date(2026, 9, 1), "condition", None), measured="0.81 % - replace now: limit 0.75 %.") == (
        "Hub oil: measured 0.81 % - replace now: limit 0.75 %. Due now."
    )
    assert told(due=Due(date(2026, 9, 1), "condition", None)) == "Hub oil: due now."


def test_a_task_without_an_interval_waits_for_a_measurement():
    words = told(
        Rule(task="t", title="Pads"), last=None, limits=Limits(None, None, None, None), due=Due(None, None, None)
    )
    assert words == "Pads: when measuring says so. Not done yet, now about 5,480 km. No limit can be reckoned."


def test_a_trike_that_stands_is_not_due_by_distance():
    rule = Rule(task="t", title="Chain", every_km=500)
    assert told(rule, limits=Limits(None, 3620.0, None, None), due=Due(None, None, None)).endswith(
        "Not due as long as it is not ridden."
    )


@pytest.mark.parametrize(
    ("rule", "which"),
    [
        ({"every_months": 1}, "One month comes first"),
        ({"every_months": 36}, "36 months come first"),
        ({"every_days": 90}, "90 days come first"),
        ({"every_days": 1}, "1 day comes first"),
        ({"every_months": 1, "every_days": 15}, "The date comes first"),
    ],
)
def test_the_calendar_side_is_named_in_words(rule, which):
    assert which in told(Rule(task="t", title="T", every_km=5000, **rule))


def test_hours_and_cycles_are_named_too():
    rule = Rule(task="t", title="Shock", every_hours=50, every_cycles=200, severity_applies=False)
    words = told(rule, limits=Limits(None, None, 150.0, 300.0), due=Due(date(2026, 12, 1), "hours", None))
    assert "every 50 hours or 200 charge cycles" in words
    assert words.endswith("The hours come first: due 1 Dec 2026.")

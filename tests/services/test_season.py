"""The season clock and the months that a fleet teaches it."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.season import FLAT_MONTHS, SHIPPED_MONTHS, learn_months, normal_months, season_clock, years_by_month

YEAR = 365.25
DAY = st.floats(date(1990, 1, 1).toordinal(), date(2080, 1, 1).toordinal())


def day(*ymd: int) -> float:
    return float(date(*ymd).toordinal())


def test_a_month_counts_its_length_times_its_weight():
    january = season_clock(SHIPPED_MONTHS, day(2025, 2, 1)) - season_clock(SHIPPED_MONTHS, day(2025, 1, 1))
    assert january == pytest.approx(31 * SHIPPED_MONTHS[0] / YEAR, rel=1e-12)


def test_the_leap_day_counts_in_february():
    spent = season_clock(SHIPPED_MONTHS, day(2028, 3, 1)) - season_clock(SHIPPED_MONTHS, day(2028, 2, 1))
    assert spent == pytest.approx(29 * SHIPPED_MONTHS[1] / YEAR, rel=1e-12)


def test_a_fraction_of_a_day_counts_as_a_fraction():
    begun = season_clock(SHIPPED_MONTHS, day(2026, 7, 4))
    assert season_clock(SHIPPED_MONTHS, day(2026, 7, 4) + 0.25) - begun == pytest.approx(SHIPPED_MONTHS[6] / YEAR / 4)


def test_a_cosine_year_keeps_its_swing_between_winter_and_summer():
    # formula m = A (1 + a cos(2 pi (month - 7) / 12)), a = (1 - r) / (1 + r); winter over summer r = 0.40: a = 0.428571
    a = (1 - 0.40) / (1 + 0.40)
    months = normal_months(1 + a * np.cos(2 * np.pi * (np.arange(1, 13) - 7) / 12))
    starts = np.array([day(2025, 1, 10), day(2025, 7, 10)])
    winter, summer = season_clock(months, starts + 7) - season_clock(months, starts)
    assert winter / summer == pytest.approx(0.40, abs=1e-6)
    assert (summer - winter) / (summer + winter) == pytest.approx(0.428571, abs=1e-6)


def test_four_years_count_four_season_years():
    assert season_clock(SHIPPED_MONTHS, day(2028, 1, 1)) - season_clock(
        SHIPPED_MONTHS, day(2024, 1, 1)
    ) == pytest.approx(4)


def test_flat_months_count_the_calendar():
    assert season_clock(FLAT_MONTHS, day(2026, 9, 1)) - season_clock(FLAT_MONTHS, day(2026, 2, 1)) == pytest.approx(
        212 / YEAR
    )


def test_the_calendar_repeats_after_four_hundred_years():
    # Gregorian calendar: 400 years are 146,097 days.
    some = season_clock(SHIPPED_MONTHS, np.array([day(1999, 12, 31), day(2400, 2, 29)]))
    again = season_clock(SHIPPED_MONTHS, np.array([day(1999, 12, 31), day(2400, 2, 29)]) + 146_097)
    assert np.ptp(again - some) < 1e-9


@given(DAY, DAY)
@settings(deadline=None)
def test_season_time_never_runs_backwards(one, other):
    early, late = sorted([one, other])
    assert season_clock(SHIPPED_MONTHS, late) >= season_clock(SHIPPED_MONTHS, early)


@given(DAY, DAY)
@settings(deadline=None)
def test_the_south_reads_the_months_six_later(one, other):
    shifted = (*SHIPPED_MONTHS[6:], *SHIPPED_MONTHS[:6])
    south = season_clock(SHIPPED_MONTHS, one, True) - season_clock(SHIPPED_MONTHS, other, True)
    # The shifted months are not scaled anew: a mean year may differ by the lengths of the months.
    assert south == pytest.approx(season_clock(shifted, one) - season_clock(shifted, other), abs=1e-9)


def test_years_by_month_sum_to_the_years_of_the_stretch():
    spent = years_by_month(np.array([day(2025, 1, 10)]), np.array([day(2026, 5, 3)]))
    assert spent.sum() == pytest.approx((day(2026, 5, 3) - day(2025, 1, 10)) / YEAR)
    assert spent[0, 0] == pytest.approx((22 + 31) / YEAR)


def test_years_by_month_put_a_southern_january_into_july():
    spent = years_by_month(np.array([day(2025, 1, 1)]), np.array([day(2025, 2, 1)]), True)
    assert np.flatnonzero(spent[0] > 1e-9).tolist() == [6]


def monthly_stretches(profile, machines: int):
    edges = np.array([day(2023 + k // 12, k % 12 + 1, 1) for k in range(25)])
    starts, ends = np.tile(edges[:-1], machines), np.tile(edges[1:], machines)
    km = 3000.0 * (season_clock(profile, ends) - season_clock(profile, starts))
    return np.repeat(np.arange(machines), 24), years_by_month(starts, ends), km


def test_months_are_learned_from_stretches():
    profile = normal_months([0.3, 0.4, 0.75, 1.15, 1.45, 1.55, 1.55, 1.5, 1.25, 0.95, 0.6, 0.35])
    learned = learn_months(*monthly_stretches(profile, 200), 2000.0, FLAT_MONTHS)
    around = [(profile[k - 1] + profile[(k + 1) % 12]) / 2 for k in range(12)]
    smoothed = 0.75 * np.array(profile) + 0.25 * np.array(around)
    assert np.abs(np.array(learned) - smoothed).max() < 0.05


def test_one_machine_hardly_moves_the_shipped_months():
    learned = learn_months(*monthly_stretches(FLAT_MONTHS, 1), 2000.0)
    assert np.abs(np.array(learned) - SHIPPED_MONTHS).max() < 0.15


def test_a_tour_does_not_make_its_month_a_season():
    machine, years, km = monthly_stretches(SHIPPED_MONTHS, 20)
    quiet = learn_months(machine, years, km, 2000.0)
    km[10] *= 50.0
    assert learn_months(machine, years, km, 2000.0)[10] < quiet[10] * 1.3


def test_without_stretches_the_months_stay_as_shipped():
    none = np.empty(0)
    learned = learn_months(none.astype(int), np.empty((0, 12)), none, 2000.0)
    assert learned == pytest.approx(SHIPPED_MONTHS)


def test_the_order_of_stretches_does_not_matter():
    machine, years, km = monthly_stretches(SHIPPED_MONTHS, 5)
    other = np.random.default_rng(1).permutation(len(km))
    assert learn_months(machine[other], years[other], km[other], 2000.0) == pytest.approx(
        learn_months(machine, years, km, 2000.0), rel=1e-12
    )

"""A rider's rate, kept and told, and the day a distance was reached."""

import json
import math
from dataclasses import replace
from datetime import date

import pytest
from scipy.stats import lognorm

from services.fleet_rates import SHIPPED
from services.odometer import build_timeline
from services.rates import rate_of
from services.readings import KEEN_KM_PER_DAY
from services.riding import TYPICAL_KM_PER_YEAR, RiderRate, plain_km_per_day, rider_rate
from services.season import FLAT_MONTHS, season_clock

DAY = date(2025, 4, 1).toordinal() + 0.5


def test_a_rider_without_a_stretch_is_reckoned_like_the_fleet():
    rate = rider_rate(rate_of([DAY], [0.0], fleet=SHIPPED), SHIPPED)
    assert (rate.stretches, rate.share) == (0, 0.0)
    assert rate.km_per_day * 365.25 == pytest.approx(2000)  # the shipped planning value


def test_own_readings_count_and_those_of_an_erratic_rider_count_less():
    days = [DAY + 60.0 * k for k in range(6)]
    clock = season_clock(SHIPPED.months, days)
    steady = rider_rate(rate_of(days, 3000.0 * (clock - clock[0]), fleet=SHIPPED), SHIPPED)
    erratic = rider_rate(rate_of(days, [0.0, 30.0, 1500.0, 1520.0, 1525.0, 4000.0], fleet=SHIPPED), SHIPPED)
    assert 0 <= erratic.share < steady.share < 1
    assert steady.a_year == pytest.approx(3000, rel=0.05)
    assert (steady.stretches, steady.read_on) == (5, date.fromordinal(int(days[-1])))


def test_what_is_kept_comes_back_rounded_and_tells_the_same():
    rate = rider_rate(rate_of([DAY, DAY + 90], [0.0, 700.0], southern=True, fleet=SHIPPED), SHIPPED)
    back = RiderRate.from_dict(json.loads(json.dumps(rate.as_dict())))
    assert back.as_dict() == rate.as_dict()
    assert back.southern is True
    assert back.a_year == pytest.approx(rate.a_year, abs=0.05)


def test_the_distance_between_two_days_goes_by_the_season_and_never_back():
    rate = RiderRate(3652.5, 0.5, 3, SHIPPED.months, False, date(2026, 1, 1), 0.0)
    assert rate.km_between(date(2026, 1, 1), date(2026, 1, 1)) == 0
    assert rate.km_between(date(2026, 2, 1), date(2026, 1, 1)) == 0
    july, january = (rate.km_between(date(2026, m, 5), date(2026, m, 15)) for m in (7, 1))
    assert july / january == pytest.approx(1.5 / 0.35)  # the shipped month weights
    flat = replace(rate, months=FLAT_MONTHS)
    assert flat.km_between(date(2026, 1, 1), date(2026, 1, 11)) == pytest.approx(100)


def test_the_day_a_distance_was_reached_lies_between_the_readings_around_it():
    line = build_timeline([DAY + 10, DAY + 20, DAY + 30, DAY + 40], [100.0, 100.0, 300.0, 300.0], zero_day=DAY)
    assert line.day_reached(50.0) == DAY + 5
    assert line.day_reached(100.0) == DAY + 10  # the first day, although it stood still after
    assert line.day_reached(200.0) == DAY + 25
    assert line.day_reached(0.0) == DAY


def test_the_typical_rate_is_that_of_the_printed_mean_of_31_km_a_week():
    # two pages on Dutch riders print 31 km a week; calculated: 52 weeks make 1,612 km
    printed = 31 * 52
    assert printed == 1612
    assert plain_km_per_day(build_timeline([], [], zero_day=0)) * 365.25 == pytest.approx(printed, rel=0.01)


def test_the_planning_values_agree_with_a_lognormal_year_of_riding():
    # assumption, no source: median 1,600 km, sigma 0.7; calculated: mean 2,044.2 km, one rider in ten above 3,923.9 km
    year = lognorm(0.7, scale=TYPICAL_KM_PER_YEAR)
    assert year.mean() == pytest.approx(2044.2, abs=0.5)
    assert year.ppf(0.9) == pytest.approx(3923.9, abs=0.5)
    assert year.median() < math.exp(SHIPPED.mu) < year.mean()
    assert year.ppf(0.9) < KEEN_KM_PER_DAY * 365.25 < year.ppf(0.99)

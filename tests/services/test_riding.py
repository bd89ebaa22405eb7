"""A rider's rate in numbers and words, and the day a distance was reached."""

from datetime import date

import pytest

from services.fleet_rates import SHIPPED
from services.odometer import build_timeline
from services.rates import rate_of
from services.riding import rider_rate
from services.season import season_clock

DAY = date(2025, 4, 1).toordinal() + 0.5


def test_a_rider_without_a_stretch_is_reckoned_like_the_fleet():
    rate = rider_rate(rate_of([DAY], [0.0], fleet=SHIPPED), SHIPPED)
    assert rate.basis == "typical"
    assert rate.share == 0.0
    assert rate.km_per_day * 365.25 == pytest.approx(2000)  # the shipped planning value
    assert "2,000 km a year" in rate.words


def test_own_readings_count_and_those_of_an_erratic_rider_count_less():
    days = [DAY + 60.0 * k for k in range(6)]
    clock = season_clock(SHIPPED.months, days)
    steady = rider_rate(rate_of(days, 3000.0 * (clock - clock[0]), fleet=SHIPPED), SHIPPED)
    erratic = rider_rate(rate_of(days, [0.0, 30.0, 1500.0, 1520.0, 1525.0, 4000.0], fleet=SHIPPED), SHIPPED)
    assert 0 <= erratic.share < steady.share < 1
    assert steady.basis == erratic.basis == "own"
    assert f"count {steady.share:.0%}" in steady.words
    assert steady.km_per_day * 365.25 == pytest.approx(3000, rel=0.05)


def test_the_day_a_distance_was_reached_lies_between_the_readings_around_it():
    line = build_timeline([DAY + 10, DAY + 20, DAY + 30, DAY + 40], [100.0, 100.0, 300.0, 300.0], zero_day=DAY)
    assert line.day_reached(50.0) == DAY + 5
    assert line.day_reached(100.0) == DAY + 10  # the first day, although it stood still after
    assert line.day_reached(200.0) == DAY + 25
    assert line.day_reached(0.0) == DAY

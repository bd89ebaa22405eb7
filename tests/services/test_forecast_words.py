"""Forecasts in words: the sentences are the project's own."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from services.fleet_rates import SHIPPED
from services.forecast_words import date_or_none, say_range, say_rate, say_season, why
from services.rates import start_rate
from services.riding import RiderRate, rider_rate
from services.season import FLAT_MONTHS, normal_months

TODAY = date(2026, 2, 1)


def rider(**other: object) -> RiderRate:
    return replace(RiderRate(3113.0, 0.84, 4, SHIPPED.months, False, date(2026, 5, 12), 2400.0), **other)


@pytest.mark.parametrize(
    ("low", "middle", "high", "words"),
    [
        ((2026, 3, 14), (2026, 4, 2), (2026, 4, 25), "mid-March to late April, most likely 2 April"),
        ((2026, 12, 4), (2027, 1, 16), (2027, 3, 20), "early December to mid-March 2027, most likely 16 January 2027"),
        ((2026, 3, 14), (2026, 3, 16), (2026, 3, 20), "about 16 March"),
        ((2026, 3, 21), (2026, 3, 26), (2026, 3, 31), "late March to 31 March, most likely 26 March"),
        ((2026, 1, 5), (2026, 3, 16), (2026, 4, 20), "now to mid-April, most likely 16 March"),
        ((2026, 1, 20), (2026, 2, 3), (2026, 2, 9), "now to 9 February, most likely 3 February"),
        ((2025, 12, 14), (2026, 1, 16), (2026, 3, 20), "probably already due"),
        ((2025, 10, 14), (2025, 11, 16), (2026, 1, 20), "almost certainly already due"),
        ((2025, 12, 14), (2026, 3, 16), (2027, 3, 20), "not known: please read the meter"),
        ((2025, 12, 14), (2026, 3, 16), None, "not known: please read the meter"),
        ((2026, 6, 1), (2027, 5, 3), None, "early June to more than two years from now, most likely 3 May 2027"),
        ((2027, 6, 1), None, None, "early June 2027 to more than two years from now"),
        (None, None, None, "more than two years"),
    ],
)
def test_a_range_of_dates_in_words(low, middle, high, words):
    days = [None if day is None else date(*day) for day in (low, middle, high)]
    assert say_range(*days, TODAY) == words


def test_a_day_after_the_horizon_is_no_date():
    assert date_or_none(np.inf) is None
    assert date_or_none(1e9) is None
    assert date_or_none(float(TODAY.toordinal()) + 0.7) == TODAY


def test_why_tells_the_numbers():
    months = normal_months([1, 1, 1, 2, 2, 3, 3, 3, 2, 2, 1, 1])
    assert why(rider(months=months), 3400.0) == (
        "Rides like 3,100 km a year; its own readings count 84 %; last reading 12 May 2026 at 2,400 km; 1,000 km left then; "
        "a winter day counts a third of a summer's. The distance comes first."
    )


def test_why_tells_miles_to_those_who_ride_in_miles():
    told = why(rider(), 2400.0 + 1609.344, unit="mi", trigger=None)
    assert told.startswith("Rides like 1,900 mi a year")
    assert "12 May 2026 at 1,491 mi; 1,000 mi left then" in told
    assert told.endswith("summer's.")


def test_why_says_that_the_limit_was_reached():
    assert "reached by then" in why(rider(), 2400.0, trigger="date")
    assert "The calendar comes first." in why(rider(), 2400.0, trigger="date")


def test_why_says_that_nothing_is_known_yet():
    stranger = rider_rate(start_rate(float(date(2025, 1, 1).toordinal()), fleet=SHIPPED), SHIPPED)
    told = why(stranger, 1000.0)
    assert told.startswith(
        "No riding known yet: reckoned like the others, 2,000 km a year; no reading since delivery 1 Jan 2025"
    )


def test_a_rate_below_ten_keeps_its_figure():
    assert say_rate(rider(a_year=7.4)).startswith("rides like 7 km a year")


def test_a_fleet_without_seasons_says_so():
    assert say_season(FLAT_MONTHS) == "all seasons count alike"

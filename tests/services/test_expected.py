"""The distance expected after the last reading follows the months."""

from datetime import date

import numpy as np
import pytest

from services.expected import expected_lines, with_expected
from services.fleet_rates import SHIPPED
from services.odometer import build_timeline
from services.rates import rate_of, rates_of
from services.season import season_clock

START = date(2026, 5, 10).toordinal() + 0.5


def test_a_northern_summer_month_brings_more_than_a_winter_month():
    state = rate_of([START], [0.0], fleet=SHIPPED)
    days, km = expected_lines(state, SHIPPED)
    assert days.shape == km.shape == (1, 49)
    assert days[0, 1] == date(2026, 6, 1).toordinal()
    assert days[0, 8] == date(2027, 1, 1).toordinal()
    june, january = km[0, 2] - km[0, 1], km[0, 9] - km[0, 8]
    assert june / january == pytest.approx(1.5 * 30 / (0.35 * 31), rel=1e-9)  # the shipped month weights


def test_in_the_south_it_is_the_reverse():
    state = rate_of([START], [0.0], southern=True, fleet=SHIPPED)
    _, km = expected_lines(state, SHIPPED)
    assert km[0, 9] - km[0, 8] > 3 * (km[0, 2] - km[0, 1])


def test_a_year_ahead_is_the_riders_rate_and_between_the_months_it_is_straight():
    days, life = [START, START + 200.0], [0.0, 900.0]
    state = rate_of(days, life, fleet=SHIPPED)
    line = with_expected(
        build_timeline(days[1:], life[1:], zero_day=START), *(row[0] for row in expected_lines(state, SHIPPED))
    )
    clock = season_clock(SHIPPED.months, np.array([days[1], days[1] + 100.25]))
    assert float(line.life_at(days[1] + 100.25)) == pytest.approx(
        900 + np.exp(state.m) * (clock[1] - clock[0]), rel=1e-9
    )
    assert float(line.life_at(days[1])) == 900.0
    assert float(line.life_at(days[1] - 100.0)) == pytest.approx(450.0)


def test_beyond_four_years_it_goes_on_at_the_rate_given():
    days = np.array([[START, START + 10.0]])
    line = with_expected(build_timeline([], [], zero_day=START), days[0], np.array([0.0, 50.0]))
    assert list(line.life_at([START + 5.0, START + 12.0], 3.0)) == [25.0, 56.0]


def test_many_machines_at_once_give_what_each_gives_alone():
    machine = np.array([0, 0, 1, 1, 1])
    days = np.array([START, START + 90, START - 400, START - 100, START])
    life = np.array([0.0, 400.0, 0.0, 100.0, 150.0])
    together = expected_lines(rates_of(machine, days, life, fleet=SHIPPED), SHIPPED)
    for number in (0, 1):
        alone = expected_lines(rate_of(days[machine == number], life[machine == number], fleet=SHIPPED), SHIPPED)
        for many, one in zip(together, alone, strict=True):
            np.testing.assert_allclose(many[number], one[0], rtol=1e-12)

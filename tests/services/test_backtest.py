"""Looking back at named dates: what counts as inside, early, late, unknown; and on a fleet whose truth is known."""

from datetime import date

import numpy as np
import pytest
from scipy.stats import binomtest

from services.backtest import Looked, look_back
from services.fleet_rates import SHIPPED
from services.forecast import date_of, distance_on
from services.rates import rate_of
from tests.simulator.fleet import simulate

DAY = date(2024, 4, 1).toordinal() + 0.5


def one(days, life):
    return look_back(
        np.zeros(len(days), int), np.array(days), np.array(life), southern=False, fleet=SHIPPED, ahead=(90,)
    )[90]


@pytest.mark.parametrize(
    ("asked", "outcome"),
    [(0.5, "inside"), (0.02, "late"), (0.98, "early")],
)
def test_a_date_that_came_where_the_model_put_it_is_inside_and_one_far_off_is_not(asked, outcome):
    """The rider rides as the model's own quantile `asked` of distance says."""
    state = rate_of([DAY], [0.0], fleet=SHIPPED)
    later = np.array([DAY + 30.0 * k for k in range(1, 30)])
    km = distance_on(state, later, (asked,), SHIPPED)[:, 0]
    told = one([DAY, *later], [0.0, *km])["0"]
    assert (told.named, getattr(told, outcome), told.unknown) == (1, 1, 0)


def test_what_later_readings_cannot_tell_is_counted_as_unknown():
    told = one([DAY, DAY + 20.0], [0.0, 10.0])
    assert (told["all"].named, told["all"].unknown, told["all"].told) == (1, 1, 0)
    assert told["all"].share is None
    assert told["all"].limits() is None
    assert told["all"].error_days is None


def test_a_trike_that_stands_still_past_the_range_is_late_although_the_distance_never_came():
    state = rate_of([DAY], [0.0], fleet=SHIPPED)
    target = float(distance_on(state, np.array(DAY + 90), (0.5,), SHIPPED)[0])
    high = float(date_of(state, target, (0.9,), DAY + 730, SHIPPED)[0])
    assert one([DAY, high + 5.0], [0.0, 1.0])["0"].late == 1
    assert one([DAY, high - 5.0], [0.0, 1.0])["0"].unknown == 1


def test_only_dates_named_since_a_day_count_and_one_point_names_none():
    days, life = np.array([DAY, DAY + 100, DAY + 400]), np.array([0.0, 500.0, 2000.0])
    told = look_back(np.zeros(3, int), days, life, southern=False, fleet=SHIPPED, since_day=DAY + 50, ahead=(30,))
    assert told[30]["all"].named == 1
    alone = look_back(np.zeros(1, int), days[:1], life[:1], southern=False, fleet=SHIPPED, ahead=(30,))
    assert alone[30]["all"].named == 0


def test_the_limits_of_a_share_are_wilsons():
    """Against scipy.stats.binomtest(8, 10).proportion_ci(method='wilson')."""
    reference = binomtest(8, 10).proportion_ci(method="wilson")
    assert Looked(10, 8, 1, 1).limits() == pytest.approx((reference.low, reference.high), abs=1e-6)


def test_on_a_simulated_fleet_about_four_fifths_of_the_dates_come_inside():
    """Numbers shipped, not fitted; goal of the forecasts: 78 to 86 % of true dates (here between readings, so 74 to 90)."""
    fleet = simulate(17, 400)
    good = fleet.error == ""
    machine, day, life = fleet.machine[good], fleet.day[good], fleet.true_life[good]
    start = np.arange(fleet.n)
    machine = np.concatenate([start, machine])
    day, life = np.concatenate([fleet.delivery, day]), np.concatenate([np.zeros(fleet.n), life])
    order = np.lexsort((life, day, machine))
    told = look_back(machine[order], day[order], life[order],
                     southern=fleet.southern, fleet=SHIPPED)  # fmt: skip
    for ahead, classes in told.items():
        assert classes["all"].told > 500
        assert 0.74 <= classes["all"].share <= 0.90, (ahead, classes["all"])

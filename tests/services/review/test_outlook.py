"""Months, the early warning and the year ahead."""

from datetime import date

import numpy as np
import pytest

from services.review.observed import MONTHS
from services.review.outlook import ahead_of, months_of, warning_of
from tests.services.review.parts import part_of

UNTIL = date(2026, 5, 1)


def running(n: int, failed_now: int = 0, before: int = 0, a_month: float = 100.0, **more):
    """n pieces that ran evenly for 12 months; `before` failed a year ago at half their way, `failed_now` last month."""
    at = np.tile(a_month * np.arange(MONTHS + 1), (n, 1))
    end, failed, month = np.full(n, 12 * a_month), np.zeros(n, dtype=bool), np.full(n, -1)
    end[:before], failed[:before], month[:before] = a_month / 2, True, 11
    last = slice(before, before + failed_now)
    end[last], failed[last], month[last] = 11.5 * a_month, True, 0
    return part_of(end=end, failed=failed, month=month, at_month=np.minimum(at, end[:, None]), **more)


def test_there_are_twelve_full_months_and_the_running_one_is_not_complete():
    months = months_of(running(20, failed_now=3, running=2), None, UNTIL)
    assert [month.month for month in months[:2]] == ["2025-05-01", "2025-06-01"]
    assert (months[-2].month, months[-2].seen, months[-2].complete) == ("2026-04-01", 3, True)
    assert (months[-1].month, months[-1].seen, months[-1].complete, months[-1].expected) == (
        "2026-05-01",
        2,
        False,
        None,
    )
    assert len(months) == 13


def test_what_was_expected_adds_up_to_what_came_but_for_half_a_failure():
    months = months_of(running(50, before=5), None, UNTIL)
    # By rate, Jeffreys' half failure on top: (5 + 0.5) / exposure over all that ran.
    assert sum(month.expected for month in months[:-1]) == pytest.approx(5.5, rel=1e-6)
    assert all(month.low <= month.expected <= month.high + 1 for month in months[:-1])


def test_a_month_is_not_judged_by_its_own_failures():
    quiet, loud = warning_of(running(50, before=3), UNTIL), warning_of(running(50, before=3, failed_now=6), UNTIL)
    assert loud.seen == 6
    # By the rate before; the six stopped half way through the month.
    assert loud.expected / (47 - 3) == pytest.approx(quiet.expected / 47, rel=1e-6)
    assert loud.month == "2026-04-01"


def test_the_batch_of_half_of_a_months_failures_is_named():
    part = running(50, failed_now=4, batch=["K"] * 3 + ["L"] * 47)
    assert warning_of(part, UNTIL).batch == "K"
    assert warning_of(running(50, failed_now=1, batch=["K"] * 50), UNTIL).batch == ""


def test_nothing_is_watched_that_did_not_run_in_the_month():
    part = part_of(end=[100.0] * 5, failed=[False] * 5)
    assert warning_of(part, UNTIL) is None


def test_the_year_ahead_goes_by_the_fitted_life_from_ten_failures_on():
    rng = np.random.default_rng(1)
    life = 1000 * rng.weibull(3.0, 80)
    end = np.minimum(life, 700.0)
    part = part_of(end=end, failed=life < 700, ahead=np.where(life < 700, 0.0, 300.0))
    from services.review.lifelook import fitted_or_none

    fitted = fitted_or_none(part.lives())
    found = ahead_of(part, fitted)
    survivors = (life >= 700).sum()
    true = survivors * (1 - np.exp(-1.0) / np.exp(-(0.7**3)))  # of the law that made them: to 1,000 from 700
    assert found.low <= true <= found.high
    assert found.hold >= found.expected
    assert ahead_of(part, None).expected < found.expected  # a rate knows nothing of wear


def test_with_few_failures_the_year_ahead_goes_by_the_rate():
    part = part_of(end=[1000.0] * 20, failed=[True] * 2 + [False] * 18, ahead=[500.0] * 20)
    assert ahead_of(part, None).expected == pytest.approx(2.5 / 20_000 * 500 * 18)


def test_nothing_in_the_field_has_no_year_ahead():
    assert ahead_of(part_of(end=[100.0], failed=[True], ahead=[500.0]), None) is None

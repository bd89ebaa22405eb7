"""How kept findings are drawn and said. Values by hand."""

import math

import pytest

from services.review.found import LifeFound, Rate
from services.review.shown import (
    costs_of,
    fitted_curve,
    paper_limits,
    say_chance,
    say_range,
    say_rate,
    say_times,
)

WEARS = LifeFound(
    "many",
    "",
    "wear-out",
    "",
    "",
    shape=2.0,
    shape_low=1.4,
    shape_high=2.8,
    life=1000.0,
    life_low=850.0,
    life_high=1200.0,
    b10=324.6,
    b10_low=230.0,
    b10_high=420.0,
    b50=832.6,
    b50_low=700.0,
    b50_high=980.0,
)
FEW = LifeFound("some", "", "too-few", "", "")


def test_a_rate_is_told_per_ten_thousand_km_and_per_thousand_of_the_rest():
    assert (say_rate(1.4e-4, "km"), say_rate(1.4e-4, "days")) == ("1.4", "0.14")
    assert say_range(Rate(1e-4, 0.5e-4, 2e-4), "km") == "0.50 to 2.0"
    assert say_range(Rate(0.0, None, 2e-4), "km") == "at most 2.0"


@pytest.mark.parametrize(
    ("q", "words"),
    [
        (None, "not tested"),
        (0.9, "chance would do that"),
        (0.083, "1 in 12"),
        (0.3, "1 in 3"),
        (0.0004, "1 in 2,500"),
        (1e-6, "fewer than 1 in 10,000"),
    ],
)
def test_a_chance_is_told_as_one_in_so_many(q, words):
    assert say_chance(q) == words


def test_times_the_rate_with_its_limits_also_where_nothing_else_failed():
    assert say_times(13.2, 4.4, 61.0) == "13 times (4.4 to 61)"
    assert say_times(0.0, 0.0, 0.95) == "none failed (at most 0.95 times)"
    assert say_times(None, 2.1, None) == "only these (at least 2.1 times)"


def test_the_fitted_curve_begins_whole_and_passes_through_its_b_lives():
    curve = fitted_curve(WEARS, 1000.0)
    assert curve[0] == (0.0, 1.0)
    assert curve[-1] == (1000.0, pytest.approx(math.exp(-1)))
    assert [share for _, share in curve] == sorted((share for _, share in curve), reverse=True)
    assert fitted_curve(FEW, 1000.0) == fitted_curve(WEARS, 0.0) == []


def test_the_paper_has_limits_where_they_were_reckoned():
    assert [share for share, _, _ in paper_limits(WEARS)] == pytest.approx([0.1, 0.5, 0.63212], abs=1e-5)
    assert paper_limits(WEARS)[0][1:] == (230.0, 420.0)
    assert paper_limits(FEW) == []


def test_a_cost_curve_needs_wear_out_and_is_least_at_its_best_age():
    found = costs_of(WEARS, 1.0, 5.0)
    ages, shares = zip(*found.points, strict=True)
    assert ages[shares.index(min(shares))] == pytest.approx(found.best, rel=0.05)
    assert min(shares) == pytest.approx(1 - found.saving, abs=1e-3)
    assert found.flat[0] < found.best < found.flat[1]
    assert costs_of(FEW, 1.0, 5.0) is None
    assert costs_of(LifeFound("many", "", "cannot-tell", "", "", shape=1.2, shape_low=0.9, life=10.0), 1.0, 5.0) is None

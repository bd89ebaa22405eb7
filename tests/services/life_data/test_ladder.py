"""The ladder: what may be shown and said at each number of failures, word for word."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.life_data.counts import BadCounts
from services.life_data.ladder import (
    Finding,
    ahead_sentence,
    group_sentence,
    life_sentence,
    rate_sentence,
    rung,
    trend_sentence,
    warning_sentence,
)


@pytest.mark.parametrize(
    ("failures", "name"),
    [(0, "none"), (1, "some"), (4, "some"), (5, "several"), (9, "several"), (10, "many"), (500, "many")],
)
def test_the_four_rungs(failures, name):
    assert rung(failures).name == name


def test_without_failures_only_a_bound_is_shown():
    step = rung(0)
    shown = [step.bound, step.cases, step.rate, step.survival, step.pattern, step.life, step.age_limit]
    assert shown == [True] + 6 * [False]


@given(st.integers(1, 100), st.integers(1, 100))
def test_more_failures_never_show_less(one, other):
    few, many = rung(min(one, other)), rung(max(one, other))
    for shown in ("cases", "rate", "survival", "pattern", "life", "age_limit"):
        assert getattr(many, shown) >= getattr(few, shown)


def test_a_fitted_life_and_an_age_limit_need_ten():
    assert not rung(9).life
    assert not rung(9).age_limit
    assert rung(10).life


def test_rates_in_words():
    assert (
        rate_sentence(0, 41, 120_000.0, 0.0, 2.496e-5)
        == "No failure in 41 parts over 120,000 km: at most 0.25 per 10,000 km."
    )
    assert (
        rate_sentence(1, 1, 5000.0, 1e-5, 1.1e-3)
        == "1 failure in 1 part over 5,000 km: 2.0 per 10,000 km (between 0.10 and 11)."
    )
    assert rate_sentence(3, 20, 900.0, 0.001, 0.01, "h").endswith("3.3 per 1,000 h (between 1.0 and 10).")


def test_lives_in_words():
    assert life_sentence(3, "Wear-out.", 1.0, 1.0, 1.0, 9.0) == rung(3).words
    assert life_sentence(7, "Wear-out.", 900.0, 400.0, 2000.0, 5000.0) == "Wear-out."
    assert (
        life_sentence(12, "Wear-out.", 9030.0, 6420.0, 11_800.0, 15_000.0)
        == "Wear-out. One in ten fails by 9,000 km (between 6,400 and 12,000)."
    )


def test_a_life_without_a_limit_is_not_said():
    assert life_sentence(12, "Cannot tell.", 9030.0, 6420.0, np.inf, 15_000.0) == "Cannot tell."


def test_an_age_beyond_the_oldest_part_is_said_to_be():
    told = life_sentence(12, "Early failures.", 900.0, 600.0, 1200.0, 400.0, "h")
    assert told.endswith("That is beyond the oldest part seen (400 h).")


def test_a_batch_that_is_worse_in_one_sentence():
    told = group_sentence(
        Finding(7, 41, 2, 160, 13.2, 0.0004), "batch K shocks", "the other batches", "leaked before 3,000 km"
    )
    assert told == (
        "7 of 41 batch K shocks leaked before 3,000 km; the other batches 2 of 160: 13 times the rate, q = 0.0004."
    )


def test_a_batch_that_chance_explains_in_one_sentence():
    told = group_sentence(Finding(1, 3, 8, 60, 2.5, 0.41), "batch L seals", "the others")
    assert told == "1 of 3 batch L seals failed; the others 8 of 60: chance alone would do that (q = 0.4)."


def test_a_batch_that_is_not_quite_proven_in_one_sentence():
    told = group_sentence(Finding(5, 20, 8, 160, 5.0, 0.06), "batch L seals", "the others")
    assert (
        told
        == "5 of 20 batch L seals failed; the others 8 of 160: 5.0 times the rate, but it may still be chance (q = 0.06)."
    )


def test_a_batch_that_alone_failed():
    told = group_sentence(Finding(9, 20, 0, 90, np.inf, 1e-9), "batch M hinges", "the others", "cracked")
    assert told.endswith("only these failed, q below 0.0001.")


def test_trends_in_words():
    assert trend_sentence("getting better", 12, 5) == "12 repairs on 5 machines: they come more and more rarely."
    assert trend_sentence("getting worse", 12, 1) == "12 repairs on 1 machine: they come more and more often."
    assert trend_sentence("too few to tell", 3, 2).endswith("too few to tell a trend.")
    assert trend_sentence("cannot tell", 30, 2).endswith("no trend can be told.")


def test_what_lies_ahead_in_words():
    assert ahead_sentence(3.14, 1, 6, 6) == "Expect 3.1 failures in the next 12 months (1 to 6); hold 6."
    assert ahead_sentence(0.0, 0, 0, 0, months=3) == "Expect 0 failures in the next 3 months (0 to 0); hold 0."


def test_an_early_warning_in_words():
    assert warning_sentence("Shock, batch K", 6, 0.8, 0.4) == (
        "Shock, batch K: 6 failures this month where 0.80 were expected."
        " Of all warnings together about 0.40 a year is false."
    )


@pytest.mark.parametrize("told", [lambda: rung(-1), lambda: rate_sentence(1, 1, 0.0, 0.0, 1.0)])
def test_what_cannot_be_said_is_refused(told):
    with pytest.raises(BadCounts):
        told()

"""An interval is proposed only where age matters, the plan pays, and never beyond what safety holds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.interval_proposal import BadCosts, Costs, Lengthens, Standing, check_accepted, propose
from services.life_data.lives import observed
from services.life_data.weibull import fit
from services.review.found import LifeFound
from services.review.lifelook import life_of

NOBODY = Standing()


def life(shape=2.5, low=1.9, high=3.2, scale=1000.0, b10=(350.0, 460.0), covariance=None) -> LifeFound:
    """A fitted life of a part that wears out."""
    return LifeFound(
        "many", "Enough.", "wear-out", "Wear-out: the older, the more often they fail.", "", shape, low, high, scale,
        0.9 * scale, 1.1 * scale, 406.0, *b10, 860.0, 800.0, 930.0, covariance or [[0.001, 0.0], [0.0, 0.004]],
    )  # fmt: skip


def test_a_worn_out_part_is_replaced_at_the_cheapest_age():
    # Barlow and Proschan (1965): shape 2.5, scale 1000, costs 1 and 5: 493.05; R optimize 493.0469577.
    found = propose(life(), "km", Costs(1, 5), NOBODY)
    assert found.best.age == pytest.approx(493.0469576, rel=1e-7)
    assert found.interval == 490
    assert found.headline == "Replace at 490 km."
    assert any("39 % less than running to failure" in reason for reason in found.reasons)
    assert any("5 times a planned change" in reason for reason in found.reasons)


@pytest.mark.parametrize("low", [0.4, 0.97, 1.0])
def test_where_age_may_make_no_difference_no_age_is_proposed(low):
    found = propose(life(low=low), "km", Costs(1, 50), NOBODY)
    assert (found.interval, found.headline) == (None, "No age limit justified: inspect and run.")


def test_a_saving_too_small_is_not_worth_a_plan():
    found = propose(life(shape=1.4, low=1.2), "km", Costs(1, 2), NOBODY)
    assert found.interval is None
    assert any("not worth" in reason or "no age is best" in reason for reason in found.reasons)


def test_limits_too_wide_are_no_plan():
    found = propose(life(b10=(80.0, 460.0)), "km", Costs(1, 5), NOBODY)
    assert found.interval is None
    assert any("too wide to plan by" in reason for reason in found.reasons)


def test_a_failure_that_costs_no_more_has_no_best_age():
    found = propose(life(), "km", Costs(5, 5), NOBODY)
    assert found.interval is None
    assert any("no age is best" in reason for reason in found.reasons)


def test_where_one_group_fails_more_a_common_life_names_no_age():
    found = propose(replace(life(), mixed="A common life fits neither."), "km", Costs(1, 5), NOBODY)
    assert (found.interval, found.reasons) == (None, ("A common life fits neither.",))


def test_few_failures_propose_nothing():
    few = LifeFound("several", "Enough for a survival curve, not for a fitted life.", "wear-out", "", "")
    found = propose(few, "days", Costs(), Standing(maker=700))
    assert found.interval is None
    assert found.reasons == (
        "Enough for a survival curve, not for a fitted life.",
        "The maker's limit of 700 days stays.",
    )


@pytest.mark.parametrize(("now", "maker"), [(400, None), (None, 400), (600, 400), (400, 600)])
def test_on_a_safety_part_neither_the_makers_limit_nor_the_interval_is_lengthened(now, maker):
    found = propose(life(), "km", Costs(1, 5), Standing(now, maker, safety=True))
    assert found.interval is None
    assert "400 km" in found.headline


def test_on_a_safety_part_it_may_be_shortened():
    assert propose(life(), "km", Costs(1, 5), Standing(600, 800, safety=True)).interval == 490


def test_on_another_part_going_beyond_the_maker_is_said():
    found = propose(life(), "km", Costs(1, 5), Standing(None, 400))
    assert found.interval == 490
    assert any("The maker says 400 km: ask before going beyond it." in reason for reason in found.reasons)


def test_an_age_nobody_reached_is_said_to_be_one():
    assert any(
        "No piece has reached that age" in told for told in propose(life(), "km", Costs(), NOBODY, 300.0).reasons
    )
    assert not any("No piece" in told for told in propose(life(), "km", Costs(), NOBODY, 900.0).reasons)


@settings(max_examples=200, deadline=None)
@given(
    shape=st.floats(0.5, 6), low=st.floats(0.3, 5), scale=st.floats(10, 1e5), now=st.none() | st.floats(1, 1e5),
    maker=st.none() | st.floats(1, 1e5), failure=st.floats(1, 100),
)  # fmt: skip
def test_whatever_was_found_safety_is_never_lengthened(shape, low, scale, now, maker, failure):
    standing = Standing(now, maker, safety=True)
    b10 = scale * 0.105 ** (1 / shape)
    found = propose(life(shape, min(low, shape), 9.0, scale, (0.9 * b10, 1.1 * b10)), "km", Costs(1, failure), standing)
    limits = [limit for limit in (now, maker) if limit is not None]
    assert found.interval is None or found.interval <= min(limits, default=np.inf)
    if found.interval is not None:
        check_accepted(found.interval, standing, "km")


def test_what_is_accepted_is_held_to_the_same():
    check_accepted(900, Standing(600, 500), "km")  # nobody's safety
    check_accepted(500, Standing(600, 500, safety=True), "km")
    with pytest.raises(Lengthens) as refusal:
        check_accepted(501, Standing(600, 500, safety=True), "km")
    assert refusal.value.field == "interval"


@pytest.mark.parametrize("costs", [Costs(0, 5), Costs(1, -1), Costs(float("nan"), 5), Costs(1, 1e9)])
def test_costs_that_cannot_be_are_refused(costs):
    with pytest.raises(BadCosts):
        propose(life(), "km", costs, NOBODY)


def test_the_kept_life_of_a_review_carries_a_proposal():
    rng = np.random.default_rng(5)
    end = rng.uniform(0.3, 1.5, 400) * 10_000
    age = 10_000 * rng.weibull(3.0, 400)
    lives = observed(np.minimum(age, end), age <= end)
    fitted = fit(lives)
    counts = type("Counts", (), {"oldest": float(end.max())})()
    kept, _ = life_of(lives, counts, "km")
    found = propose(kept, "km", Costs(1, 5), NOBODY)
    assert kept.shape == fitted.shape
    assert 3000 < found.interval < 7000

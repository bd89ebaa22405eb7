"""Before and after a change: published and hand-worked numbers, false alarms, a fleet that grows older, too few to tell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.before_after import ALIKE, HELPED, TOO_FEW, WORSE, Pieces, compared, repairs_differ
from services.life_data.recurrence import histories


def pieces(entry, end, failed, since=np.inf, known=True) -> Pieces:
    n = len(end)
    return Pieces(
        np.broadcast_to(np.asarray(entry, float), n), np.asarray(end, float), np.asarray(failed, bool),
        np.broadcast_to(known, n), np.broadcast_to(np.asarray(since, float), n),
    )  # fmt: skip


def years(failed: int, watched: int, since: float) -> tuple[np.ndarray, ...]:
    """Pieces that ran one year each, some of which failed at its end; changed all along or never."""
    return np.ones(watched), np.arange(watched) < failed, np.full(watched, since)


def test_two_published_rates_are_compared_as_printed():
    # R poisson.test, 41 in 28,010 against 15 in 19,017: ratio 1.855758658, p 0.04085202629.
    columns = zip(years(15, 19017, np.inf), years(41, 28010, 0.0), strict=True)
    found = compared(pieces(0, *(np.concatenate(pair) for pair in columns)), "days")
    assert found.ratio == pytest.approx(1.855758658, rel=1e-9)
    assert found.p == pytest.approx(0.04085202629, rel=1e-7)
    assert (found.before.failed, found.after.failed) == (15, 41)
    assert (found.before.exposure, found.after.exposure) == (19017, 28010)
    assert found.word == WORSE


def test_a_life_is_cut_where_the_change_reached_it():
    # Worked by hand: three pieces, changed at 100; one failed at 80, one at 150, one runs on to 200.
    found = compared(pieces(0, [80, 150, 200], [1, 1, 0], since=100), "km")
    assert (found.before.parts, found.before.failed, found.before.exposure) == (3, 1, 280)
    assert (found.after.parts, found.after.failed, found.after.exposure) == (2, 1, 150)
    # Nelson-Aalen of all: 1/3 at 80, 1/2 at 150. Before: three pieces lived through 80; after: two through 150.
    assert (found.before.expected, found.after.expected) == (pytest.approx(1.0), pytest.approx(1.0))
    assert found.ratio == pytest.approx(1.0)


def test_expected_and_seen_are_the_same_in_all():
    rng = np.random.default_rng(3)
    end = rng.uniform(10, 100, 50)
    found = compared(pieces(0, end, rng.random(50) < 0.4, since=rng.uniform(0, 100, 50)), "km")
    assert found.before.expected + found.after.expected == pytest.approx(found.before.failed + found.after.failed)


def test_what_registered_late_counts_from_then():
    found = compared(pieces([50, 120], [150, 200], [0, 0], since=100), "km")
    assert (found.before.exposure, found.after.exposure) == (50, 50 + 80)


def test_few_failures_are_too_few_whatever_their_split():
    found = compared(pieces(0, [80, 90, 95, 200, 200], [1, 1, 1, 0, 0], since=100), "km")
    assert found.word == TOO_FEW
    assert found.p_if_none > 0.05
    assert "too few to tell" in found.sentence


@pytest.mark.parametrize("since", [np.inf, 0.0])
def test_without_a_second_side_nothing_is_compared(since):
    found = compared(pieces(0, [80, 90], [1, 0], since=since), "km")
    assert (found.word, found.p) == (TOO_FEW, 1.0)
    assert "nothing to compare" in found.sentence


def fleet(rng, shape, factor, n=300):
    """Pieces put into service over 3,000 days and watched to the last; from day 1,500 on the hazard is `factor` times as high."""
    began = rng.uniform(0, 2800, n)
    changed = np.maximum(1500.0 - began, 0.0)
    scale = 2500.0
    hazard = rng.exponential(1.0, n)
    at_change = (changed / scale) ** shape
    late = scale * (at_change + np.maximum(hazard - at_change, 0.0) / factor) ** (1 / shape)
    life = np.where(hazard <= at_change, scale * hazard ** (1 / shape), late)
    end = np.minimum(life, 3000 - began)
    return pieces(0, end, life <= 3000 - began, since=changed)


@pytest.mark.parametrize("shape", [0.7, 1.0, 3.0])
def test_a_fleet_that_only_grows_older_is_seldom_called_better_or_worse(shape):
    rng = np.random.default_rng([11, int(10 * shape)])
    words = [compared(fleet(rng, shape, 1.0), "days").word for _ in range(300)]
    assert sum(word in (HELPED, WORSE) for word in words) <= 0.05 * 300 + 2 * np.sqrt(0.05 * 0.95 * 300)


def test_wear_makes_the_raw_rate_rise_while_nothing_changed():
    rng = np.random.default_rng(2)
    found = [compared(fleet(rng, 3.0, 1.0, 1000), "days") for _ in range(40)]
    assert all(one.after.rate > 2 * one.before.rate for one in found)  # a plain comparison would blame the change
    assert abs(np.mean([np.log(one.ratio) for one in found])) < 0.1


@pytest.mark.parametrize(("factor", "word"), [(0.2, HELPED), (3.0, WORSE)])
def test_a_strong_change_is_told(factor, word):
    rng = np.random.default_rng([12, int(10 * factor)])
    words = [compared(fleet(rng, 2.0, factor), "days").word for _ in range(40)]
    assert words.count(word) >= 36


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.01, 1000))
def test_the_unit_changes_neither_ratio_nor_chance(seed, scale):
    one = fleet(np.random.default_rng(seed), 1.5, 0.6, 60)
    other = Pieces(one.entry * scale, one.end * scale, one.failed, one.known, one.since * scale)
    first, second = compared(one, "km"), compared(other, "km")
    assert second.p == pytest.approx(first.p, rel=1e-6)
    assert (second.word, second.ratio) == (
        first.word,
        pytest.approx(first.ratio, rel=1e-6) if first.ratio else first.ratio,
    )


def test_unknown_ages_count_by_what_they_ran():
    found = compared(pieces(0, [100, 100, 50, 50], [1, 1, 0, 0], since=[np.inf, np.inf, 0, 0], known=False), "km")
    assert (found.before.expected, found.after.expected) == (pytest.approx(2 * 200 / 300), pytest.approx(2 * 100 / 300))


def test_repairs_of_two_designs_at_the_last_age_both_reached():
    # Worked by hand: three old places with repairs at 30, 40, 50 and 90, three new ones with one at 60; all end at 100.
    old = histories([100, 100, 100], [0, 0, 1, 2], [30, 90, 40, 50])
    new = histories([100, 100, 100], [0], [60])
    found = repairs_differ(old, new, "km", ("before", "after"))
    assert (found.age, found.more) == (60, pytest.approx(1 / 3 - 3 / 3))
    assert found.low < found.more < found.high
    assert "fewer repairs after than before" in found.sentence


def test_designs_without_a_common_age_are_not_compared():
    one = histories([100, 100], [0], [60])
    assert repairs_differ(one, one, "km", ("before", "after")) is None


def test_many_failures_shared_evenly_are_no_difference_and_no_proof_of_none():
    found = compared(
        pieces(0, np.tile([100.0, 200.0], 40), np.tile([1, 0], 40), since=np.repeat([0.0, np.inf], 40)), "km"
    )
    assert (found.word, found.ratio) == (ALIKE, pytest.approx(1.0))
    assert "That is no proof that there is none" in found.sentence

"""Mean cumulative repairs, the power law, rate tests and log-rank on 200 seeded sets, against libraries only used here.

Tolerance 1e-8 relative where both are closed forms; 1e-5 for the power law, whose shape surpyval finds by search.
"""

import time

import numpy as np
import pytest
import surpyval
from scipy.stats import false_discovery_control, fisher_exact
from statsmodels.duration.survfunc import survdiff
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from services.life_data.groups import false_discoveries, fitted_p, log_rank, rate_p
from services.life_data.recurrence import Histories, histories, mean_repairs
from services.life_data.trend import fit_power_law, trend

SETS = 200
pytestmark = pytest.mark.filterwarnings("ignore")


def fleet(number: int, *, late: bool, machines: int | None = None) -> Histories:
    """Machines with windows of their own, every other set with ties; at least three machines with repairs."""
    random = np.random.default_rng([97, number, late])
    count = machines or int(random.integers(5, 60))
    start = np.where(random.random(count) < 0.4, random.uniform(0, 300, count), 0.0) * late
    end = start + random.uniform(200.0, 1500.0, count)
    machine = np.concatenate([[0, 1, 2], np.repeat(np.arange(count), random.poisson(1.5, count))])
    age = start[machine] + random.uniform(0.02, 1.0, len(machine)) * (end - start)[machine]
    if number % 2:
        age = np.minimum(np.ceil(age / 50) * 50, end[machine])
    return histories(end, machine, age, start)


def as_rows(seen: Histories) -> dict:
    """Their form: a row for each repair (c 0) and one for the end (c 1) of each item, with the start of its window."""
    items = np.arange(len(seen.end))
    item = np.concatenate([seen.machine, items])
    return {
        "x": np.concatenate([seen.age, seen.end]), "i": item, "tl": seen.start[item],
        "c": np.concatenate([np.zeros(len(seen.age), int), np.ones(len(items), int)]),
    }  # fmt: skip


@pytest.mark.parametrize("late", [False, True])
def test_mean_repairs_and_their_variance_are_surpyvals(late):
    for number in range(SETS):
        seen = fleet(number, late=late)
        theirs = surpyval.NonParametricCounting.fit(**as_rows(seen))
        ours = mean_repairs(seen, "lawless")
        at = np.searchsorted(theirs.x, ours.age)
        assert theirs.mcf_hat[at] == pytest.approx(ours.mean, rel=1e-8)
        assert np.asarray(theirs.var)[at] == pytest.approx(ours.variance, rel=1e-8, abs=1e-12)


def log_likelihood(seen: Histories, shape: float, scale: float) -> float:
    lived = np.sum(seen.end**shape - seen.start**shape)
    return len(seen.age) * np.log(scale * shape) + (shape - 1) * np.sum(np.log(seen.age)) - scale * lived


@pytest.mark.parametrize(("late", "rel"), [(False, 1e-5), (True, 1e-3)])
def test_the_power_law_is_surpyvals(late, rel):
    """With late entry surpyval's search stops a little short, so ours must also be at least as likely."""
    ages = np.array([100.0, 500.0, 1200.0])
    for number in range(SETS):
        seen = fleet(number, late=late)
        ours = fit_power_law(seen)
        theirs = surpyval.CrowAMSAA.fit(**as_rows(seen)).cif(ages)
        assert theirs == pytest.approx(ours.expected(ages), rel=rel)
        shape = np.log(theirs[2] / theirs[0]) / np.log(12.0)
        best = log_likelihood(seen, ours.shape, ours.scale)
        assert best >= log_likelihood(seen, shape, theirs[0] / 100.0**shape) - 1e-9 * abs(best)


def test_trend_tests_are_surpyvals():
    from surpyval.recurrent import laplace, mil_hdbk_189c

    for number in range(SETS):
        seen = fleet(number, late=False)
        ours, rows = trend(seen), as_rows(seen)
        del rows["tl"]
        theirs, handbook = laplace(**rows), mil_hdbk_189c(**rows)
        assert (theirs.statistic, theirs.p_value) == pytest.approx((ours.laplace, ours.laplace_p), rel=1e-8)
        assert (handbook.statistic, handbook.p_value) == pytest.approx((ours.chi_square, ours.chi_square_p), rel=1e-8)


@pytest.mark.parametrize(("mid_p", "method"), [(False, "exact-cond"), (True, "cond-midp")])
def test_rate_tests_are_those_of_statsmodels(mid_p, method):
    random = np.random.default_rng(98)
    for _ in range(SETS):
        one, other = (int(count) for count in random.integers(0, 25, 2))
        lived, other_lived = random.uniform(1.0, 50.0, 2)
        theirs = poisson_2indep(one, lived, other, other_lived, method=method, compare="ratio")
        assert rate_p(one, lived, other, other_lived, mid_p)[0] == pytest.approx(min(theirs.pvalue, 1.0), rel=1e-8)


def test_tables_of_failed_parts_are_those_of_scipy():
    random = np.random.default_rng(99)
    for _ in range(SETS):
        all_one, all_two = (int(count) for count in random.integers(1, 60, 2))
        one, two = int(random.integers(0, all_one + 1)), int(random.integers(0, all_two + 1))
        theirs = fisher_exact([[one, all_one - one], [two, all_two - two]]).pvalue
        assert fitted_p(one, all_one, two, all_two)[0] == pytest.approx(theirs, rel=1e-8)


def test_false_discoveries_are_those_of_scipy():
    random = np.random.default_rng(100)
    for _ in range(SETS):
        p = random.uniform(size=int(random.integers(1, 80))) ** 3
        assert false_discoveries(p) == pytest.approx(false_discovery_control(p), rel=1e-12)


@pytest.mark.parametrize("late", [False, True])
def test_log_rank_is_that_of_statsmodels(late):
    for number in range(SETS):
        random = np.random.default_rng([101, number])
        group = random.permutation(np.arange(60) % 3)
        start = random.uniform(0.0, 2.0, 60) * late
        end = start + np.ceil(random.weibull(1.5, 60) * 10) / (10 if number % 2 else 3)
        failed = random.random(60) < 0.6
        ours = log_rank(end, failed, group, start)
        chi_square, p = survdiff(end, failed.astype(int), group, entry=start if late else None)
        assert (ours.chi_square, ours.chi_square_p) == pytest.approx((chi_square, p), rel=1e-8)


def test_a_hundred_thousand_machines_take_less_time_than_theirs():
    seen = fleet(0, late=True, machines=100_000)
    rows = as_rows(seen)
    begun = time.perf_counter()
    mean_repairs(seen)
    ours = time.perf_counter() - begun
    begun = time.perf_counter()
    surpyval.NonParametricCounting.fit(**rows)
    theirs = time.perf_counter() - begun
    print(f"mean repairs, 100,000 machines: {ours:.3f} s against {theirs:.2f} s")
    assert ours < theirs

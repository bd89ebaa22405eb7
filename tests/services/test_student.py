"""Student's t with four degrees of freedom against scipy.stats.t (scipy, an outside implementation)."""

import numpy as np
import pytest
from scipy import stats

from services.student import t_cdf, t_log_density, t_quantile

T4 = stats.t(4)


def test_the_share_below_agrees_with_scipy():
    at = np.linspace(-60, 60, 2401)
    assert np.abs(t_cdf(at) - T4.cdf(at)).max() < 1e-14


def test_the_quantile_agrees_with_scipy():
    shares = np.linspace(0.001, 0.999, 999)
    assert t_quantile(shares) == pytest.approx(T4.ppf(shares), rel=1e-10, abs=1e-12)


def test_the_quantile_of_the_ninety_per_cent_is_the_table_value():
    # Student's t table, 4 degrees of freedom, one tail .10: 1.533; .05: 2.132 (any printed table).
    assert t_quantile([0.9, 0.95]) == pytest.approx([1.533, 2.132], abs=5e-4)


def test_the_ends_are_infinite():
    assert t_quantile([0.0, 1.0]).tolist() == [-np.inf, np.inf]


def test_the_log_density_agrees_with_scipy():
    at = np.linspace(-30, 30, 301)
    assert t_log_density(at**2) == pytest.approx(T4.logpdf(at), abs=1e-12)

"""The two-parameter Weibull likelihood of observed lives with its slopes, in u = ln(life) and a = ln(shape).

With z = shape (ln t - u) and cumulative hazard H = e^z an exact failure adds a + z - ln t - H, a survivor -H, an entry +H, a
failure between two looks ln(e^-H(lower) - e^-H(upper)). Meeker & Escobar 1998, ch. 7, 8 and 11. Ages are divided by the largest,
so that nothing depends on their unit.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from services.life_data.lives import Array, Lives

LOG_OF_NOTHING = -1e100  # ln(age) of a part never looked at before: its hazard is 0 and so are the products with it
LARGEST_Z = 600.0


@dataclass(frozen=True)
class Terms:
    """What the likelihood needs: log ages `x` (m,) carrying hazard with `weight` (m,), sums over exact failures, intervals.

    log_top: ln of the largest age, taken off every x. exact, exact_x: parts failed at a known age and the sum of their x.
    low_x, high_x, low_high_count (k,): failures between two looks.
    """

    x: Array
    weight: Array
    log_top: float
    exact: float
    exact_x: float
    low_x: Array
    high_x: Array
    low_high_count: Array


class Slopes(NamedTuple):
    """Log-likelihood with its first and second derivatives in u and a."""

    value: float
    by_u: float
    by_a: float
    by_uu: float
    by_ua: float
    by_aa: float


def terms_of(lives: Lives) -> Terms:
    """Return the likelihood's terms of lives that hold at least one part."""
    until = lives.seen_until
    log_top = float(np.log(until.max()))
    with np.errstate(divide="ignore"):
        x = np.maximum(np.log(lives.lower) - log_top, LOG_OF_NOTHING)
    exact, between, late = lives.exact, lives.between, lives.entry > 0
    weights, points = [lives.count], [x]
    if late.any():
        points.append(np.log(lives.entry[late]) - log_top)
        weights.append(-lives.count[late])
    high_x = np.log(lives.upper[between]) - log_top
    failed = lives.count * exact
    joined = (np.concatenate(points), np.concatenate(weights)) if late.any() else (x, lives.count)
    sums = float(failed.sum()), dot(failed, x)
    return Terms(*joined, log_top, *sums, x[between], high_x, lives.count[between])


def dot(left: Array, right: Array) -> float:
    """Return the inner product without BLAS, whose threads wait for each other for milliseconds on a busy machine."""
    return float(np.einsum("i,i->", left, right))


def slopes(terms: Terms, u: float, a: float) -> Slopes:
    """Return log-likelihood and derivatives at life e^u and shape e^a."""
    shape, at = float(np.exp(a)), u - terms.log_top
    z, weighted = _hazard(terms.x, shape, at)
    weighted *= terms.weight
    zero, one = float(weighted.sum()), dot(z, weighted)
    weighted *= z
    two = dot(z, weighted)
    exact_z = shape * (terms.exact_x - terms.exact * at)
    value = terms.exact * (a - terms.log_top) + exact_z - terms.exact_x - zero
    by_ua = shape * (zero + one - terms.exact)
    known = Slopes(
        value, shape * (zero - terms.exact), terms.exact + exact_z - one, -(shape**2) * zero, by_ua, exact_z - one - two
    )
    return Slopes(*np.add(known, _between(terms, shape, at)).tolist()) if len(terms.low_x) else known


def _between(terms: Terms, shape: float, at: float) -> Slopes:
    """What failures between two looks add."""
    low_z, low = _hazard(terms.low_x, shape, at)
    high_z, high = _hazard(terms.high_x, shape, at)
    gained, one = high - low, high_z * high - low_z * low
    two = high_z**2 * high - low_z**2 * low
    with np.errstate(over="ignore", divide="ignore"):
        odds = 1.0 / np.expm1(gained)
        value = np.log(-np.expm1(-gained))
    bend = odds * (1.0 + odds)
    columns = (
        value,
        odds * -shape * gained,
        odds * one,
        shape**2 * gained * (odds - bend * gained),
        -shape * (odds * (gained + one) - bend * gained * one),
        odds * (one + two) - bend * one**2,
    )
    return Slopes(*(dot(terms.low_high_count, column) for column in columns))


def _hazard(x: Array, shape: float, at: float) -> tuple[Array, Array]:
    z = x - at
    z *= shape
    np.minimum(z, LARGEST_Z, out=z)
    return z, np.exp(z)

"""Four part types that wear, with truth: chain, air shock, elastomer, battery; gauges err, some readings are plainly bad.

Every law is a little other than the model's (rates are log-normal, chains bend as u^1.1), on purpose. Steps between
measurements of elastomers and batteries are ours: with them as many parts are within the limit after 1, 2, 3 measurements
as in the prototype's table.
"""

from dataclasses import dataclass

import numpy as np

from services.kinds.shock_air import KELVIN
from services.units import ATMOSPHERE_KPA
from services.wear_model import Series

MOST = 6
SET_KPA = 1000.0
FINE = 400


@dataclass(frozen=True)
class Parts:
    """n parts: measurements (n, 6) on the wear scale and the axis, the true crossing (n,), limit, how far it is looked for."""

    series: Series
    crossing: np.ndarray
    limit: float
    cap: float
    uncorrected: np.ndarray | None = None  # pressure not corrected for temperature
    gauge_corrected: np.ndarray | None = None  # corrected by the temperature ratio on the gauge value


def _series(u, y, second=None, rate=None) -> Series:
    n = len(u)
    none = np.zeros_like(u) if second is None else second
    return Series(u, y, y.copy(), none, np.full(u.shape, np.nan), np.ones(u.shape, bool), np.zeros(u.shape, int),
                  np.zeros(n) if rate is None else rate)  # fmt: skip


def _slip(random, shape, share, size):
    return np.where(random.random(shape) < share, random.choice([-1.0, 1.0], shape) * size, 0.0)


def chain(seed: int, n: int) -> Parts:
    """Elongation in %, axis 1,000 km; law rate u^1.1 (rate at 5,000 km), wander .012 per root of 1,000 km; limit .5 %."""
    random = np.random.default_rng([seed, 1])
    rate = 0.10 * np.exp(0.45 * random.standard_normal(n))
    start = 0.02 + 0.01 * random.standard_normal(n)
    u = np.cumsum(0.3 + random.gamma(2, 0.6, (n, MOST)), axis=1)
    cap, limit = 40.0, 0.5
    grid = np.linspace(0, cap, int(cap * 40) + 1)
    steps = 0.012 * np.sqrt(np.diff(grid)) * random.standard_normal((n, len(grid) - 1))
    path = start[:, None] + rate[:, None] * grid**1.1 / 5**0.1
    path[:, 1:] += np.cumsum(steps, axis=1)
    true = np.stack([np.interp(u[i], grid, path[i]) for i in range(n)])
    met = path >= limit
    crossing = np.where(met.any(axis=1), grid[met.argmax(axis=1)], np.inf)
    y = true + 0.025 * random.standard_normal(u.shape) + _slip(random, u.shape, 0.03, 0.25)
    return Parts(_series(u, y), crossing, limit, cap)


def shock(seed: int, n: int) -> Parts:
    """-ln(gauge pressure at 20 C / set), axis 100 days since it was set; temperature by season; limit at 88 %."""
    random = np.random.default_rng([seed, 2])
    leak = 0.10 * np.exp(0.6 * random.standard_normal(n))
    u = np.cumsum(15 + random.gamma(2, 20, (n, MOST)), axis=1) / 100
    day = random.uniform(0, 365.25, n)[:, None] + 100 * u
    true_c = 11 - 9 * np.cos(2 * np.pi * day / 365.25) + 4 * random.standard_normal(u.shape)
    at_20 = SET_KPA * np.exp(-leak[:, None] * u)
    gauge = (at_20 + ATMOSPHERE_KPA) * (true_c + KELVIN) / (20 + KELVIN) - ATMOSPHERE_KPA
    shown = gauge * (1 + 0.012 * random.standard_normal(u.shape) + _slip(random, u.shape, 0.02, 0.25))
    read_c = true_c + 2 * random.standard_normal(u.shape)
    ratio = (20 + KELVIN) / (read_c + KELVIN)
    y = -np.log(((shown + ATMOSPHERE_KPA) * ratio - ATMOSPHERE_KPA) / SET_KPA)
    limit = -np.log(0.88)
    return Parts(_series(u, y), limit / leak, limit, 15.0, -np.log(shown / SET_KPA), -np.log(shown * ratio / SET_KPA))


def elastomer(seed: int, n: int) -> Parts:
    """Shore A gained over new, axis years; 3 Shore per ln(1 + u/.5); limit 8; looked for within 25 years."""
    random = np.random.default_rng([seed, 3])
    rate = 3.0 * np.exp(0.4 * random.standard_normal(n))
    start = 1.2 * random.standard_normal(n)
    u = np.cumsum(0.4 + random.gamma(2, 0.35, (n, MOST)), axis=1)
    y = start[:, None] + rate[:, None] * np.log1p(u / 0.5)
    y = y + 1.5 * random.standard_normal(u.shape) + _slip(random, u.shape, 0.03, 8.0)
    return Parts(_series(u, y), 0.5 * np.expm1((8.0 - start) / rate), 8.0, 25.0)


def battery(seed: int, n: int) -> Parts:
    """Capacity lost in %, axis years, second driver 100 cycles; 4 % per root year and 2 % per 100 cycles; limit 25 %."""
    random = np.random.default_rng([seed, 4])
    calendar, use = (level * np.exp(0.4 * random.standard_normal(n)) for level in (4.0, 2.0))
    yearly = 0.45 * np.exp(0.6 * random.standard_normal(n))
    u = np.cumsum(0.8 + random.gamma(2, 0.4, (n, MOST)), axis=1)
    y = calendar[:, None] * np.sqrt(u) + use[:, None] * yearly[:, None] * u
    y = y + 1.5 * random.standard_normal(u.shape) + _slip(random, u.shape, 0.03, 6.0)
    slope = use * yearly
    root = (-calendar + np.sqrt(calendar**2 + 4 * slope * 25.0)) / (2 * slope)
    return Parts(_series(u, y, u * yearly[:, None], yearly), root**2, 25.0, 30.0)


KINDS = {"chain": chain, "shock": shock, "elastomer": elastomer, "battery": battery}

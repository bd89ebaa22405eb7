"""When wear meets its limit: the probability that it has by an axis value, never falling, and the quantiles of the crossing.

Up to the last measurement: Phi((mean - limit) / sd), made monotone by a running maximum. After it the random part may touch
the limit and turn back: where 2 nu R / wander^2 < 100 (R to go, nu the drift per unit of clock) the inverse-Gaussian first
passage law adds the paths that did, averaged over what is not known of R and nu. For a straight drift that is exact given
both; for a bent one the chord from the last measurement stands for it (our approximation).
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import log_ndtr, ndtr

from services.wear_model import Array, Learnt, prior_covariance

FIRST_PASSAGE_BELOW = 100.0
GRID = 48
ROUNDS = 3
_TENTHS = np.arange(1, 10) / 10
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_SHARES = _WEIGHTS / _WEIGHTS.sum()
_TINY = 1e-12


def first_passage(drift: Array, to_go: Array, variance: Array) -> Array:
    """Return the probability that a Brownian path has touched `to_go`, with this drift and variance up to now.

    drift = nu t, variance = sigma^2 t of the inverse-Gaussian law of the first passage time; 1 where nothing is to go.
    """
    root = np.sqrt(np.maximum(variance, 1e-300))
    came_back = 2 * drift * to_go / root**2 + log_ndtr(-(drift + to_go) / root)
    chance = ndtr((drift - to_go) / root) + np.exp(np.minimum(came_back, 0.0))
    return np.where(to_go > 0, np.minimum(chance, 1.0), 1.0)


def reached(learnt: Learnt, limit: Array, u: Array) -> Array:
    """Return the probability (n, G) that each part has met its limit (n,) by axis values u (n, G); not yet monotone."""
    mean, sd = learnt.wear(u)
    at_once = ndtr((mean - limit[:, None]) / np.maximum(sd, _TINY))
    after = u > learnt.last_u[:, None]
    if learnt.values.wander == 0 or not after.any():
        return at_once
    return np.minimum(at_once + _touched(learnt, limit, u, after), 1.0)


def _touched(learnt: Learnt, limit: Array, u: Array, after: Array) -> Array:
    """Return what first passage adds to P(beyond the limit) at u (n, G), 0 where it is too little to matter."""
    start = learnt.last_u[:, None]
    phi, g = learnt.drivers(u)
    phi_0, g_0 = learnt.drivers(start)
    step, link_0 = phi - phi_0, learnt.link(phi_0, g_0)
    link = learnt.link(step, np.zeros_like(g))
    weight = np.asarray(learnt.values.spread) ** 2
    level, level_sd = learnt.wear(start)
    drift = step @ np.asarray(learnt.values.mean) + (link @ learnt.pull[..., None])[..., 0]
    drift_var = (step**2) @ weight - ((link @ learnt.inverse) * link).sum(axis=-1)
    joint = prior_covariance(learnt.values, step, phi_0, np.zeros_like(g), np.zeros_like(g_0))
    joint = (joint - link @ learnt.inverse @ np.swapaxes(link_0, -1, -2))[..., 0]
    wandered = learnt.values.wander**2 * np.maximum(g - g_0, _TINY)
    to_go = limit[:, None] - level
    matters = 2 * drift * to_go / wandered < FIRST_PASSAGE_BELOW
    slope = joint / np.maximum(level_sd, _TINY) ** 2
    rest_sd = np.sqrt(np.maximum(drift_var - slope * joint, 0.0))
    added = np.zeros_like(u)
    picked = matters & after
    taken = (np.broadcast_to(part, u.shape)[picked] for part in (drift, slope, rest_sd, to_go, level_sd, wandered))
    added[picked] = _averaged(*taken)
    return added


def _averaged(drift: Array, slope: Array, rest_sd: Array, to_go: Array, level_sd: Array, wandered: Array) -> Array:
    """The returning paths (m,), averaged over the level at the last measurement and over the drift given that level."""
    gone = (level_sd[:, None] * _NODES)[:, :, None]
    moved = drift[:, None, None] + slope[:, None, None] * gone + rest_sd[:, None, None] * _NODES
    left, variance = to_go[:, None, None] - gone, wandered[:, None, None]
    back = first_passage(moved, left, variance) - ndtr((moved - left) / np.sqrt(variance))
    return np.einsum("mab,a,b->m", back, _SHARES, _SHARES)


def chance_curve(learnt: Learnt, limit: Array | float, u: Array) -> Array:
    """Return the probability (n, G) that the limit is met by u (n, G ascending): never falling."""
    return np.maximum.accumulate(reached(learnt, _per_part(limit, len(u)), u), axis=1)


def past_already(learnt: Learnt, limit: Array | float) -> Array:
    """Return the probability (n,) that the limit was met by the last measurement that counts."""
    limits, at = _per_part(limit, len(learnt.kept)), learnt.last_u[:, None]
    share = np.linspace(0, 1, GRID) ** 1.5
    return reached(learnt, limits, at * share).max(axis=1)


def crossings(
    learnt: Learnt, limit: Array | float, levels: Sequence[float], cap: float, *, still_good: bool = False
) -> Array:
    """Return the axis values (n, L) by which the limit is met with these probabilities; inf where later than `cap`.

    `still_good`: given that it was not met by the last measurement, which is what a part left in service was judged to be.
    """
    wanted = np.broadcast_to(np.asarray(levels, float), (len(learnt.kept), len(levels)))
    limits = _per_part(limit, len(wanted))
    if still_good:
        past = past_already(learnt, limits)[:, None]
        wanted = past + (1 - past) * wanted
    grid = _grid(learnt, cap)
    chance = np.maximum.accumulate(reached(learnt, limits, grid), axis=1)
    passed = chance[:, None, :] >= wanted[:, :, None]
    ever = passed.any(axis=2)
    index = np.where(ever, passed.argmax(axis=2), grid.shape[1] - 1)
    low, high = np.maximum(index - 1, 0), index
    left, right = (np.take_along_axis(grid, at, axis=1) for at in (low, high))
    left_chance, right_chance = (np.take_along_axis(chance, at, axis=1) for at in (low, high))
    for _ in range(ROUNDS):
        left, right, left_chance, right_chance = _closer(
            learnt, limits, wanted, (left, right), (left_chance, right_chance)
        )
    share = (wanted - left_chance) / np.maximum(right_chance - left_chance, _TINY)
    return np.where(ever, left + (right - left) * np.clip(share, 0.0, 1.0), np.inf)


def _closer(
    learnt: Learnt, limits: Array, wanted: Array, ends: tuple[Array, Array], chances: tuple[Array, Array]
) -> tuple[Array, Array, Array, Array]:
    """Return brackets (n, L) a tenth as wide around the wanted chances, with the chances at their ends."""
    inner = ends[0][..., None] + (ends[1] - ends[0])[..., None] * _TENTHS
    found = reached(learnt, limits, inner.reshape(len(limits), -1)).reshape(inner.shape)
    u = np.concatenate([ends[0][..., None], inner, ends[1][..., None]], axis=2)
    chance = np.concatenate([chances[0][..., None], found, chances[1][..., None]], axis=2)
    chance = np.minimum(np.maximum.accumulate(chance, axis=2), chances[1][..., None])
    above = np.maximum((chance >= wanted[..., None]).argmax(axis=2), 1)[..., None]
    picked = (np.take_along_axis(of, at, axis=2)[..., 0] for of in (u, chance) for at in (above - 1, above))
    left, right, left_chance, right_chance = picked
    return left, right, left_chance, right_chance


def _grid(learnt: Learnt, cap: float) -> Array:
    """Axis values (n, 2 x GRID): denser at the start, the last measurement among them."""
    share = np.linspace(0, 1, GRID) ** 1.5
    last = np.minimum(learnt.last_u, cap)[:, None]
    return np.concatenate([last * share, last + (cap - last) * share], axis=1)


def _per_part(limit: Array | float, n: int) -> Array:
    return np.broadcast_to(np.asarray(limit, float), (n,))

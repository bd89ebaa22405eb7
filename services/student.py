"""Student's t with four degrees of freedom: the spread of a stretch ridden, wide enough for tours and illness.

With x = t / sqrt(4 + t^2): F = 1/2 + (3x - x^3) / 4 (the incomplete beta function in closed form); and back by the sine of a
third of an angle. Both exact, elementwise, and many times faster than a general t.
"""

import math

import numpy as np

NU = 4.0
# log of gamma(5/2) / (gamma(2) sqrt(4 pi)): the density at its centre.
_LOG_CENTRE = math.lgamma(2.5) - math.lgamma(2.0) - 0.5 * math.log(NU * math.pi)


def t_cdf(t: np.ndarray | float) -> np.ndarray:
    """Return the share below `t`."""
    t = np.asarray(t, dtype=float)
    x = t / np.sqrt(NU + t * t)
    return 0.5 + 0.25 * x * (3.0 - x * x)


def t_quantile(p: np.ndarray | float) -> np.ndarray:
    """Return the value below which a share `p` lies; 0 and 1 give minus and plus infinity."""
    centred = 2.0 * np.asarray(p, dtype=float) - 1.0
    x = 2.0 * np.sin(np.arcsin(centred) / 3.0)
    # 1 - x^2 as a product of two sines: no cancellation in the tails.
    rest = 4.0 * np.sin(np.arccos(centred) / 3.0) * np.sin(np.arccos(-centred) / 3.0)
    with np.errstate(divide="ignore"):
        return 2.0 * x / np.sqrt(rest)


def t_log_density(t2: np.ndarray | float) -> np.ndarray:
    """Return the log density at a t whose square is `t2`."""
    return _LOG_CENTRE - 0.5 * (NU + 1.0) * np.log1p(np.asarray(t2, dtype=float) / NU)

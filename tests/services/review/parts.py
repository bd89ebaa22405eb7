"""Lives of one part type by hand: what a test does not name is plain."""

import numpy as np

from services.review.observed import MONTHS, PartLives, Streams


def part_of(end, failed, **more) -> PartLives:
    """Return pieces watched from new until `end` (n,), failed then or not; batch, firmware, machine, mode, ... as named."""
    until, has_failed = np.asarray(end, float), np.asarray(failed, bool)
    n = len(until)
    labels = {name: more.pop(name, [""] * n) for name in ("batch", "firmware", "made_year", "model", "severity")}
    columns = {
        "known": np.ones(n, dtype=bool), "entry": np.zeros(n), "last_good": np.full(n, np.nan),
        "mode": np.where(has_failed, "leakage", ""), "month": np.full(n, -1), "repairs": has_failed.astype(int),
        "accidents": np.zeros(n, dtype=int), "machine": np.arange(n), "fitted": ~has_failed, "age": until,
        "at_month": np.repeat(until[:, None], MONTHS + 1, axis=1), "ahead": np.zeros(n),
    }  # fmt: skip
    columns |= {name: np.asarray(more.pop(name)) for name in list(more) if name in columns}
    nothing = np.empty(0)
    plain = {
        "part_type": 1, "kind": "air_shock", "maker": "Hazelwick Parts", "name": "Air shock", "metric": "km", "running": 0,
        "streams": Streams(nothing, nothing, nothing.astype(int), nothing),
    } | more  # fmt: skip
    return PartLives(
        component=np.arange(n), end=until, failed=has_failed, **columns,
        groups={name: np.asarray(column).astype(str) for name, column in labels.items()}, **plain,
    )  # fmt: skip

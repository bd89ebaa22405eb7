"""Wheels and spokes: re-check after about 100 miles; each spoke within 20 % of its side's mean (forum text, manual A)."""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

SPOKE_BAND = 0.20


def spoke_ok(tension: float, side_mean: float) -> bool:
    """Return whether a spoke's tension lies within a fifth of its side's mean (any one unit)."""
    return abs(tension - side_mean) <= SPOKE_BAND * side_mean + 1e-9


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """The spoke that differs most from its side's mean: more than 20 % must be set."""
    limit = SPOKE_BAND * 100
    if spoke_ok(100 + value, 100):
        return Verdict("ok", f"{value:g} % from the mean - good: within {limit:g} %.", value, limit)
    return Verdict("replace", f"{value:g} % from the mean - set the spokes: within {limit:g} %.", value, limit)


KIND = ServiceKind(
    "wheels_and_spokes", "Wheels and spokes",
    tasks=(
        Task("wheels_check", "Wheels and spokes", "frame", 20, safety=True, release=True, asks=("spoke_deviation_pct",),
             verb="Last checked",
             plain="We check the wheels for loose spokes and bearings and true them."),
    ),
    quantities=(
        Quantity("spoke_deviation_pct", "Worst spoke against its side's mean", "%", -100, 100,
                 instrument="spoke tension meter", within=f"within {SPOKE_BAND * 100:g} % of the mean"),
    ),
    cautions=("A wheel on a trike takes side loads: a loose spoke overloads its neighbours. Test before riding.",),
    judge=judge,
)  # fmt: skip

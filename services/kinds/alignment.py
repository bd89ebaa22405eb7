"""Toe-in: 0 to 2 mm (1/16 in), front narrower, never toe-out, at axle height, rider seated (trike maker manual B).

Mark the tyre, roll half a turn, compare: that removes run-out. Rod end screwed in at least 8 mm (manual D).
"""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

BAND_MM = (0.0, 2.0)
ROD_END_MM = 8.0


def toe_in_mm(front_mm: float, rear_mm: float) -> float:
    """Return toe-in (mm): rim distance behind the axle less that in front; negative is toe-out."""
    return rear_mm - front_mm


def rod_end_ok(engagement_mm: float) -> bool:
    """Return whether the rod end is screwed in far enough."""
    return engagement_mm >= ROD_END_MM


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """0 to 2 mm passes; toe-out or more than 2 mm must be set."""
    low, high = BAND_MM
    if value < low:
        return Verdict("stop", f"{-value:g} mm toe-out - set it before riding: 0 to 2 mm toe-in.", value, low)
    if value > high:
        return Verdict("replace", f"{value:g} mm toe-in - set it: 0 to 2 mm.", value, high)
    return Verdict("ok", f"{value:g} mm toe-in - good: 0 to 2 mm.", value, high)


KIND = ServiceKind(
    "alignment", "Toe-in",
    tasks=(
        Task("toe_in_check", "Toe-in", "frame", 20, safety=True, release=True, asks=("toe_in_mm",), verb="Last measured",
             plain="We measure whether the front wheels run parallel; if not, tyres wear in days."),
    ),
    quantities=(
        Quantity("toe_in_mm", "Toe-in", "mm", -40, 40, instrument="toe bar at axle height",
                 within=f"{BAND_MM[0]:g} to {BAND_MM[1]:g} mm toe-in"),
    ),
    cautions=("After work on the steering: test at walking pace before riding. Lock nuts tight, rod ends in at least 8 mm.",),
    judge=judge,
)  # fmt: skip

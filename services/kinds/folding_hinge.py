"""Folding hinge: the lock must be safe and not open while riding (ISO 4210-2 clause 4.3.3, as design reference only)."""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

FELT_MM = 0.1  # what a hand takes for none (common practice, no source)


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """A closed hinge has no play that can be felt."""
    if value > FELT_MM:
        return Verdict("stop", f"{value:g} mm play - do not ride: the closed hinge must have none.", value, FELT_MM)
    return Verdict("ok", "No play.", value, FELT_MM)


KIND = ServiceKind(
    "folding_hinge", "Folding hinge",
    tasks=(
        Task("hinge_check", "Folding hinge", "frame", 10, safety=True, release=True, asks=("hinge_play_mm",),
             verb="Last checked",
             plain="We check the hinge for wear and play and that its lock closes fully. Look at it before every ride."),
    ),
    quantities=(
        Quantity("hinge_play_mm", "Play in the closed hinge", "mm", 0, 20, instrument="feeler gauge", better="lower",
                 within="none"),
    ),
    cautions=("A hinge that is loose or cracked, or whose lock does not close: do not ride. Mind your fingers when folding.",),
    judge=judge,
)  # fmt: skip

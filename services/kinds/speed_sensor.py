"""Speed sensor: the gap to its magnet. At most 2 mm for a common mid-drive kit; others allow 5 to 17 mm (a how-to text)."""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict

GAP_MM = 2.0


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Up to the part's own gap, else 2 mm: good."""
    limit = float(rated.get("max_gap_mm") or GAP_MM)
    if value <= limit:
        return Verdict("ok", f"{value:g} mm gap - good: at most {limit:g} mm.", value, limit)
    return Verdict("watch", f"{value:g} mm gap - set it closer: at most {limit:g} mm.", value, limit)


KIND = ServiceKind(
    "speed_sensor", "Speed sensor",
    tasks=(
        Task("speed_sensor_check", "Speed sensor", "frame", 5, asks=("sensor_gap_mm",),
             plain="We check the sensor that tells motor and display how fast you ride."),
    ),
    quantities=(
        Quantity("sensor_gap_mm", "Gap to the magnet", "mm", 0, 30, instrument="feeler gauge", better="lower",
                 within=f"at most {GAP_MM:g} mm, or as its maker says"),
    ),
    cautions=("Lift the wheel off the ground before the motor is tried; assist that does not cut off: do not ride.",),
    judge=judge,
)  # fmt: skip

"""Renewing a part by its age, before it fails: only where a maker or the failure review names an age. It has no shipped interval.

A new piece begins at 0, so that the task goes with the piece that leaves. Bench minutes: common practice, no source.
"""

from services.kinds.model import ServiceKind, Task
from services.parts import PART_KINDS

NEVER = ("frame",)  # it is the trike
_MINUTES = {
    "motor": 90, "battery": 20, "display": 20, "hub_geared": 90, "chain": 45, "air_shock": 30, "elastomer": 30, "brake": 45,
    "rotor": 25, "wheel": 30, "tyre": 20, "seat_mesh": 40, "headrest": 10, "hinge": 90, "kingpin": 60, "tie_rod": 40,
    "idler": 30, "shifter": 45, "torque_arm": 25, "speed_sensor": 20, "lights": 20, "rack": 20, "castor": 15,
    "kickstand": 15, "charger": 5,
}  # fmt: skip
# Parts on whose failure a rider falls, cannot stop or burns: their limits are never lengthened (common practice, no source).
SAFETY = frozenset({"battery", "brake", "rotor", "wheel", "tyre", "hinge", "kingpin", "tie_rod", "torque_arm"})


def renewal_of(part_kind: str) -> str:
    """Return the task that renews parts of a kind; '' for what is never renewed by age."""
    return f"{part_kind}_renewal" if part_kind in _MINUTES else ""


def is_safety_critical(part_kind: str) -> bool:
    """Return whether somebody can be hurt when a part of this kind fails."""
    return part_kind in SAFETY or part_kind in NEVER


def _task(part_kind: str) -> Task:
    title = PART_KINDS[part_kind].title
    return Task(
        renewal_of(part_kind), f"New {title}", part_kind, _MINUTES[part_kind], safety=part_kind in SAFETY, verb="Renewed",
        plain=f"We renew the {title} before its age makes it fail.",
    )  # fmt: skip


KIND = ServiceKind(
    "renewal", "Renewal by age",
    tasks=tuple(_task(part_kind) for part_kind in PART_KINDS if part_kind not in NEVER),
    cautions=(
        "Swap the part on the job card, old serial for new: the task leaves with the old piece.",
        "Where the maker names a shorter life, that counts. Old batteries, oil and air shocks go the way their makers say.",
    ),
)  # fmt: skip

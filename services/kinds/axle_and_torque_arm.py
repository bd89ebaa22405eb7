"""Torque arm and axle: they hold the hub against the drive. Axle-plate bolts: common practice, no source.

Torque bands of trike maker manual A, page 25: M4 5-6, M5 6-8, M6 8-10 N.m unless the part says otherwise.
"""

from services.kinds.model import ServiceKind, Task

TORQUE_BANDS_NM = {"M4": (5.0, 6.0), "M5": (6.0, 8.0), "M6": (8.0, 10.0)}
FAILURE_MARGIN = 1.5  # minimum failure torque over recommended torque, ISO 4210-2:2014 clause 4.3.2


def torque_verdict(thread: str, torque_nm: float) -> str:
    """Return 'under', 'ok' or 'over' for a bolt of that thread. Raises KeyError for a thread not in the table."""
    low, high = TORQUE_BANDS_NM[thread]
    return "under" if torque_nm < low else "over" if torque_nm > high else "ok"


def minimum_failure_torque_nm(recommended_nm: float) -> float:
    """Return the torque (N.m) a bolted joint must stand."""
    return recommended_nm * FAILURE_MARGIN


KIND = ServiceKind(
    "axle_and_torque_arm", "Torque arm and axle",
    tasks=(
        Task("axle_check", "Torque arm and axle", "hub_geared", 10, safety=True, release=True,
             plain="We check that the rear wheel sits firmly and its torque arm holds."),
    ),
    cautions=("A loose axle or torque arm can throw the wheel: tighten to the maker's torque, then test before riding.",),
)  # fmt: skip

"""Kingpins and tie rods: no play; a top kingpin bolt was found backed out on a new trike, so the first inspection looks."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "steering_joints", "Kingpins and tie rods",
    tasks=(
        Task("steering_joints_check", "Kingpins and tie rods", "frame", 15, safety=True, release=True,
             plain="We check the steering for play and the bolts that hold it."),
    ),
    cautions=("Play in the steering: do not ride until it is put right. Test before riding after any work on it.",),
)  # fmt: skip

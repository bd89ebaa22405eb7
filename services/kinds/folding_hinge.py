"""Folding hinge: the lock must be safe and not open while riding (ISO 4210-2 clause 4.3.3, as design reference only)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "folding_hinge", "Folding hinge",
    tasks=(
        Task("hinge_check", "Folding hinge", "frame", 10, safety=True, release=True,
             plain="We check the hinge for wear and play and that its lock closes fully. Look at it before every ride."),
    ),
    cautions=("A hinge that is loose or cracked, or whose lock does not close: do not ride. Mind your fingers when folding.",),
)  # fmt: skip

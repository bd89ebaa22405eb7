"""Check after a long lay-up: due before the next ride, whatever the intervals say (analogue: special inspections of TM 2-11)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "after_lay_up", "Check after a long lay-up",
    tasks=(
        Task("after_lay_up", "Check after a long lay-up", "frame", 30, safety=True, release=True, verb="Last done",
             plain="Before the first ride: tyres, brakes, battery, bolts."),
    ),
    cautions=("Tyres, brakes and battery before the first ride; a battery found empty is not charged before it was checked.",),
)  # fmt: skip

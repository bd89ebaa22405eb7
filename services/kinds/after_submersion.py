"""Check after submersion: due before the next ride, whatever the intervals say (analogue: special inspections of TM 2-11)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "after_submersion", "Check after submersion",
    tasks=(
        Task("after_submersion", "Check after submersion", "frame", 90, safety=True, release=True, verb="Last done",
             plain="Before you ride again we dry and check battery, motor, bearings and brakes."),
    ),
    cautions=("A wet battery: do not charge, do not ride; isolate it outdoors, away from fire; trained people only.",),
)  # fmt: skip

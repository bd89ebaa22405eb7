"""Check after a crash: due before the next ride, whatever the intervals say (analogue: special inspections of TM 2-11)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "after_crash", "Check after a crash",
    tasks=(
        Task("after_crash", "Check after a crash", "frame", 60, safety=True, release=True, verb="Last done",
             plain="Before you ride again we check frame, steering, wheels, brakes and battery."),
    ),
    cautions=(
        "After a crash or tip-over do not ride: frame, steering and battery may be damaged where nobody sees it.",
        "A dropped battery is not charged.",
    ),
)  # fmt: skip

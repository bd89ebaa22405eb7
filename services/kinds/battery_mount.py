"""Battery mount: lock, rails and contacts must hold the pack. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "battery_mount", "Battery mount",
    tasks=(
        Task("battery_mount_check", "Battery mount", "battery", 10, safety=True,
             plain="We check that the battery sits firmly, its lock closes and its contacts are clean."),
    ),
    cautions=("Take the battery out before working on its contacts; never bridge them with a tool.",),
)  # fmt: skip

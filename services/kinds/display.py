"""Display: readable, buttons, walk assist off when released, odometer noted. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "display", "Display",
    tasks=(
        Task("display_check", "Display", "display", 5, plain="We check display and buttons and note the odometer."),
    ),
    cautions=("Walk assist that runs on when its button is let go: switch off, battery out, do not ride.",),
)  # fmt: skip

"""Transport castors and kickstand: firm, turning, folded away while riding. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "castors_and_kickstand", "Transport castors and kickstand",
    tasks=(
        Task("castors_check", "Transport castors and kickstand", "frame", 5,
             plain="We check castors and kickstand."),
    ),
    cautions=("A folded trike is heavy: lift with two people, battery out.",),
)  # fmt: skip

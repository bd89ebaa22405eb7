"""Lights: both on, aimed, reflectors and flag in place. Local rules differ. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "lights", "Lights",
    tasks=(
        Task("lights_check", "Lights and flag", "frame", 5, owner_can=True,
             plain="Front and rear light on, reflectors clean, flag up: you sit low."),
    ),
    cautions=("Local rules say which lights a trike needs.",),
)  # fmt: skip

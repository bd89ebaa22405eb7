"""Shift box and cables: they stretch in break-in; index again at the first service, check yearly (trike dealer page)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "shifting", "Shift box and cables",
    tasks=(
        Task("shifting_check", "Shift box and cables", "hub_geared", 15,
             plain="We check that every gear engages cleanly and renew frayed cables."),
    ),
    cautions=("Keep fingers clear of the chain while turning the cranks; motor off, battery out. Frayed cable ends prick.",),
)  # fmt: skip

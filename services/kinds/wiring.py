"""Wiring: chafing at the boom and the hinge, plugs, strain relief. Common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "wiring", "Wiring",
    tasks=(
        Task("wiring_check", "Wiring and plugs", "frame", 10, plain="We look for chafed cables and loose plugs."),
    ),
    cautions=("Battery out before unplugging; a chafed battery cable can burn: do not ride with it.",),
)  # fmt: skip

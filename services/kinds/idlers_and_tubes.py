"""Idlers and chain tubes: they guide the long chain of a recumbent. Criteria: common practice, no source."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "idlers_and_tubes", "Idlers and chain tubes",
    tasks=(
        Task("idlers_check", "Idlers and chain tubes", "frame", 10,
             plain="We check that the rollers and tubes that guide the chain run freely and are not worn through."),
    ),
    cautions=("Keep fingers clear of chain and idlers while turning the cranks; motor off, battery out.",),
)  # fmt: skip

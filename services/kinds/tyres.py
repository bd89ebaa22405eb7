"""Tyres: cord, cuts and cracks end a tyre; trikes scrub the front ones; ride within the side wall's range (manuals A, C)."""

from collections.abc import Mapping
from typing import Any

from services.kinds.model import Quantity, ServiceKind, Task, Verdict


def judge(code: str, value: float, rated: Mapping[str, Any], context: Mapping[str, Any]) -> Verdict:
    """Cord, a cut to the cord, a bulge: any of them ends a tyre."""
    if value > 0:
        return Verdict("stop", f"{value:g} tyres with cord, deep cut or bulge - replace before riding.", value, 0.0)
    return Verdict("ok", "No cord, cut or bulge to be seen.", value, 0.0)


KIND = ServiceKind(
    "tyres", "Tyres",
    tasks=(
        Task("tyre_pressure_check", "Tyre pressure", "frame", 5, owner_can=True, verb="Last checked",
             plain="Pump all three tyres to the pressure on the side wall; look for cuts and cord."),
        Task("tyres_check", "Tyres", "frame", 10, safety=True, includes=("tyre_pressure_check",),
             asks=("tyres_damaged",), verb="Last checked",
             plain="We look for worn, cut or cracked tyres: the front ones scrub."),
    ),
    quantities=(
        Quantity("tyres_damaged", "Tyres with cord, deep cut or bulge", "tyres", 0, 3, instrument="by eye", better="lower",
                 within="none"),
    ),
    cautions=("Cord to be seen: do not ride. Never above the pressure on the side wall.",),
    judge=judge,
)  # fmt: skip

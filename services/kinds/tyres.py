"""Tyres: cord, cuts and cracks end a tyre; trikes scrub the front ones; ride within the side wall's range (manuals A, C)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "tyres", "Tyres",
    tasks=(
        Task("tyre_pressure_check", "Tyre pressure", "frame", 5, owner_can=True, verb="Last checked",
             plain="Pump all three tyres to the pressure on the side wall; look for cuts and cord."),
        Task("tyres_check", "Tyres", "frame", 10, safety=True, includes=("tyre_pressure_check",),
             plain="We look for worn, cut or cracked tyres: the front ones scrub."),
    ),
    cautions=("Cord to be seen: do not ride. Never above the pressure on the side wall.",),
)  # fmt: skip

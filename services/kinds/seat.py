"""Seat mesh and headrest: a new mesh stretches; strap rings cracked at about 5 years (manual C, an owner)."""

from services.kinds.model import ServiceKind, Task

KIND = ServiceKind(
    "seat", "Seat mesh and headrest",
    tasks=(
        Task("seat_check", "Seat mesh and headrest", "seat_mesh", 10,
             plain="We tighten the seat's straps and look for torn mesh and cracked rings."),
    ),
    cautions=("A torn mesh or cracked strap ring can drop the rider: do not ride until it is replaced.",),
)  # fmt: skip

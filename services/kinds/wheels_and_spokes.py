"""Wheels and spokes: re-check after about 100 miles; each spoke within 20 % of its side's mean (forum text, manual A)."""

from services.kinds.model import ServiceKind, Task

SPOKE_BAND = 0.20


def spoke_ok(tension: float, side_mean: float) -> bool:
    """Return whether a spoke's tension lies within a fifth of its side's mean (any one unit)."""
    return abs(tension - side_mean) <= SPOKE_BAND * side_mean + 1e-9


KIND = ServiceKind(
    "wheels_and_spokes", "Wheels and spokes",
    tasks=(
        Task("wheels_check", "Wheels and spokes", "frame", 20, safety=True, release=True,
             plain="We check the wheels for loose spokes and bearings and true them."),
    ),
    cautions=("A wheel on a trike takes side loads: a loose spoke overloads its neighbours. Test before riding.",),
)  # fmt: skip

"""Geared-hub oil: first after 1,000 km, then every 5,000 km or 12 months, whichever comes first (hub instruction, as quoted
by an owner). It counts on the hub's own distance: the wheel may move to another trike."""

from services.kinds.model import ServiceKind, Task

COLD_C = -15  # riders below this want a seasonal oil (one owner's report: design rule)


def wants_cold_oil(lowest_c: float) -> bool:
    """Return whether a winter rider needs the seasonal-oil flag."""
    return lowest_c < COLD_C


KIND = ServiceKind(
    "hub_oil", "Geared-hub oil",
    tasks=(
        Task("hub_oil_change", "Hub oil", "hub_geared", 45, verb="Last changed",
             uses=("{oil_ml:g} ml of the hub maker's oil", "flushing oil"),
             plain="We flush the geared hub and fill fresh oil, so that the gears keep running freely."),
    ),
    cautions=(
        "Old oil goes to the collection point; gloves on; keep it off rotor and pads.",
        "Use the oil and the quantity the hub's maker names.",
    ),
)  # fmt: skip

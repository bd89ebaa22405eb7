"""Where a part usually goes when it is taken off: what the form proposes, never decides (common practice, no source)."""

# Worn by use and worth nothing: away with it. Electrical parts go back to their maker, or are kept aside when they may burn.
_SCRAPPED = {"chain", "elastomer", "brake", "rotor", "tyre", "seat_mesh", "idler", "shifter", "kingpin", "tie_rod"}
_RETURNED = {"motor", "display", "battery", "charger", "air_shock", "hub_geared"}


def usual_fate(part_kind: str, level: str = "") -> str:
    """Return in_stock, quarantined, returned or scrapped. level: what was measured of the part on this card.

    A battery found dangerous is quarantined: it is neither kept with the others nor sent.
    """
    if part_kind == "battery" and level == "stop":
        return "quarantined"
    if part_kind in _SCRAPPED or level in {"replace", "stop"}:
        return "returned" if part_kind in _RETURNED else "scrapped"
    return "returned" if part_kind in _RETURNED else "in_stock"

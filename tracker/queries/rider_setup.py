"""What bears on the set-up of one trike: the types of its shock, its elastomers and its frame."""

from services.rider_setup import Fitted, GradeRange, SetUp, Shock, set_up
from tracker.models import Fitment, PartType

SHOCK, ELASTOMERS, FRAME = "rear-shock", ("elastomer-left", "elastomer-right"), "frame"


def fitted_for_setup(trike_id: int) -> Fitted:
    """Return the values rated for what is fitted to a trike now. Two queries."""
    rows = Fitment.objects.current().filter(trike_id=trike_id, position__in=[SHOCK, *ELASTOMERS, FRAME])
    types = {row.position: row.component.part_type for row in rows.select_related("component__part_type")}
    springs = [types[place] for place in ELASTOMERS if place in types]
    frame = types.get(FRAME)
    return Fitted(
        shock=_shock(types.get(SHOCK)),
        grades=tuple(row.rated["grade"] for row in springs if row.rated.get("grade")),
        ranges=_ranges({row.maker for row in springs}),
        frame=frame.name if frame else "",
        max_system_kg=frame.rated.get("max_system_kg") if frame else None,
    )


def _shock(part_type: PartType | None) -> Shock | None:
    if part_type is None:
        return None
    rated = part_type.rated
    table = tuple((float(mass), float(kpa)) for mass, kpa in rated.get("start_table", ()))
    return Shock(part_type.name, rated.get("max_kpa"), rated.get("stroke_mm"), table)


def _ranges(makers: set[str]) -> tuple[GradeRange, ...]:
    """The ranges of system mass that the makers of what is fitted name; of all makers while nothing is fitted."""
    rows = PartType.objects.filter(kind="elastomer").order_by("pk")
    if makers:
        rows = rows.filter(maker__in=makers)
    return tuple(
        GradeRange(row.rated["grade"], row.rated["from_kg"], row.rated["below_kg"], row.name)
        for row in rows
        if {"grade", "from_kg", "below_kg"} <= set(row.rated)
    )


def proposal(
    trike_id: int, *, system_kg: float | None, rider_kg: float | None, sag_mm: float | None, pressure_kpa: float | None
) -> SetUp:  # fmt: skip
    """Return what is proposed for a rider on this trike as it is built now, and what its sag means."""
    return set_up(
        fitted_for_setup(trike_id), system_kg=system_kg, rider_kg=rider_kg, sag_mm=sag_mm, pressure_kpa=pressure_kpa
    )

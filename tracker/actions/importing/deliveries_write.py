"""Writing deliveries in sets: people, owners, trikes, ownership, fitments, handovers, first readings, logbook."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from services.identity import fold_name
from tracker.actions.importing.fittings import Fittings, words_for
from tracker.actions.importing.plan import BULK, Context, Written, rows_in
from tracker.actions.importing.staff import Staff
from tracker.actions.labels import new_label_code
from tracker.actions.steps import LogDraft
from tracker.models import Handover, OdometerReading, Owner, Ownership, Trike
from tracker.models.usage import Source

if TYPE_CHECKING:
    from tracker.actions.importing.deliveries import Delivery, Rider


def write_deliveries(deliveries: Sequence["Delivery"], fittings: Fittings, staff: Staff, context: Context) -> Written:
    """Insert everything the rows told, a fixed number of statements for any number of trikes."""
    if not deliveries:
        return Written()
    staff.write(name for row in deliveries for name in (row.built_by, row.second_by))
    owners = _owners(deliveries, context)
    trikes = Trike.objects.bulk_create(
        (
            Trike(
                frame_serial=row.frame_serial, plate=row.plate, model=row.model, state=Trike.State.DELIVERED,
                delivered_on=row.on, odometer_zero_km=row.reading_km, label_code=new_label_code(),
            )
            for row in deliveries
        ),
        batch_size=BULK,
    )  # fmt: skip
    Ownership.objects.bulk_create(
        (
            Ownership(trike=trike, owner_id=owners[row.rider.key], since=row.on)
            for trike, row in zip(trikes, deliveries, strict=True)
        ),
        batch_size=BULK,
    )
    fittings.write({trike.frame_serial: trike.pk for trike in trikes})
    Handover.objects.bulk_create(
        (_handover(trike.pk, row, staff) for trike, row in zip(trikes, deliveries, strict=True)), batch_size=BULK
    )
    OdometerReading.objects.bulk_create(
        (_reading(trike.pk, row, context) for trike, row in zip(trikes, deliveries, strict=True)), batch_size=BULK
    )
    logs = [log for trike, row in zip(trikes, deliveries, strict=True) for log in _logs(trike.pk, row, staff)]
    return Written(logs, frozenset(trike.pk for trike in trikes))


def _owners(deliveries: Sequence["Delivery"], context: Context) -> dict[tuple[str, str], int]:
    """Find or add the owners; one name with one address is one owner, whatever else the rows say."""
    riders = {row.rider.key: row for row in reversed(deliveries)}  # the first row of an owner tells the rest
    known = {
        (owner.search_name, owner.email.casefold()): owner.pk
        for owner in rows_in(Owner.objects.order_by("-pk"), "search_name", (name for name, _ in riders))
    }
    new = {key: _owner(row.rider, row, context) for key, row in riders.items() if key not in known}
    Owner.objects.bulk_create(new.values(), batch_size=BULK)
    return known | {key: owner.pk for key, owner in new.items()}


def _owner(rider: "Rider", row: "Delivery", context: Context) -> Owner:
    return Owner(
        name=rider.name,
        search_name=fold_name(rider.name),
        email=rider.email,
        phone=rider.phone,
        phone_e164=rider.phone_e164,
        time_zone=rider.time_zone,
        distance_unit=rider.distance_unit,
        pressure_unit=rider.pressure_unit,
        language=rider.language,
        reminders_agreed=bool(rider.agreed),
        agreed_at=row.at if rider.agreed else None,
        agreed_source="handover (imported)" if rider.agreed else "",
    )


def _handover(trike_id: int, row: "Delivery", staff: Staff) -> Handover:
    return Handover(
        trike_id=trike_id, handed_over_on=row.on, reading_km=row.reading_km, rider_mass_kg=row.rider_mass_kg,
        shock_pressure_kpa=row.shock_pressure_kpa, elastomer_grade=row.elastomer_grade, toe_in_mm=row.toe_in_mm,
        built_by_id=staff.id_of(row.built_by), built_signed_at=row.at, second_by_id=staff.id_of(row.second_by),
        second_signed_at=row.at if row.second_by else None,
    )  # fmt: skip


def _reading(trike_id: int, row: "Delivery", context: Context) -> OdometerReading:
    return OdometerReading(
        trike_id=trike_id, read_at=row.at, value=row.reading, unit=row.reading_unit, km=row.reading_km,
        source=Source.HANDOVER, entered_by_id=context.by_id, recorded_at=context.now,
    )  # fmt: skip


def _logs(trike_id: int, row: "Delivery", staff: Staff) -> list[LogDraft]:
    """The same entries that fitting, handing over and signing at the desk leave."""
    builder = staff.id_of(row.built_by)
    logs = [
        LogDraft(
            trike_id, "fitted", row.at,
            {"serial": words_for(part), "position": position, "part": part.part_type.part_number},
            part.pk, builder, "import",
        )
        for position, part in row.parts
    ]  # fmt: skip
    body = {
        "reading_km": row.reading_km, "rider_mass_kg": row.rider_mass_kg, "shock_pressure_kpa": row.shock_pressure_kpa,
        "elastomer_grade": row.elastomer_grade, "toe_in_mm": row.toe_in_mm, "checks": [],
    }  # fmt: skip
    logs.append(LogDraft(trike_id, "handover_built", row.at, body, None, builder, "import"))
    signer = staff.id_of(row.second_by)
    logs.append(LogDraft(trike_id, "delivered", row.at, {"on": row.on.isoformat()}, None, signer, "import"))
    return logs

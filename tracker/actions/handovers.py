"""The handover: rider set-up, final check, two signatures; then the trike is delivered."""

from collections.abc import Sequence
from datetime import date, datetime

from services.identity import clean_text
from tracker.actions.refusals import FieldInvalid, Invalid, NotEnough, SameSigner, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Handover, HandoverCheck, OdometerReading, Owner, Ownership, Trike, User
from tracker.queries.clock import noon


@action
def hand_over(
    *, trike_id: int, owner_id: int, handed_over_on: date, reading_km: float, built_by: User,
    rider_mass_kg: float | None = None, shock_pressure_kpa: float | None = None, elastomer_grade: str = "",
    toe_in_mm: float | None = None, checks: Sequence[tuple[str, bool, str]] = (), note: str = "",
    by: User | None = None, now: datetime, source: str = "desk",
) -> Handover:  # fmt: skip
    """Record rider set-up and final check, signed by the builder. The trike is delivered by the second signature.

    Raises WrongState (handed over already), NotEnough (no final check), FieldInvalid.
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state != Trike.State.IN_BUILD or Handover.objects.filter(trike=trike).exists():
        raise WrongState(f"Trike {trike} was handed over already.", field="trike", remedy="Open its as-built record.")
    if not checks:
        raise NotEnough("The final check is empty.", field="checks", remedy="Go through the final-check list.")
    if failed := [item for item, passed, _ in checks if not passed]:
        raise NotEnough(f"Not passed: {', '.join(failed)}.", field="checks", remedy="Put it right, then sign.")
    if handed_over_on > now.date():
        raise FieldInvalid("The handover lies in the future.", field="handed_over_on", remedy="Check the date.")
    _refuse_out_of(reading_km, 0, 1_000_000, "reading_km", "km")
    _refuse_out_of(rider_mass_kg, 20, 250, "rider_mass_kg", "kg")
    _refuse_out_of(shock_pressure_kpa, 0, 3_500, "shock_pressure_kpa", "kPa")
    _refuse_out_of(toe_in_mm, -10, 10, "toe_in_mm", "mm")
    if not Owner.objects.filter(pk=owner_id).exists():
        raise Invalid("There is no such owner.", field="owner", remedy="Add the owner first.")
    handover = Handover.objects.create(
        trike=trike, handed_over_on=handed_over_on, reading_km=reading_km, rider_mass_kg=rider_mass_kg,
        shock_pressure_kpa=shock_pressure_kpa, elastomer_grade=elastomer_grade, toe_in_mm=toe_in_mm,
        built_by=built_by, built_signed_at=now, note=clean_text(note, 500),
    )  # fmt: skip
    HandoverCheck.objects.bulk_create(
        HandoverCheck(handover=handover, item=clean_text(item, 120), passed=passed, note=clean_text(text, 200))
        for item, passed, text in checks
    )
    Ownership.objects.create(trike=trike, owner_id=owner_id, since=handed_over_on)
    body = {"reading_km": reading_km, "rider_mass_kg": rider_mass_kg, "shock_pressure_kpa": shock_pressure_kpa,
            "elastomer_grade": elastomer_grade, "toe_in_mm": toe_in_mm,
            "checks": [[item, bool(passed)] for item, passed, _ in checks]}  # fmt: skip
    write_logs([draft_of(trike.pk, "handover_built", now, built_by, source, body)], now)
    refresh_due([trike.pk], now)  # its rider's seasons
    return handover


def _refuse_out_of(value: float | None, low: float, high: float, field: str, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise FieldInvalid(
            f"{value:g} {unit} is outside {low:g} to {high:g} {unit}.",
            field=field,
            remedy="Check the value and its unit.",
        )


@action
def sign_handover(*, handover_id: int, by: User, now: datetime, source: str = "desk") -> Handover:
    """Give the second signature: the trike is delivered and its schedule begins.

    Raises SameSigner, WrongState, NotEnough (a final check failed).
    """
    handover = (
        Handover.objects.select_for_update(of=("self",))
        .filter(pk=handover_id)
        .select_related("trike", "built_by")
        .first()
    )
    if handover is None:
        raise Invalid("There is no such handover.", field="id", remedy="Look it up again.")
    if handover.second_signed_at is not None:
        raise WrongState("Both signatures are there.", field="id", remedy="Open the as-built record.")
    if handover.built_by_id == by.pk:
        raise SameSigner(
            "The second signature must come from another person than the builder.", field="by",
            remedy="Ask a colleague to check the trike and sign.",
        )  # fmt: skip
    failed = list(handover.checks.filter(passed=False).values_list("item", flat=True))
    if failed:
        raise NotEnough(f"Not passed: {', '.join(failed)}.", field="checks", remedy="Put it right and check again.")
    handover.second_by, handover.second_signed_at = by, now
    handover.save(update_fields=["second_by", "second_signed_at"])
    deliver(handover.trike, handover, now, by, source)
    return handover


def deliver(trike: Trike, handover: Handover, now: datetime, by: User | None, source: str) -> None:
    """Mark the trike delivered, begin its distance at the handover reading, open its due list."""
    trike.state, trike.delivered_on = Trike.State.DELIVERED, handover.handed_over_on
    trike.version += 1
    trike.save(update_fields=["state", "delivered_on", "version"])
    OdometerReading.objects.create(
        trike=trike, read_at=noon(handover.handed_over_on), value=round(handover.reading_km, 3), unit="km",
        km=handover.reading_km, source="handover", entered_by=by, recorded_at=now,
    )  # fmt: skip
    write_logs([draft_of(trike.pk, "delivered", now, by, source, {"on": handover.handed_over_on.isoformat()})], now)
    refresh_due([trike.pk], now)

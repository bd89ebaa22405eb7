"""The handover: rider set-up, final check, two signatures; then the trike is delivered."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from services.identity import clean_text
from services.kinds.elastomers import RIDER_KG
from services.parts import SYSTEM_KG
from services.rider_setup import set_up
from tracker.actions.bulletin_stops import bulletins_handed_over
from tracker.actions.refusals import Conflict, FieldInvalid, Invalid, NotEnough, SameSigner, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Handover, HandoverCheck, OdometerReading, Owner, Ownership, Trike, User
from tracker.queries.build_lists import missing_positions
from tracker.queries.clock import noon
from tracker.queries.rider_setup import fitted_for_setup


class PartsMissing(Conflict):
    """The model's build list requires parts that are not there: is the trike handed over without them?

    Nothing was signed. If so, send it again with `without_missing` true; it stands in the logbook then.
    """

    code = "parts-missing"


@dataclass(frozen=True, kw_only=True)
class SetTo:
    """How a trike was set up for its rider: kg, kPa gauge at the shock, mm. None: not measured, not set."""

    rider_mass_kg: float | None = None  # with clothes and gear
    system_mass_kg: float | None = None  # rider, luggage and trike
    shock_pressure_kpa: float | None = None
    sag_mm: float | None = None
    elastomer_grade: str = ""
    toe_in_mm: float | None = None


@action
def hand_over(
    *, trike_id: int, owner_id: int, handed_over_on: date, reading_km: float, built_by: User,
    set_to: SetTo = SetTo(), checks: Sequence[tuple[str, bool, str]] = (), without_missing: bool = False,
    with_bulletins: bool = False, note: str = "", by: User | None = None, now: datetime, source: str = "desk",
) -> Handover:  # fmt: skip
    """Record rider set-up and final check, signed by the builder. The trike is delivered by the second signature.

    What was proposed for that rider is kept beside what was set. Raises WrongState (handed over already), NotEnough (no
    final check), PartsMissing (required by the build list), OpenBulletins, OpenStopBulletin, FieldInvalid (implausible, or
    beyond a maker's limit).
    """
    trike = lock_version(Trike, trike_id, None)
    if trike.state != Trike.State.IN_BUILD or Handover.objects.filter(trike=trike).exists():
        raise WrongState(f"Trike {trike} was handed over already.", field="trike", remedy="Open its as-built record.")
    _refuse_open_checks(checks)
    if handed_over_on > now.date():
        raise FieldInvalid("The handover lies in the future.", field="handed_over_on", remedy="Check the date.")
    if not Owner.objects.filter(pk=owner_id, erased_at__isnull=True).exists():
        raise Invalid("There is no such owner.", field="owner", remedy="Add the owner first.")
    missing, bulletins = _missing(trike, without_missing), bulletins_handed_over(trike, with_bulletins)
    actual = {"reading_km": reading_km, **asdict(set_to)}
    for name, (low, high, unit) in PLAUSIBLE.items():
        _refuse_out_of(actual[name], low, high, unit, name)
    handover = Handover.objects.create(
        trike=trike, handed_over_on=handed_over_on, suggested=_proposed(trike, set_to), built_by=built_by,
        built_signed_at=now, note=clean_text(note, 500), **actual,
    )  # fmt: skip
    HandoverCheck.objects.bulk_create(
        HandoverCheck(handover=handover, item=clean_text(item, 120), passed=passed, note=clean_text(text, 200))
        for item, passed, text in checks
    )
    Ownership.objects.create(trike=trike, owner_id=owner_id, since=handed_over_on)
    body = actual | {"checks": [[item, bool(passed)] for item, passed, _ in checks]}
    body |= {"missing": missing} if missing else {}
    body |= {"bulletins": bulletins} if bulletins else {}
    write_logs([draft_of(trike.pk, "handover_built", now, built_by, source, body)], now)
    refresh_due([trike.pk], now)  # its rider's seasons
    return handover


# What keeps slips of the hand out (common practice, no source): low, high, unit.
PLAUSIBLE = {
    "reading_km": (0, 1_000_000, "km"), "rider_mass_kg": (*RIDER_KG, "kg"), "system_mass_kg": (*SYSTEM_KG, "kg"),
    "shock_pressure_kpa": (0, 3_500, "kPa"), "sag_mm": (0, 150, "mm"), "toe_in_mm": (-10, 10, "mm"),
}  # fmt: skip


def _refuse_open_checks(checks: Sequence[tuple[str, bool, str]]) -> None:
    if not checks:
        raise NotEnough("The final check is empty.", field="checks", remedy="Go through the final-check list.")
    if failed := [item for item, passed, _ in checks if not passed]:
        raise NotEnough(f"Not passed: {', '.join(failed)}.", field="checks", remedy="Put it right, then sign.")


def _missing(trike: Trike, confirmed: bool) -> list[str]:
    """The required positions that hold nothing, once somebody has said that they stay empty."""
    missing = missing_positions(trike)
    if missing and not confirmed:
        raise PartsMissing(
            f"The build list requires: {', '.join(missing)}.", field="without_missing",
            remedy="Scan them, or say that the trike goes without.", missing=missing,
        )  # fmt: skip
    return missing


def _proposed(trike: Trike, set_to: SetTo) -> dict[str, Any]:
    """What was proposed for this rider. Raises FieldInvalid for what goes beyond a maker's limit."""
    found = set_up(
        fitted_for_setup(trike.pk), system_kg=set_to.system_mass_kg, rider_kg=set_to.rider_mass_kg,
        sag_mm=set_to.sag_mm, pressure_kpa=set_to.shock_pressure_kpa,
    )  # fmt: skip
    for field, words in found.beyond:
        raise FieldInvalid(words, field=field, remedy="The maker's limit stands: change the set-up or the part.")
    return found.as_kept()


def _refuse_out_of(value: float | None, low: float, high: float, unit: str, field: str) -> None:
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

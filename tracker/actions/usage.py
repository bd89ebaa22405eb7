"""Meters: odometer readings with their verdict, display changes, motor hours and charge cycles."""

import math
from datetime import datetime
from decimal import Decimal

from services.identity import clean_text
from services.odometer import Verdict, judge_reading
from services.units import to_km
from tracker.actions.refusals import FieldInvalid, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Component, DisplayChange, Fitment, MeterReading, OdometerReading, Trike, User
from tracker.queries.clock import day_of
from tracker.queries.usage import segment_around


@action
def record_reading(
    *, trike_id: int, value: Decimal | float, unit: str = "km", read_at: datetime, source: str = "desk",
    by: User | None = None, now: datetime, note: str = "", strict: bool = True,
) -> OdometerReading:  # fmt: skip
    """Record what the display showed. Doubtful readings are kept and marked suspect with the likely reason.

    Raises BadNumber, ReadingInFuture, ReadingBeforeDelivery, ImpossibleSpeed, WrongState.
    """
    trike = lock_version(Trike, trike_id, None)
    reading = keep_reading(trike, value, unit, read_at, source, by, now, note=note, strict=strict)
    if reading.verdict == OdometerReading.Verdict.ACCEPTED:
        refresh_due([trike.pk], now)
    return reading


def keep_reading(
    trike: Trike, value: Decimal | float, unit: str, read_at: datetime, source: str, by: User | None, now: datetime,
    *, note: str = "", strict: bool = True,
) -> OdometerReading:  # fmt: skip
    """Judge and write a reading with its log entry. A step: the caller refreshes the due lines."""
    if trike.state == Trike.State.RETIRED:
        raise WrongState(f"Trike {trike} is retired.", field="trike", remedy="Readings are kept for trikes in service.")
    verdict = judge(trike, value, unit, read_at, now, strict=strict)
    reading = OdometerReading.objects.create(
        trike=trike, read_at=read_at, value=Decimal(str(value)).quantize(Decimal("0.001")), unit=unit,
        km=float(to_km(float(value), unit)), source=source, verdict=verdict.state, reason_code=verdict.code,
        reason=verdict.reason, proposals=[{"code": p.code, "km": p.km, "words": p.words} for p in verdict.proposals],
        entered_by=by, note=clean_text(note, 200), recorded_at=now,
    )  # fmt: skip
    body = {"reading": reading.pk, "value": str(reading.value), "unit": unit, "verdict": verdict.state,
            "why": verdict.code}  # fmt: skip
    write_logs([draft_of(trike.pk, "reading", read_at, by, source, body)], now)
    return reading


def judge(
    trike: Trike, value: Decimal | float, unit: str, read_at: datetime, now: datetime, *, strict: bool = True
) -> Verdict:
    """Return the verdict on a reading before it is written."""
    segment = segment_around(trike.pk, read_at)
    return judge_reading(
        day=day_of(read_at), value=float(value), unit=unit, now_day=day_of(now),
        delivered_day=segment.delivered_day, readings_days=segment.days, readings_km=segment.km,
        km_per_day=segment.km_per_day, strict=strict, zero_km=segment.zero_km,
    )  # fmt: skip


@action
def decide_reading(*, reading_id: int, choice: str, by: User | None, now: datetime) -> OdometerReading:
    """Decide a suspect reading: 'accept' as typed, 'reject', or one of its proposals by code.

    The proposal 'display_reset' records a display change just before the reading. Raises WrongState, FieldInvalid.
    """
    reading = lock_version(OdometerReading, reading_id, None)
    if reading.verdict != OdometerReading.Verdict.SUSPECT:
        raise WrongState("This reading is decided already.", field="id", remedy="Record a new reading instead.")
    proposal = next((p for p in reading.proposals if p["code"] == choice), None)
    if choice not in {"accept", "reject"} and proposal is None:
        raise FieldInvalid(f"'{choice}' is no choice here.", field="choice", remedy="Choose one of those offered.")
    if choice == "display_reset":
        _refuse_second_change(reading.trike, reading.read_at, "choice")
        _write_display_change(
            reading.trike, reading.read_at, None, reading.km, "decided at a suspect reading", by, now, "desk"
        )
    elif proposal is not None:
        reading.km = proposal["km"]
    reading.verdict = OdometerReading.Verdict.REJECTED if choice == "reject" else OdometerReading.Verdict.ACCEPTED
    reading.decided_by, reading.decided_at = by, now
    reading.version += 1
    reading.save(update_fields=["km", "verdict", "decided_by", "decided_at", "version"])
    body = {"reading": reading.pk, "choice": choice, "km": reading.km, "verdict": reading.verdict}
    write_logs([draft_of(reading.trike_id, "reading_decided", now, by, "desk", body)], now)
    refresh_due([reading.trike_id], now)
    return reading


@action
def record_display_change(
    *, trike_id: int, changed_at: datetime, old_final_km: float | None, new_start_km: float = 0.0, reason: str = "",
    by: User | None = None, now: datetime, source: str = "desk",
) -> DisplayChange:  # fmt: skip
    """Record that the display was swapped or reset. An unknown last value is estimated by the riding rate, and flagged.

    Raises FieldInvalid, Invalid.
    """
    trike = lock_version(Trike, trike_id, None)
    if changed_at > now:
        raise FieldInvalid("The swap lies in the future.", field="changed_at", remedy="Check the date.")
    _refuse_second_change(trike, changed_at, "changed_at")
    for field, value in (("old_final_km", old_final_km), ("new_start_km", new_start_km)):
        if value is not None and not (math.isfinite(value) and 0 <= value <= 1_000_000):
            raise FieldInvalid(
                "A display value lies between 0 and 1,000,000 km.", field=field, remedy="Check the value."
            )
    change = _write_display_change(trike, changed_at, old_final_km, new_start_km, reason, by, now, source)
    refresh_due([trike.pk], now)
    return change


def _refuse_second_change(trike: Trike, at: datetime, field: str) -> None:
    if DisplayChange.objects.filter(trike=trike, changed_at=at).exists():
        raise FieldInvalid("A display change at this moment is recorded.", field=field, remedy="Use another time.")


def _write_display_change(
    trike: Trike, at: datetime, old: float | None, new: float, reason: str, by: User | None, now: datetime, source: str
) -> DisplayChange:
    row = DisplayChange.objects.create(
        trike=trike, changed_at=at, old_final_km=old, new_start_km=new, reason=clean_text(reason, 200),
        entered_by=by, recorded_at=now,
    )  # fmt: skip
    body = {"old_final_km": old, "new_start_km": new, "estimated": old is None, "reason": row.reason}
    write_logs([draft_of(trike.pk, "display_change", at, by, source, body)], now)
    return row


@action
def record_meter(
    *, component_id: int, meter: str, value: float, read_at: datetime, source: str = "desk", by: User | None = None,
    now: datetime,
) -> MeterReading:  # fmt: skip
    """Record motor hours or charge cycles of a component. Raises FieldInvalid (range, going back), Invalid."""
    component = lock_version(Component, component_id, None)
    if meter not in MeterReading.Meter.values:
        raise FieldInvalid(f"'{meter}' is no meter.", field="meter", remedy="Use motor_hours or charge_cycles.")
    if not (math.isfinite(value) and 0 <= value <= 100_000):
        raise FieldInvalid("A meter shows between 0 and 100,000.", field="value", remedy="Check the value.")
    if read_at > now:
        raise FieldInvalid("The reading lies in the future.", field="read_at", remedy="Check the date.")
    before = MeterReading.objects.filter(component=component, meter=meter, read_at__lte=read_at).first()
    if before is not None and value < before.value:
        raise FieldInvalid(
            f"It showed {before.value:g} on {before.read_at:%d %b %Y}; meters of one serial do not go back.",
            field="value", remedy="Check the value and the serial: was the part swapped?",
        )  # fmt: skip
    row = MeterReading.objects.create(
        component=component, meter=meter, value=value, read_at=read_at, source=source, entered_by=by, recorded_at=now
    )
    fitment = Fitment.objects.current().filter(component=component).first()
    if fitment is not None:
        body = {"serial": component.serial, "meter": meter, "value": value}
        write_logs([draft_of(fitment.trike_id, "meter", read_at, by, source, body, component.pk)], now)
        refresh_due([fitment.trike_id], now)
    return row

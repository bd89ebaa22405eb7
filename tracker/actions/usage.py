"""Meters: odometer readings with their verdict, display changes, motor hours and charge cycles."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from services.entry_question import EntryDoubt, with_doubt
from services.identity import clean_text
from services.language import ENGLISH, say, speaking
from services.odometer import Verdict, judge_reading
from services.readings import Proposal
from services.units import to_km
from tracker.actions.refusals import FieldInvalid, PleaseConfirm, WrongState
from tracker.actions.steps import draft_of, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Component, DisplayChange, Fitment, MeterReading, OdometerReading, Trike, User
from tracker.models.usage import Source
from tracker.queries.clock import day_of
from tracker.queries.usage import Segment, doubt_of, doubts_of, segment_around

AS_TYPED, UNANSWERED = "accept", ""
CONFIRMED, DOUBTED_LATER = "confirmed", "doubted-later"


@action
def record_reading(
    *, trike_id: int, value: Decimal | float, unit: str = "km", read_at: datetime, source: str = "desk",
    by: User | None = None, now: datetime, note: str = "", strict: bool = True, answer: str | None = None,
) -> OdometerReading:  # fmt: skip
    """Record what the display showed. Doubtful readings are kept and marked suspect with the likely reason.

    answer: see keep_reading. Raises BadNumber, ReadingInFuture, ReadingBeforeDelivery, ImpossibleSpeed, PleaseConfirm,
    WrongState.
    """
    trike = lock_version(Trike, trike_id, None)
    reading = keep_reading(trike, value, unit, read_at, source, by, now, note=note, strict=strict, answer=answer)
    if reading.verdict == OdometerReading.Verdict.ACCEPTED:
        refresh_due([trike.pk], now)
    return reading


def keep_reading(
    trike: Trike, value: Decimal | float, unit: str, read_at: datetime, source: str, by: User | None, now: datetime,
    *, note: str = "", strict: bool = True, answer: str | None = None,
) -> OdometerReading:  # fmt: skip
    """Judge and write a reading with its log entry. A step: the caller refreshes the due lines.

    answer: None where nobody can be asked; '' where somebody can and was not yet; 'accept', or the code of another
    meaning, from a person who was. Raises PleaseConfirm with the question while it is open.
    """
    _refuse_retired(trike)
    typed = _Typed(segment_around(trike.pk, read_at), value, unit, read_at, now, strict, source)
    verdict, doubt = typed.judged(asked=answer is not None)
    meant, answered = _answer_to(verdict, doubt, answer), doubt is not None
    verdict = typed.kept(answered=answered) if verdict.reason else verdict
    reading = OdometerReading.objects.create(
        trike=trike, read_at=read_at, value=Decimal(str(value)).quantize(Decimal("0.001")), unit=unit,
        km=meant.km if meant else float(to_km(float(value), unit)), source=source, verdict=verdict.state,
        reason_code=verdict.code, reason=verdict.reason, proposals=_written(verdict.proposals), entered_by=by,
        decided_by=by if answered else None, decided_at=now if answered else None, note=clean_text(note, 200),
        recorded_at=now,
    )  # fmt: skip
    body = {"reading": reading.pk, "value": str(reading.value), "unit": unit, "verdict": verdict.state,
            "why": verdict.code}  # fmt: skip
    if answered:
        body |= {"choice": answer, "km": reading.km}
    write_logs([draft_of(trike.pk, "reading", read_at, by, source, body)], now)
    return reading


@dataclass(frozen=True)
class _Typed:
    """A reading as it was typed, among the accepted ones of its display."""

    segment: Segment
    value: Decimal | float
    unit: str
    read_at: datetime
    now: datetime
    strict: bool
    source: str

    def judged(self, *, asked: bool) -> tuple[Verdict, EntryDoubt | None]:
        """The verdict, in the language spoken; where somebody can be asked and there is a question, with its doubt."""
        verdict = judge(self.segment, self.value, self.unit, self.read_at, self.now, strict=self.strict)
        if not asked:
            return verdict, None
        is_owner = self.source == Source.OWNER
        doubt = doubt_of(self.segment, self.value, self.unit, day_of(self.read_at), owner=is_owner)
        if doubt is None or with_doubt(verdict, doubt) == verdict:
            return verdict, None
        return with_doubt(verdict, doubt), doubt

    def kept(self, *, answered: bool) -> Verdict:
        """The verdict in the words of the record, whatever language was spoken when it was typed."""
        with speaking(ENGLISH):
            verdict, _ = self.judged(asked=answered)
        if not answered:
            return verdict
        return Verdict(verdict.state, CONFIRMED, f"Asked: {verdict.reason}", verdict.proposals)


def _refuse_retired(trike: Trike) -> None:
    if trike.state == Trike.State.RETIRED:
        raise WrongState(
            say("Trike {trike} is retired.", trike=trike), field="trike",
            remedy=say("Readings are kept for trikes in service."),
        )  # fmt: skip


def _answer_to(question: Verdict, doubt: EntryDoubt | None, answer: str | None) -> Proposal | None:
    """What the typist says it meant: None for as typed. Raises PleaseConfirm where the question is not answered yet."""
    if doubt is None:
        return None
    meant = next((proposal for proposal in question.proposals if proposal.code == answer), None)
    if meant is None and answer != AS_TYPED:
        raise PleaseConfirm(
            question.reason, field="value", remedy=say("If it is right as typed, send it again."),
            expected_low_km=round(doubt.low_km, 1), expected_high_km=round(doubt.high_km, 1),
            proposals=_written(question.proposals),
        )  # fmt: skip
    return meant


def _written(proposals: Sequence[Proposal]) -> list[dict[str, Any]]:
    return [{"code": proposal.code, "km": proposal.km, "words": proposal.words} for proposal in proposals]


def judge(
    segment: Segment, value: Decimal | float, unit: str, read_at: datetime, now: datetime, *, strict: bool = True
) -> Verdict:
    """Return the verdict on a reading before it is written, against the accepted readings of its display."""
    return judge_reading(
        day=day_of(read_at), value=float(value), unit=unit, now_day=day_of(now),
        delivered_day=segment.delivered_day, readings_days=segment.days, readings_km=segment.km,
        km_per_day=segment.km_per_day, strict=strict, zero_km=segment.zero_km,
    )  # fmt: skip


@action
def decide_reading(*, reading_id: int, choice: str, by: User | None, now: datetime) -> OdometerReading:
    """Decide a reading in doubt: 'accept' as typed, 'reject', or one of its proposals by code.

    In doubt are suspect readings, and accepted ones that nobody decided and that later readings speak against. The proposal
    'display_reset' records a display change just before the reading. Raises WrongState, FieldInvalid.
    """
    reading = lock_version(OdometerReading, reading_id, None)
    if reading.verdict != OdometerReading.Verdict.SUSPECT:
        _put_in_question(reading, now)
    proposal = next((p for p in reading.proposals if p["code"] == choice), None)
    if choice not in {AS_TYPED, "reject"} and proposal is None:
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
    reading.save(
        update_fields=[
            "km", "verdict", "reason_code", "reason", "proposals", "decided_by", "decided_at", "version",
        ]
    )  # fmt: skip
    body = {"reading": reading.pk, "choice": choice, "km": reading.km, "verdict": reading.verdict}
    write_logs([draft_of(reading.trike_id, "reading_decided", now, by, "desk", body)], now)
    refresh_due([reading.trike_id], now)
    return reading


def _put_in_question(reading: OdometerReading, now: datetime) -> None:
    """Give an accepted reading the reason and the choices of its late doubt. Raises WrongState where there is none."""
    doubt = next((found for found in doubts_of(reading.trike_id, now) if found.reading.pk == reading.pk), None)
    if doubt is None:
        raise WrongState("This reading is decided already.", field="id", remedy="Record a new reading instead.")
    reading.reason_code, reading.reason = DOUBTED_LATER, doubt.reason
    reading.proposals = _written(doubt.proposals)


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

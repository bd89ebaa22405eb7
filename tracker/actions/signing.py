"""The signature: swaps are carried out, the work goes to the logbook, the due list moves, the open visit closes."""

from datetime import datetime

from services.intervals import covered_tasks
from services.kinds import includes_map
from services.kinds import task as task_of
from tracker.actions.bulletin_notices import tell_of_hazards
from tracker.actions.bulletin_steps import carry_out_bulletins
from tracker.actions.card_steps import draft_card, touch
from tracker.actions.refusals import NotEnough
from tracker.actions.release_steps import check_released, sealed_extras
from tracker.actions.steps import LogDraft, refresh_due, write_logs
from tracker.actions.swaps import carry_out_swaps
from tracker.actions.transactions import action
from tracker.models import Completion, DueLine, Fitment, JobCard, JobTask, User, Visit
from tracker.queries.clock import local_date


@action
def sign_card(*, card_id: int, version: int | None, by: User, now: datetime) -> JobCard:
    """Sign: swaps are carried out, work is written to the logbook, the due list moves, the open visit closes.

    Raises CardAlreadySigned, StaleVersion, NotEnough (no odometer, nothing done), ReleaseMissing, the refusals of
    plan_swap if the world changed since.
    """
    card = draft_card(card_id, version)
    _check_ready(card)
    check_released(card)
    worked_at = card.worked_at
    drafts = carry_out_swaps(card, worked_at, by)
    drafts += _complete_tasks(card, worked_at, by, now)
    drafts += _told(card, worked_at, by)
    card.state, card.signed_at, card.signed_by = JobCard.State.SIGNED, now, by
    touch(card, "state", "signed_at", "signed_by")
    write_logs([*drafts, _card_entry(card, worked_at, by)], now)
    refresh_due({card.trike_id} | carry_out_bulletins(card, worked_at, by, now), now)
    tell_of_hazards([card.trike_id], now)
    _close_visit(card, now)
    return card


def _check_ready(card: JobCard) -> None:
    if card.reading is None:
        raise NotEnough("The odometer is missing.", field="odometer", remedy="Enter what the display shows.")
    if card.reading.verdict == "suspect":
        raise NotEnough("The odometer reading is in doubt.", field="odometer", remedy="Decide it first.")
    done = card.tasks.filter(outcome=JobTask.Outcome.DONE).exists()
    if not (done or card.measurements.exists() or card.swaps.exists() or card.correction.strip()):
        raise NotEnough(
            "The card records no work.", field="tasks", remedy="Tick what was done or write the correction."
        )


def _complete_tasks(card: JobCard, at: datetime, by: User, now: datetime) -> list[LogDraft]:
    """Write a completion for each task done and, with `via`, for each smaller one it includes on this trike."""
    done = list(card.tasks.filter(outcome=JobTask.Outcome.DONE).values_list("component_id", "task"))
    fitted = list(
        Fitment.objects.current()
        .filter(trike_id=card.trike_id)
        .values_list("component_id", "component__part_type__kind")
    )
    rows = dict.fromkeys(done, "")
    for code, via in covered_tasks([task for _, task in done], includes_map()).items():
        for component_id, kind in fitted:
            if task_of(code).on == kind:
                rows.setdefault((component_id, code), via)
    Completion.objects.bulk_create(
        Completion(component_id=component_id, trike_id=card.trike_id, task=task, done_at=at, via=via, job_card=card,
                   recorded_at=now)
        for (component_id, task), via in rows.items()
    )  # fmt: skip
    return [
        LogDraft(
            card.trike_id,
            "task_done",
            at,
            {"task": task, "via": via, "card": card.number},
            component_id,
            by.pk,
            "job_card",
        )
        for (component_id, task), via in rows.items()
    ]


def _told(card: JobCard, at: datetime, by: User) -> list[LogDraft]:
    """Log drafts of the card's measurements and failures."""
    drafts = [
        LogDraft(
            card.trike_id, "measured", at,
            {"quantity": m.quantity, "value": m.value, "context": m.context, "level": m.level, "card": card.number},
            m.component_id, by.pk, "job_card",
        )
        for m in card.measurements.all()
    ]  # fmt: skip
    drafts += [
        LogDraft(
            card.trike_id, "failure", at,
            {"mode": f.mode, "cause": f.cause, "found": f.found, "warranty": f.warranty, "card": card.number},
            f.component_id, by.pk, "job_card",
        )
        for f in card.failures.all()
    ]  # fmt: skip
    return drafts


def _card_entry(card: JobCard, at: datetime, by: User) -> LogDraft:
    """The signature itself. The owner's own words stay on the card, outside what is hashed: they may hold personal data."""
    body = {
        "card": card.number,
        "reading": card.reading_id,
        "odometer_km": card.reading.km,
        "cause": card.cause,
        "correction": card.correction,
        "minutes": card.minutes,
        "deferred": list(card.tasks.filter(outcome=JobTask.Outcome.DEFERRED).values_list("task", flat=True)),
        **sealed_extras(card),
    }
    return LogDraft(card.trike_id, "job_card_signed", at, body, None, by.pk, "job_card")


def _close_visit(card: JobCard, now: datetime) -> None:
    """Close the open visit when nothing it was planned for is due any more."""
    visit = Visit.objects.select_for_update(of=("self",)).filter(trike_id=card.trike_id, state=Visit.State.OPEN).first()
    if visit is None:
        return
    today = local_date(now)
    pending = {
        (line.component_id, line.task): line.due_on
        for line in DueLine.objects.filter(trike_id=card.trike_id, early_on__lte=max(visit.planned_on, today))
    }
    if not any((line.component_id, line.task) in pending for line in visit.lines.all()):
        visit.state, visit.closed_at = Visit.State.DONE, now
        visit.save(update_fields=["state", "closed_at"])

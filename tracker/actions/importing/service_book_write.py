"""Writing job cards in sets: drafts first, all that hangs on them, then the signatures, for signed cards are closed."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.db.models import F

from services.intervals import covered_tasks
from services.kinds import includes_map
from services.kinds import task as task_of
from tracker.actions.importing.fittings import Fittings, words_for
from tracker.actions.importing.meters import Meters
from tracker.actions.importing.odometer import reading_log
from tracker.actions.importing.plan import BULK, PIECE, Context, Written
from tracker.actions.importing.staff import Staff
from tracker.actions.inserting import insert_rows
from tracker.actions.steps import LogDraft, chunks
from tracker.models import Completion, Failure, JobCard, JobTask, Measurement, OdometerReading, Swap

if TYPE_CHECKING:
    from tracker.actions.importing.service_book import Job


def write_cards(jobs: Sequence["Job"], fittings: Fittings, staff: Staff, meters: Meters, context: Context) -> Written:
    """Insert the cards with all that hangs on them, sign them, and return their logs."""
    if not jobs:
        return Written()
    staff.write(job.mechanic for job in jobs)
    new = [job.reading for job in jobs if job.reading is not None and job.reading.pk is None]
    OdometerReading.objects.bulk_create(new, batch_size=BULK)
    fittings.write({job.trike.frame_serial: job.trike.pk for job in jobs})
    cards = JobCard.objects.bulk_create((_card(job, staff) for job in jobs), batch_size=BULK)
    _hang(cards, jobs)
    completions = [_completions(job) for job in jobs]
    insert_rows(
        Completion,
        (
            {
                "component_id": component_id, "trike_id": job.trike.pk, "task": task, "done_at": job.at, "via": via,
                "job_card_id": card.pk, "source": "import", "recorded_at": context.now,
            }
            for card, job, done in zip(cards, jobs, completions, strict=True)
            for (component_id, task), via in done.items()
        ),
    )  # fmt: skip
    _sign(cards)
    added = {reading.pk for reading in new}
    logs = [
        log
        for job, done in zip(jobs, completions, strict=True)
        for log in _logs(job, done, staff.id_of(job.mechanic), added)
    ]
    return Written(logs, frozenset(job.trike.pk for job in jobs))


def _card(job: "Job", staff: Staff) -> JobCard:
    return JobCard(
        number=job.number,
        trike=job.trike,
        opened_at=job.at,
        opened_by_id=staff.id_of(job.mechanic),
        worked_at=job.at,
        reading=job.reading,
        complaint=job.told("Complaint"),
        cause=job.told("Cause"),
        correction=job.told("Correction"),
        minutes=job.minutes,
    )


def _hang(cards: Sequence[JobCard], jobs: Sequence["Job"]) -> None:
    """Insert what hangs on the cards while they are drafts."""
    pairs = list(zip(cards, jobs, strict=True))
    insert_rows(
        JobTask,
        (
            {"card_id": card.pk, "component_id": component_id, "task": task, "outcome": str(JobTask.Outcome.DONE)}
            for card, job in pairs
            for component_id, task in job.tasks
        ),
    )
    insert_rows(
        Measurement,
        (
            {
                "card_id": card.pk, "component_id": taken.component_id, "quantity": taken.quantity,
                "value": taken.value, "context": taken.context, "level": taken.level, "words": taken.words,
                "taken_at": job.at,
            }
            for card, job in pairs
            for taken in job.measured.values()
        ),
    )  # fmt: skip
    Failure.objects.bulk_create(
        (
            Failure(
                card=card, component_id=told.component_id, trike=job.trike, mode=told.mode, cause=told.cause,
                found=told.found, warranty=told.warranty, happened_at=job.at,
            )
            for card, job in pairs
            for told in job.failed.values()
        ),
        batch_size=BULK,
    )  # fmt: skip
    Swap.objects.bulk_create(
        (
            Swap(
                card=card, position=swap.position, old_component=swap.old, new_component=swap.new, fate=swap.fate,
                reason=swap.reason,
            )
            for card, job in pairs
            for swap in job.swaps.values()
        ),
        batch_size=BULK,
    )  # fmt: skip


def _sign(cards: Sequence[JobCard]) -> None:
    """The mechanic who opened the card on paper signed it there, at the moment of the work."""
    for piece in chunks([card.pk for card in cards], PIECE):
        JobCard.objects.filter(pk__in=piece).update(
            state=JobCard.State.SIGNED, signed_at=F("worked_at"), signed_by=F("opened_by")
        )


def _completions(job: "Job") -> dict[tuple[int, str], str]:
    """(component, task) -> the larger task that included it, '' for those named themselves."""
    done = dict.fromkeys(job.tasks, "")
    for code, via in covered_tasks([task for _, task in job.tasks], includes_map()).items():
        for stay in job.fitted:
            if stay.component.part_type.kind == task_of(code).on:
                done.setdefault((stay.component.pk, code), via)
    return done


def _logs(job: "Job", done: dict[tuple[int, str], str], by_id: int | None, added: set[int]) -> list[LogDraft]:
    """The same entries that the work leaves at the desk, in the same order."""
    pk, at, number = job.trike.pk, job.at, job.number
    logs = [reading_log(job.reading)] if job.reading is not None and job.reading.pk in added else []
    for swap in job.swaps.values():
        where = {"position": swap.position, "card": number}
        if swap.old is not None:
            body = {"serial": words_for(swap.old), "fate": swap.fate, "reason": swap.reason} | where
            logs.append(LogDraft(pk, "removed", at, body, swap.old.pk, by_id, "import"))
        if swap.new is not None:
            logs.append(
                LogDraft(pk, "fitted", at, {"serial": words_for(swap.new)} | where, swap.new.pk, by_id, "import")
            )
    for (component_id, task), via in done.items():
        logs.append(
            LogDraft(pk, "task_done", at, {"task": task, "via": via, "card": number}, component_id, by_id, "import")
        )
    for taken in job.measured.values():
        body = {
            "quantity": taken.quantity,
            "value": taken.value,
            "context": taken.context,
            "level": taken.level,
            "card": number,
        }
        logs.append(LogDraft(pk, "measured", at, body, taken.component_id, by_id, "import"))
    for told in job.failed.values():
        body = {
            "mode": told.mode, "cause": told.cause, "found": told.found, "warranty": told.warranty, "card": number,
        }  # fmt: skip
        logs.append(LogDraft(pk, "failure", at, body, told.component_id, by_id, "import"))
    body = {
        "card": number, "reading": job.reading.pk if job.reading else None,
        "odometer_km": job.reading.km if job.reading else None, "cause": job.told("Cause"),
        "correction": job.told("Correction"), "minutes": job.minutes, "deferred": [],
    }  # fmt: skip
    return [*logs, LogDraft(pk, "job_card_signed", at, body, None, by_id, "import")]

"""The failure review as it is asked for, begun and kept. It is reckoned outside of any transaction (queries/review_reckoning)."""

from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from services.review.found import NONE
from tracker.actions.transactions import action
from tracker.models import ReviewFinding, ReviewRun, User
from tracker.queries.clock import local_date
from tracker.queries.review_reckoning import Reckoned, Row, as_payload

State = ReviewRun.State
LOST_AFTER = timedelta(minutes=30)  # a run that takes longer was lost with its worker
KEPT = timedelta(days=400)  # runs are kept a little over a year
BATCH = 50  # rows a statement: payloads are large


@action
def ask_for_review(*, now: datetime, by: User | None = None) -> ReviewRun:
    """Return the review that waits, asked for by `by` (None: the night) where none did. A worker takes it up."""
    waiting = ReviewRun.objects.filter(state=State.ASKED).first()
    if waiting is not None:
        return waiting
    try:
        with transaction.atomic():
            return ReviewRun.objects.create(asked_at=now, asked_by=by)
    except IntegrityError:  # somebody asked at the same moment
        return ReviewRun.objects.get(state=State.ASKED)


@action
def begin_review(*, now: datetime) -> ReviewRun | None:
    """Take up the review that waits, or one whose worker was lost; return it, or None where none does."""
    waits = Q(state=State.ASKED) | Q(state=State.RUNNING, started_at__lt=now - LOST_AFTER)
    for run in ReviewRun.objects.filter(waits).order_by("asked_at", "pk"):
        mine = ReviewRun.objects.filter(waits, pk=run.pk, started_at=run.started_at)
        if mine.update(state=State.RUNNING, started_at=now):
            run.refresh_from_db()
            return run
    return None


@action
def keep_review(*, run_id: int, reckoned: Reckoned, now: datetime) -> ReviewRun | None:
    """Store what was reckoned in place of the findings before it; None where the run was given up or taken over meanwhile.

    A finding keeps the day since when something is to be done about it.
    """
    run = ReviewRun.objects.select_for_update(of=("self",)).filter(pk=run_id, state=State.RUNNING).first()
    if run is None:
        return None
    before = {(row.part_type_id, row.metric): row for row in ReviewFinding.objects.defer("payload")}
    rows = [
        _finding(run, row, before.get((row.part_type, row.metric)), local_date(now)) for row in reckoned.rows
    ]  # fmt: skip
    gone = set(before) - {(row.part_type, row.metric) for row in reckoned.rows}
    ReviewFinding.objects.filter(pk__in=[before[key].pk for key in gone]).delete()
    names = ["run", "is_main", "rank", "verdict", "action", "q", "flagged_since", "fingerprint", "payload"]
    ReviewFinding.objects.bulk_update([row for row in rows if row.pk], names, batch_size=BATCH)
    ReviewFinding.objects.bulk_create([row for row in rows if not row.pk], batch_size=BATCH)
    _finish(run, reckoned, now)
    ReviewRun.objects.filter(asked_at__lt=now - KEPT, findings__isnull=True).exclude(pk=run.pk).delete()
    return run


def _finding(run: ReviewRun, row: Row, old: ReviewFinding | None, today: date) -> ReviewFinding:
    found = row.judged.finding
    since = None if found.action == NONE else (old.flagged_since if old and old.flagged_since else today)
    return ReviewFinding(
        pk=old.pk if old else None, run=run, part_type_id=row.part_type, metric=row.metric, is_main=row.is_main,
        rank=found.rank, verdict=found.verdict[:400], action=found.action, q=found.q, flagged_since=since,
        fingerprint=row.fingerprint, payload=as_payload(row),
    )  # fmt: skip


def _finish(run: ReviewRun, reckoned: Reckoned, now: datetime) -> None:
    mains = [row for row in reckoned.rows if row.is_main]
    run.state, run.finished_at, run.until, run.note = State.DONE, now, reckoned.until, ""
    run.data_version, run.reckoned = reckoned.data_version, reckoned.anew
    run.part_types, run.comparisons = len(mains), reckoned.comparisons
    run.components = sum(row.study.counts.parts for row in mains)
    run.failures = sum(row.study.counts.repairs for row in mains)
    run.false_alarms_a_year = reckoned.false_alarms_a_year
    run.save()


@action
def give_up_review(*, run_id: int, note: str, now: datetime) -> None:
    """Note that a review could not be reckoned; the findings before it stand."""
    ReviewRun.objects.filter(pk=run_id, state=State.RUNNING).update(
        state=State.FAILED, finished_at=now, note=note[:400]
    )  # fmt: skip

"""An uploaded file after its first try: tried again while it is kept, removed when its time is over."""

from datetime import datetime, timedelta

from tracker.actions.refusals import Invalid, WrongState
from tracker.actions.transactions import action
from tracker.models import ImportBatch, User

KEPT_FOR = timedelta(days=30)  # common practice, no source: long enough to mend and try again, and no longer
State = ImportBatch.State
ENDED = (State.APPLIED, State.REFUSED, State.FAILED)
FRESH = {
    "state": State.UPLOADED, "message": "", "finished_at": None, "lease_until": None, "rows_total": 0, "rows_good": 0,
    "rows_skipped": 0, "rows_questioned": 0, "rows_bad": 0, "rows_done": 0,
}  # fmt: skip


class FileNotKept(WrongState):
    """The file of this import was removed."""

    code = "file-not-kept"


@action
def try_again(*, batch_id: int, by: User | None = None, now: datetime) -> ImportBatch:
    """Let a worker check a failed file anew; who looks at its verdicts confirms it anew. Nothing is uploaded again.

    Raises Invalid (no such batch), WrongState (it has not failed), FileNotKept.
    """
    batch = ImportBatch.objects.select_for_update(of=("self",)).filter(pk=batch_id).first()
    if batch is None:
        raise Invalid("There is no such import.", field="id", remedy="Upload the file.")
    if batch.state != State.FAILED:
        raise WrongState(
            f"This import is {batch.get_state_display()}; only a failed one is tried again.",
            field="id",
            remedy="Look at its page.",
        )
    if not batch.content:
        raise FileNotKept(
            f"The file was kept for {KEPT_FOR.days} days and is gone.", field="id", remedy="Upload the file again."
        )
    for name, value in FRESH.items():
        setattr(batch, name, value)
    batch.save(update_fields=list(FRESH))
    batch.rows.all().delete()
    return batch


@action
def forget_files(*, now: datetime) -> int:
    """Remove the files of imports that ended longer ago than files are kept; return of how many. Verdicts stay."""
    return (
        ImportBatch.objects.filter(state__in=ENDED, finished_at__lt=now - KEPT_FOR)
        .exclude(content=b"")
        .update(content=b"")
    )

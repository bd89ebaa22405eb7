"""Uploaded and confirmed spreadsheets, worked one after the other."""

import structlog
from celery import shared_task
from django.utils import timezone

from tracker.actions.import_files import forget_files
from tracker.actions.imports import apply_batch, check_batch
from tracker.models import ImportBatch
from tracker.queries.imports import next_to_work

log = structlog.get_logger(__name__)
MOST = 20  # per run, so that one run ends within its time limit


@shared_task(name="tracker.work_imports")
def work_imports() -> int:
    """Check what was uploaded and write what was confirmed; return how many batches were worked.

    A batch that fails is marked so by the action and does not stop the next.
    """
    worked = 0
    while worked < MOST and (found := next_to_work(timezone.now())) is not None:
        batch_id, state = found
        write = state in (ImportBatch.State.CONFIRMED, ImportBatch.State.APPLYING)
        try:
            batch = (apply_batch if write else check_batch)(batch_id, timezone.now())
            log.info("import worked", batch=batch_id, state=batch.state)
        except Exception:
            log.exception("import failed", batch=batch_id)
        worked += 1
    return worked


@shared_task(name="tracker.forget_import_files")
def forget_import_files() -> int:
    """Remove the files whose keep time is over; return of how many imports."""
    return forget_files(now=timezone.now())

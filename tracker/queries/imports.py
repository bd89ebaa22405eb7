"""Reads of imports: one batch with its rows for the preview, what waits for a person, what waits for a worker."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from tracker.models import ImportBatch, ImportRow
from tracker.spreadsheets.layouts import LAYOUTS

PAGE_ROWS = 50
State = ImportBatch.State


@dataclass(frozen=True)
class BatchPage:
    """One page of a batch's rows."""

    batch: ImportBatch
    columns: Sequence[str]
    rows: Sequence[ImportRow]
    verdict: str | None
    page: int
    pages: int
    counts: dict[str, int]
    can_confirm: bool


def batch_page(batch_id: int, verdict: str | None = None, page: int = 1, size: int = PAGE_ROWS) -> BatchPage | None:
    """Return a page of the batch's rows, of one verdict or all; None if there is no such batch. Two queries."""
    batch = ImportBatch.objects.defer("content").select_related("uploaded_by").filter(pk=batch_id).first()
    if batch is None:
        return None
    counts = {
        "good": batch.rows_good,
        "questioned": batch.rows_questioned,
        "skipped": batch.rows_skipped,
        "bad": batch.rows_bad,
    }
    wanted = verdict if verdict in counts else None
    total = counts[wanted] if wanted else batch.rows_total
    pages = max(1, -(-total // size))
    page = min(max(page, 1), pages)
    rows = batch.rows.order_by("number")
    if wanted:
        rows = rows.filter(verdict=wanted)
    shown = list(rows[(page - 1) * size : page * size])
    columns = _columns(batch.kind, shown[0].raw) if shown else []
    can_confirm = batch.state == State.CHECKED and batch.rows_bad == 0
    return BatchPage(batch, columns, shown, wanted, page, pages, counts, can_confirm)


def batches() -> QuerySet[ImportBatch]:
    """Return all imports, newest first, without their files."""
    return ImportBatch.objects.defer("content").select_related("uploaded_by").order_by("-uploaded_at", "-pk")


def waiting_batches() -> QuerySet[ImportBatch]:
    """Return the imports that wait for a person: checked and not yet confirmed."""
    return batches().filter(state=State.CHECKED)


def can_try_again(batch: ImportBatch) -> bool:
    """Whether a failed import still has its file. One query, for failed ones only; the file itself is not fetched."""
    return batch.state == State.FAILED and ImportBatch.objects.filter(pk=batch.pk).exclude(content=b"").exists()


def next_to_work(now: datetime) -> tuple[int, str] | None:
    """Return (id, state) of the oldest import that waits for a worker, or whose worker was lost; else None."""
    waits = Q(state__in=[State.UPLOADED, State.CONFIRMED])
    lost = Q(state__in=[State.CHECKING, State.APPLYING], lease_until__lt=now)
    return ImportBatch.objects.filter(waits | lost).order_by("uploaded_at", "pk").values_list("pk", "state").first()


def _columns(kind: str, raw: dict[str, str]) -> list[str]:
    """The row's columns in the order of the layout: PostgreSQL keeps no order in JSON."""
    order = {name: place for place, name in enumerate(LAYOUTS.get(kind, ()))}
    return sorted(raw, key=lambda name: (order.get(name, len(order)), name))

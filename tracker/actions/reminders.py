"""The sweep: due lines brought up to date, one visit planned per trike, at most one message per visit and stage.

What it plans stands in reminder_visits.py, what it writes in reminder_messages.py.

Safe to run twice and at the same time: the trikes of a shard are locked in the order of their keys, one open visit per
trike and one message per (trike, visit, stage) are unique in the database.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q

from tracker.actions.reminder_messages import GAP, Sent, next_stage, write_messages
from tracker.actions.reminder_visits import plan_visits
from tracker.actions.steps import chunks, refresh_due
from tracker.actions.transactions import action
from tracker.models import SweepRun, Trike
from tracker.queries.due import trikes_sharing_parts
from tracker.queries.fleet_numbers import latest_numbers
from tracker.queries.reminders import due_lines_by_trike, in_share, trikes_to_sweep

__all__ = ["GAP", "Sent", "Swept", "begin_sweep", "next_stage", "put_right", "run_sweep", "sweep_shard", "sweep_trikes"]

SHARD = 40  # trikes per transaction: short enough that the desk hardly waits on SQLite


@dataclass(frozen=True)
class Swept:
    """What a shard or a sweep did. `differences`: stored due lines of clean trikes that were found wrong."""

    trikes: int = 0
    visits: int = 0
    messages: int = 0
    differences: int = 0


def run_sweep(*, now: datetime, everything: bool = False, tell: Callable[[int, int], None] | None = None) -> SweepRun:
    """Sweep shard by shard in this process; `tell(done, total)` hears of the progress."""
    run, shards = begin_sweep(now=now, everything=everything)
    done = 0
    for shard in shards:
        done += sweep_shard(run_id=run.pk, trike_ids=shard, now=now, check_all=everything).trikes
        if tell:
            tell(done, run.trikes_total)
    run.refresh_from_db()
    return run


@action
def begin_sweep(*, now: datetime, everything: bool = False) -> tuple[SweepRun, list[list[int]]]:
    """Write down that a sweep begins; return it with its shards of trike ids."""
    ids = trikes_to_sweep(now, everything=everything)
    run = SweepRun.objects.create(started_at=now, trikes_total=len(ids), finished_at=None if ids else now)
    return run, list(chunks(ids, SHARD))


@action
def sweep_shard(*, run_id: int, trike_ids: Sequence[int], now: datetime, check_all: bool = False) -> Swept:
    """Sweep one shard and add it to its run; the last shard ends the run.

    Due lines are computed afresh for dirty trikes and for the night's share, which proves that stored and computed
    lines agree; for all with `check_all`. Due lines do not depend on today, so the others need only the comparison.
    """
    swept = _sweep(trike_ids, now, check_all)
    SweepRun.objects.filter(pk=run_id).update(
        trikes_done=F("trikes_done") + swept.trikes,
        visits_planned=F("visits_planned") + swept.visits,
        messages_written=F("messages_written") + swept.messages,
        differences=F("differences") + swept.differences,
    )
    SweepRun.objects.filter(pk=run_id, finished_at__isnull=True, trikes_done__gte=F("trikes_total")).update(
        finished_at=now
    )
    return swept


@action
def sweep_trikes(*, trike_ids: Sequence[int], now: datetime) -> Swept:
    """Sweep these trikes outside of any run, their due lines computed afresh."""
    return _sweep(trike_ids, now, check_all=True)


@action
def put_right(*, trike_ids: Sequence[int], now: datetime) -> int:
    """Store freshly computed due lines of these trikes, and nothing else; return how many changed."""
    return refresh_due(trike_ids, now)


def _sweep(trike_ids: Sequence[int], now: datetime, check_all: bool) -> Swept:
    ids = sorted(set(trike_ids))
    share = set(ids) if check_all else {pk for pk in ids if in_share(pk, now)}
    affected = sorted(trikes_sharing_parts(ids))
    list(Trike.objects.select_for_update(of=("self",)).filter(pk__in=affected).order_by("pk").values_list("pk"))
    _take_over_numbers(ids)
    dirty = set(Trike.objects.filter(pk__in=ids, due_dirty=True).values_list("pk", flat=True))
    refresh_due(dirty, now)
    differences = refresh_due(share - dirty, now)
    lines = due_lines_by_trike(ids)
    visits, planned = plan_visits(ids, lines, now)
    messages = write_messages(visits, lines, now)
    return Swept(len(ids), planned, messages, differences)


def _take_over_numbers(ids: Sequence[int]) -> None:
    """Reckon these trikes with the newest fleet numbers from now on; their due lines follow in this transaction."""
    newest = latest_numbers()
    if newest is not None:
        behind = Trike.objects.filter(pk__in=ids).filter(~Q(fleet_numbers=newest) | Q(fleet_numbers__isnull=True))
        behind.update(fleet_numbers=newest, due_dirty=True)

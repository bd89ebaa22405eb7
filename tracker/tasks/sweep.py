"""The nightly sweep, shard by shard: beside each other where there are workers, one after the other where not."""

from celery import shared_task
from django.utils import timezone

from tracker.actions.reminders import begin_sweep, sweep_shard


@shared_task(name="tracker.sweep")
def sweep() -> None:
    """Begin a sweep and hand out its shards."""
    run, shards = begin_sweep(now=timezone.now())
    for shard in shards:
        sweep_part.delay(run.pk, shard)


@shared_task(name="tracker.sweep_shard")
def sweep_part(run_id: int, trike_ids: list[int]) -> None:
    """Sweep one shard of trikes."""
    sweep_shard(run_id=run_id, trike_ids=trike_ids, now=timezone.now())

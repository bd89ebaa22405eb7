"""Whether the background work goes on: who gave a sign of life when, and how far the running sweep is."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from tracker.models import Heartbeat, SweepRun, Trike

# What each kind of process does for the desk, in words.
KINDS = {
    "beat": "the clock of the background work",
    "worker": "the background work",
    "dispatcher": "the sending of mail",
}
SILENT_AFTER = timedelta(minutes=3)  # each writes once a minute
SWEEP_TRIED = timedelta(hours=26)  # a sweep that began longer ago was left by a crash


@dataclass(frozen=True)
class Sign:
    """The last sign of life of one kind of process."""

    name: str
    words: str
    at: datetime | None
    silent: bool


def signs(now: datetime) -> list[Sign]:
    """Return the last sign of each kind. A kind never heard of is silent once there are trikes to care for.

    A sign from the future (a clock was put back) counts as one of now.
    """
    at = dict(Heartbeat.objects.values_list("name", "at"))
    expected = len(at) == len(KINDS) or Trike.objects.filter(state=Trike.State.DELIVERED).exists()
    return [
        Sign(name, words, at.get(name), now - at[name] > SILENT_AFTER if name in at else expected)
        for name, words in KINDS.items()
    ]


def running_sweep(now: datetime) -> SweepRun | None:
    """Return the sweep that runs now, None where none does."""
    last = SweepRun.objects.first()
    return last if last and last.finished_at is None and now - last.started_at < SWEEP_TRIED else None

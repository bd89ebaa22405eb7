"""The logbook: everything that ever happened, append-only, each entry chained to the one before on the same trike."""

from django.db import models
from django.db.models import Q


class LogEntry(models.Model):
    """One entry. No personal data in `body`: that is kept with the owner, outside what is hashed."""

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="log_entries")
    component = models.ForeignKey(
        "tracker.Component", on_delete=models.PROTECT, null=True, blank=True, related_name="log_entries"
    )
    seq = models.PositiveIntegerField()  # 1, 2, 3 ... within the trike
    kind = models.CharField(max_length=30)
    occurred_at = models.DateTimeField()  # claimed
    recorded_at = models.DateTimeField()  # the server's clock
    actor = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    source = models.CharField(max_length=10)
    body = models.JSONField()
    amends = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="amendments")
    prev_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["trike", "-seq"]
        verbose_name_plural = "log entries"
        constraints = [
            models.UniqueConstraint(fields=["trike", "seq"], name="one_log_entry_per_trike_and_number"),
            models.CheckConstraint(condition=Q(seq__gte=1), name="log_entries_count_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.trike} #{self.seq} {self.kind}"

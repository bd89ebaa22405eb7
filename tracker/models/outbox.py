"""The outbox: 'send this', written in the transaction that decided it, under a key that can exist once."""

from django.db import models


class OutboxMessage(models.Model):
    """One message to one person. The dispatcher claims it, sends it, marks it.

    Routine mail is claimed once: a row left `sending` by a crash is shown at the desk as 'unknown: sent or not?'.
    A safety notice is sent again with the same Message-ID.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        SENDING = "sending", "sending"
        SENT = "sent", "sent"
        UNKNOWN = "unknown", "unknown: sent or not?"
        FAILED = "failed", "failed"
        DROPPED = "dropped", "no longer wanted"

    key = models.CharField(max_length=120, unique=True)  # trike:visit:stage
    kind = models.CharField(max_length=20)  # reminder, safety, summary
    stage = models.CharField(max_length=12, blank=True)  # heads_up, due, overdue, monthly-N
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, null=True, blank=True, related_name="messages")
    owner = models.ForeignKey("tracker.Owner", on_delete=models.PROTECT, null=True, blank=True, related_name="messages")
    visit = models.ForeignKey("tracker.Visit", on_delete=models.PROTECT, null=True, blank=True, related_name="messages")
    channel = models.CharField(max_length=10, default="mail")
    message_id = models.CharField(max_length=120, unique=True)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    not_before = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=400, blank=True)
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    bounced_at = models.DateTimeField(null=True, blank=True)
    bounce_note = models.CharField(max_length=400, blank=True)
    file_name = models.CharField(max_length=120, blank=True)  # where the folder channel kept it

    class Meta:
        ordering = ["-created_at", "-pk"]
        indexes = [models.Index(fields=["state", "not_before"], name="outbox_by_state")]

    def __str__(self) -> str:
        return self.key

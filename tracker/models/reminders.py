"""Visits: due tasks of one trike bundled so that the owner comes once; days agreed for them, days without work."""

import uuid

from django.db import models
from django.db.models import F, Q


class Visit(models.Model):
    """A visit the workshop proposes. Its id is what makes a reminder unique: (trike, visit, stage)."""

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        DROPPED = "dropped", "no longer needed"

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="visits")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    planned_on = models.DateField()
    minutes = models.PositiveIntegerField(default=0)
    words = models.CharField(max_length=400, blank=True)  # why this day and these tasks
    sequence = models.PositiveIntegerField(default=0)
    snoozed_until = models.DateField(null=True, blank=True)  # the owner asked not to be written to before
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["planned_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["trike"], condition=Q(state="open"), name="one_open_visit_per_trike"),
        ]

    def __str__(self) -> str:
        return f"visit of {self.trike} on {self.planned_on}"


class VisitLine(models.Model):
    """One task of a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="lines")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="+")
    task = models.CharField(max_length=40)
    due_on = models.DateField()
    reason = models.CharField(max_length=200, blank=True)  # why it is done at this visit

    class Meta:
        ordering = ["visit", "due_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "component", "task"], name="a_task_stands_once_in_a_visit")
        ]

    def __str__(self) -> str:
        return f"{self.task} in {self.visit}"


class Appointment(models.Model):
    """A day that an owner asked for; the desk confirms it or offers another."""

    class State(models.TextChoices):
        ASKED = "asked", "asked for"
        CONFIRMED = "confirmed", "confirmed"
        DECLINED = "declined", "declined"
        WITHDRAWN = "withdrawn", "withdrawn"

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="appointments")
    owner = models.ForeignKey("tracker.Owner", on_delete=models.PROTECT, related_name="appointments")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="appointments")
    on = models.DateField()
    minutes = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=10, choices=State, default=State.ASKED)
    note = models.CharField(max_length=400, blank=True)  # the owner's words
    answer = models.CharField(max_length=400, blank=True)  # the desk's words
    asked_at = models.DateTimeField()
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["trike"], condition=Q(state__in=["asked", "confirmed"]), name="one_open_appointment_per_trike"
            ),
        ]
        indexes = [models.Index(fields=["on", "state"], name="appointment_by_day")]

    def __str__(self) -> str:
        return f"{self.trike} on {self.on}"


class Closing(models.Model):
    """Days on which the workshop is closed, beside the weekdays it never works on: a holiday, a fair, an illness."""

    first = models.DateField()
    last = models.DateField()  # the same day where it is one
    reason = models.CharField(max_length=120, blank=True)  # for the desk; owners do not read it
    entered_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["first", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(last__gte=F("first")), name="a_closing_ends_after_it_begins"),
        ]

    def __str__(self) -> str:
        return f"closed from {self.first} to {self.last}"


class Heartbeat(models.Model):
    """When a kind of background process was last alive."""

    name = models.CharField(max_length=20, unique=True)  # worker, beat, dispatcher
    at = models.DateTimeField()

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name

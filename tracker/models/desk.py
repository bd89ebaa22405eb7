"""The job card: one visit's record, a draft until it is signed, then immutable (guards.py)."""

from django.db import models
from django.db.models import Q

from tracker.models.fleet import Component, positions


class JobCard(models.Model):
    """Odometer in, complaint, cause, correction, tasks, measurements, swaps, minutes, signature."""

    class State(models.TextChoices):
        DRAFT = "draft", "open"
        SIGNED = "signed", "signed"
        CANCELLED = "cancelled", "cancelled"

    number = models.CharField(max_length=20, unique=True)
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="job_cards")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    worked_at = models.DateTimeField()  # the moment all its work counts from
    reading = models.ForeignKey(
        "tracker.OdometerReading", on_delete=models.PROTECT, null=True, blank=True, related_name="job_cards"
    )
    complaint = models.TextField(max_length=10_000, blank=True)
    cause = models.TextField(max_length=10_000, blank=True)
    correction = models.TextField(max_length=10_000, blank=True)
    minutes = models.PositiveIntegerField(default=0)
    summary = models.TextField(max_length=4_000, blank=True)  # for the owner, in plain words; outside what is hashed
    released_at = models.DateTimeField(null=True, blank=True)  # test ride and release checklist, signed before the card
    released_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(state="signed") | Q(signed_at__isnull=False, signed_by__isnull=False),
                name="signed_card_has_a_signature",
            ),
        ]
        indexes = [models.Index(fields=["state", "-opened_at"], name="job_card_by_state")]

    def __str__(self) -> str:
        return self.number


class JobTask(models.Model):
    """A task on a card and what came of it."""

    class Outcome(models.TextChoices):
        PROPOSED = "proposed", "proposed"
        DONE = "done", "done"
        DEFERRED = "deferred", "deferred"

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, related_name="tasks")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="+")
    task = models.CharField(max_length=40)
    outcome = models.CharField(max_length=10, choices=Outcome, default=Outcome.PROPOSED)
    note = models.CharField(max_length=400, blank=True)
    not_affected = models.BooleanField(null=True, blank=True)  # of a bulletin, done: inspected, and nothing found

    class Meta:
        ordering = ["card", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["card", "component", "task"], name="a_task_stands_once_on_a_card")
        ]

    def __str__(self) -> str:
        return f"{self.task} on {self.card}"


class Measurement(models.Model):
    """A measured value with its unit, what it was measured with and what it means."""

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, related_name="measurements")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="measurements")
    quantity = models.CharField(max_length=40)
    value = models.FloatField()  # in the quantity's unit (services.kinds)
    context = models.JSONField(default=dict, blank=True)  # pitches, temperature_c, ...
    instrument = models.CharField(max_length=80, blank=True)
    level = models.CharField(max_length=10, blank=True)  # ok, watch, soon, replace, stop
    words = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()

    class Meta:
        ordering = ["card", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["card", "component", "quantity"], name="a_value_is_measured_once_on_a_card")
        ]
        indexes = [models.Index(fields=["component", "quantity", "taken_at"], name="measurement_by_component")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.value:g}"


class Swap(models.Model):
    """A component taken out of a position, one put in, or both; carried out when the card is signed."""

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, related_name="swaps")
    position = models.CharField(max_length=20, choices=positions)
    old_component = models.ForeignKey(
        "tracker.Component", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    new_component = models.ForeignKey(
        "tracker.Component", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    fate = models.CharField(max_length=12, blank=True, choices=Component.State)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["card", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["card", "position"], name="a_position_is_swapped_once_on_a_card"),
            models.CheckConstraint(
                condition=Q(old_component__isnull=False) | Q(new_component__isnull=False), name="a_swap_moves_something"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position} on {self.card}"


class ReleaseCheck(models.Model):
    """One line of the release checklist that work on brakes, steering, hinge, wheels or drive demands."""

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, related_name="release_checks")
    item = models.CharField(max_length=40)  # code: services.release
    passed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["card", "pk"]
        constraints = [models.UniqueConstraint(fields=["card", "item"], name="one_answer_per_release_check")]

    def __str__(self) -> str:
        return f"{self.item} on {self.card}"


class Photo(models.Model):
    """A picture taken for a card, encoded anew without its metadata. The file lies in the photo folder under `name`."""

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, related_name="photos")
    component = models.ForeignKey(
        "tracker.Component", on_delete=models.PROTECT, null=True, blank=True, related_name="photos"
    )
    name = models.CharField(max_length=80, unique=True)  # random, with .jpg
    sha256 = models.CharField(max_length=64)  # of the stored file: goes into the signed entry
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["card", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["card", "sha256"], name="a_picture_stands_once_on_a_card"),
        ]

    def __str__(self) -> str:
        return f"photo {self.pk} of {self.card}"


class Failure(models.Model):
    """A component that failed: how, why, how it was found. Its life at that moment follows from its fitments."""

    card = models.ForeignKey(JobCard, on_delete=models.CASCADE, null=True, blank=True, related_name="failures")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="failures")
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="failures")
    mode = models.CharField(max_length=40)
    cause = models.CharField(max_length=40, blank=True)
    found = models.CharField(max_length=40, blank=True)
    warranty = models.BooleanField(default=False)
    happened_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-happened_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.mode} of {self.component}"

"""What the failure review found, stored: pages read it and never fit anything."""

from django.db import models
from django.db.models import Q

from services.review.found import ACTIONS, METRICS


def actions() -> list[tuple[str, str]]:
    """Return what a review may ask for, as choices. A function, so that a new word needs no migration."""
    return list(ACTIONS.items())


class ReviewRun(models.Model):
    """One review: asked for by a person or the night, worked in the background, done or failed."""

    class State(models.TextChoices):
        ASKED = "asked", "waiting to be reckoned"
        RUNNING = "running", "being reckoned"
        DONE = "done", "reckoned"
        FAILED = "failed", "failed: the findings before it stand"

    state = models.CharField(max_length=8, choices=State, default=State.ASKED)
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    until = models.DateField(null=True, blank=True)  # lives count up to the start of this day: whole months only
    data_version = models.CharField(max_length=64, blank=True)  # over the fingerprints of all part types
    part_types = models.PositiveIntegerField(default=0)
    reckoned = models.PositiveIntegerField(default=0)  # part types whose lives had changed
    components = models.PositiveIntegerField(default=0)
    failures = models.PositiveIntegerField(default=0)
    comparisons = models.PositiveIntegerField(default=0)  # all that were tested together
    false_alarms_a_year = models.FloatField(default=0.0)  # what the early warning's limits really give
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["state"], condition=Q(state="asked"), name="one_review_waits_at_a_time"
            )
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"review of {self.asked_at:%Y-%m-%d %H:%M}"


class ReviewFinding(models.Model):
    """One part type in one metric: its place, its verdict, what to do, and all behind it (services/review/found.py)."""

    run = models.ForeignKey(ReviewRun, on_delete=models.PROTECT, related_name="findings")
    part_type = models.ForeignKey("tracker.PartType", on_delete=models.CASCADE, related_name="findings")
    metric = models.CharField(max_length=6, choices=list(METRICS.items()))
    is_main = models.BooleanField(default=True)  # the metric in which this kind of part is told
    rank = models.PositiveIntegerField()  # 1: the strongest evidence; among main findings, or within the metric
    verdict = models.CharField(max_length=400)
    action = models.CharField(max_length=12, choices=actions)
    q = models.FloatField(null=True, blank=True)  # share of false ones among findings this strong; none: no reason
    flagged_since = models.DateField(null=True, blank=True)  # since when the action is not "none"
    fingerprint = models.CharField(max_length=64)  # of the lives it rests on
    payload = models.JSONField(default=dict)  # {"study": Study, "finding": Finding} as plain values

    class Meta:
        ordering = ["-is_main", "rank", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["part_type", "metric"], name="one_finding_per_part_type_and_metric")
        ]
        indexes = [models.Index(fields=["is_main", "rank"], name="finding_by_rank")]

    def __str__(self) -> str:
        return f"{self.part_type}: {self.verdict}"

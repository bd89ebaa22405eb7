"""When things fall due: intervals, what was done, what happened, and the stored due list."""

from django.db import models
from django.db.models import Q

from tracker.models.fleet import part_kinds


class ServiceInterval(models.Model):
    """The rule that says when one task falls due, for a kind of part or for one part type (which then wins)."""

    class Rebase(models.TextChoices):
        FROM_DONE = "from_done", "from the day it was done"
        FROM_DUE = "from_due", "from the day it was due"
        WINDOW = "window", "from due inside the window, else from done"
        NEVER_LATER = "never_later", "from the earlier of due and done"

    task = models.CharField(max_length=40)
    part_kind = models.CharField(max_length=20, choices=part_kinds)
    part_type = models.ForeignKey(
        "tracker.PartType", on_delete=models.PROTECT, null=True, blank=True, related_name="intervals"
    )
    first_km = models.FloatField(null=True, blank=True)
    first_days = models.PositiveIntegerField(null=True, blank=True)
    first_hours = models.FloatField(null=True, blank=True)
    first_cycles = models.FloatField(null=True, blank=True)
    every_km = models.FloatField(null=True, blank=True)
    every_months = models.PositiveIntegerField(null=True, blank=True)
    every_days = models.PositiveIntegerField(null=True, blank=True)
    every_hours = models.FloatField(null=True, blank=True)
    every_cycles = models.FloatField(null=True, blank=True)
    early_km = models.FloatField(default=0.0)
    early_days = models.PositiveIntegerField(default=14)
    rebase = models.CharField(max_length=12, choices=Rebase, default=Rebase.FROM_DONE)
    once = models.BooleanField(default=False)
    source = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["part_kind", "task", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["task", "part_kind"], condition=Q(part_type__isnull=True), name="one_interval_per_task_and_kind"
            ),
            models.UniqueConstraint(
                fields=["task", "part_type"],
                condition=Q(part_type__isnull=False),
                name="one_interval_per_task_and_part_type",
            ),
            models.CheckConstraint(
                condition=Q(every_km__isnull=False)
                | Q(every_months__isnull=False)
                | Q(every_days__isnull=False)
                | Q(every_hours__isnull=False)
                | Q(every_cycles__isnull=False)
                | Q(once=True),
                name="interval_says_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.task} on {self.part_kind}"


class IntervalChange(models.Model):
    """An interval as it was and as it became: by whom, when and why. Append-only, so that before and after can be compared.

    before is empty for a new interval. ground: what the change rests on where a review proposed it (metric, life, costs).
    """

    interval = models.ForeignKey(ServiceInterval, on_delete=models.PROTECT, related_name="changes")
    changed_at = models.DateTimeField()
    changed_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    why = models.CharField(max_length=400, blank=True)
    before = models.JSONField(default=dict)  # field -> value, only what differs; task and part kind always in `after`
    after = models.JSONField(default=dict)
    ground = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-changed_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.interval} changed {self.changed_at:%Y-%m-%d}"


class Completion(models.Model):
    """A task done on a component. Append-only. `via` names the larger task that included it."""

    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="completions")
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="completions")
    task = models.CharField(max_length=40)
    done_at = models.DateTimeField()
    via = models.CharField(max_length=40, blank=True)
    job_card = models.ForeignKey(
        "tracker.JobCard", on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    source = models.CharField(max_length=10, default="job_card")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["component", "task", "done_at", "pk"]
        indexes = [models.Index(fields=["component", "task", "done_at"], name="completion_by_component")]

    def __str__(self) -> str:
        return f"{self.task} on {self.component}, {self.done_at:%Y-%m-%d}"


class Occurrence(models.Model):
    """Something that happened to a trike and calls for a check before the next ride."""

    class Kind(models.TextChoices):
        CRASH = "crash", "crash or tip-over"
        SUBMERSION = "submersion", "submersion or flood"
        LAY_UP = "lay_up", "long lay-up"

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="occurrences")
    kind = models.CharField(max_length=12, choices=Kind)
    happened_at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    entered_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["trike", "-happened_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.trike}"


class DueLineQuerySet(models.QuerySet["DueLine"]):
    """Comparisons with a day; the day is an argument."""

    def due_by(self, day) -> "DueLineQuerySet":
        """Lines due on or before `day`."""
        return self.filter(due_on__lte=day)

    def early_by(self, day) -> "DueLineQuerySet":
        """Lines whose early window has opened by `day`, due ones included."""
        return self.filter(early_on__lte=day)


class DueLine(models.Model):
    """One task of one fitted component and when it falls due: absolute dates and distances, never a status.

    Can be rebuilt from the rest of the database at any time (tracker/queries/due.py) and then finds no difference.
    """

    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="due_lines")
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="due_lines")
    task = models.CharField(max_length=40)
    due_on = models.DateField(null=True, blank=True)  # as likely before as after
    likely_from = models.DateField(null=True, blank=True)  # one in ten falls due before
    likely_until = models.DateField(null=True, blank=True)  # one in ten falls due after; none: beyond the horizon
    early_on = models.DateField(null=True, blank=True)
    trigger = models.CharField(max_length=10, blank=True)  # km, date, hours, cycles, condition, event
    due_life_km = models.FloatField(null=True, blank=True)  # life of the component
    safety = models.BooleanField(default=False)
    owner_can = models.BooleanField(default=False)
    facts = models.JSONField(default=dict)  # what the sentence is made from (services.intervals)
    refreshed_at = models.DateTimeField()

    objects = DueLineQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "trike", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["component", "task"], name="one_due_line_per_component_and_task")
        ]
        indexes = [
            models.Index(fields=["due_on", "id"], name="due_by_day"),
            models.Index(fields=["trike", "due_on"], name="due_by_trike"),
        ]

    def __str__(self) -> str:
        return f"{self.task} on {self.component}: {self.due_on}"


class SweepRun(models.Model):
    """One nightly sweep: when it ran and how far it got."""

    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    trikes_total = models.PositiveIntegerField(default=0)
    trikes_done = models.PositiveIntegerField(default=0)
    visits_planned = models.PositiveIntegerField(default=0)
    messages_written = models.PositiveIntegerField(default=0)
    differences = models.PositiveIntegerField(default=0)  # due lines that a rebuild found wrong

    class Meta:
        ordering = ["-started_at", "-pk"]

    def __str__(self) -> str:
        return f"sweep of {self.started_at:%Y-%m-%d %H:%M}"

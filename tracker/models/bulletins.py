"""Bulletins: what a notice names, the components it touches, and how far each of them has come.

A released bulletin is not changed any more and every step of a component is kept for ever (guards.py).
"""

from django.db import models
from django.db.models import F, Q

from services.bulletins import DONE, MOVES, STATES

OPEN_STATES = tuple(state for state in STATES if state not in DONE)


def bulletin_states() -> list[tuple[str, str]]:
    """Return the states of a component under a bulletin as choices."""
    return [(state, state) for state in MOVES]


class Bulletin(models.Model):
    """A notice about part types and, within them, serial ranges, batches, a window of making days, firmware.

    All that is named must hold; within one of them any will do (services.bulletins.Scope).
    """

    class Severity(models.TextChoices):
        INFORMATION = "information", "information"
        RECOMMENDED = "recommended", "recommended"
        MANDATORY = "mandatory", "mandatory"
        STOP = "stop", "stop riding"

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        RELEASED = "released", "released"
        CLOSED = "closed", "closed"
        WITHDRAWN = "withdrawn", "withdrawn"

    number = models.CharField(max_length=14, unique=True)  # B-2026-001
    title = models.CharField(max_length=120)
    severity = models.CharField(max_length=12, choices=Severity, default=Severity.RECOMMENDED)
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    is_hazard = models.BooleanField(default=False)  # somebody may be hurt: owners get a safety notice
    hazard = models.TextField(max_length=2_000, blank=True)  # what may happen, in plain words
    stop_riding = models.CharField(max_length=400, blank=True)  # what the owner does now: stop riding, how to make safe
    remedy = models.TextField(max_length=2_000, blank=True)  # what the workshop does about it, for the owner
    work = models.TextField(max_length=2_000, blank=True)  # what is checked and done at the bench
    minutes = models.PositiveIntegerField(default=30)  # bench time per component
    deadline_on = models.DateField(null=True, blank=True)
    deadline_km = models.FloatField(
        null=True, blank=True
    )  # of the component's life, from when it came under the bulletin
    every_months = models.PositiveIntegerField(null=True, blank=True)  # repetitive: again after so many months ...
    every_km = models.FloatField(null=True, blank=True)  # ... or km, whichever comes first
    part_types = models.ManyToManyField("tracker.PartType", related_name="bulletins")
    batches = models.JSONField(default=list, blank=True)  # texts, as services.bulletins.fold_mark gives them
    firmware = models.JSONField(default=list, blank=True)  # likewise
    made_from = models.DateField(null=True, blank=True)
    made_until = models.DateField(null=True, blank=True)  # both included
    note = models.TextField(max_length=2_000, blank=True)  # for the workshop alone
    written_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, related_name="+")  # who changed it last
    written_at = models.DateTimeField()
    released_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    released_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=400, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-written_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(released_by__isnull=True) | ~Q(released_by=F("written_by")),
                name="a_bulletin_is_released_by_a_second_person",
                violation_error_code="same-signer",
                violation_error_message="Who wrote a bulletin does not release it.",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["released", "closed"])
                | Q(released_by__isnull=False, released_at__isnull=False),
                name="a_released_bulletin_says_by_whom",
            ),
            models.CheckConstraint(
                condition=~Q(severity="stop") | Q(is_hazard=True), name="who_must_stop_riding_is_in_danger"
            ),
            models.CheckConstraint(
                condition=Q(made_from__isnull=True) | Q(made_until__isnull=True) | Q(made_until__gte=F("made_from")),
                name="making_days_run_forwards",
            ),
            models.CheckConstraint(
                condition=(Q(deadline_km__isnull=True) | Q(deadline_km__gt=0))
                & (Q(every_km__isnull=True) | Q(every_km__gt=0))
                & (Q(every_months__isnull=True) | Q(every_months__gt=0)),
                name="bulletin_distances_are_positive",
            ),
        ]
        indexes = [models.Index(fields=["state", "-written_at"], name="bulletin_by_state")]

    def __str__(self) -> str:
        return self.number


class BulletinText(models.Model):
    """What a bulletin tells owners who read another language than the workshop writes in."""

    bulletin = models.ForeignKey(Bulletin, on_delete=models.CASCADE, related_name="texts")
    language = models.CharField(max_length=5)  # services.language.LANGUAGES, never English
    title = models.CharField(max_length=120)
    hazard = models.TextField(max_length=2_000, blank=True)
    stop_riding = models.CharField(max_length=400, blank=True)
    remedy = models.TextField(max_length=2_000, blank=True)

    class Meta:
        ordering = ["bulletin", "language"]
        constraints = [
            models.UniqueConstraint(fields=["bulletin", "language"], name="a_bulletin_is_told_once_in_a_language")
        ]

    def __str__(self) -> str:
        return f"{self.bulletin} ({self.language})"


class BulletinRange(models.Model):
    """A range of serials, both ends included, in natural order."""

    bulletin = models.ForeignKey(Bulletin, on_delete=models.CASCADE, related_name="ranges")
    first = models.CharField(max_length=40)  # canonical
    last = models.CharField(max_length=40)
    first_key = models.CharField(max_length=120)  # services.bulletins.order_key
    last_key = models.CharField(max_length=120)

    class Meta:
        ordering = ["bulletin", "first_key", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["bulletin", "first", "last"], name="a_range_stands_once_on_a_bulletin")
        ]

    def __str__(self) -> str:
        return f"{self.first} to {self.last}"


class BulletinPart(models.Model):
    """A component that a released bulletin touches, and how far it has come. It follows the component from trike to trike."""

    class Certainty(models.TextChoices):
        AFFECTED = "affected", "affected"
        CANNOT_EXCLUDE = "cannot_exclude", "cannot be excluded: inspect"

    bulletin = models.ForeignKey(Bulletin, on_delete=models.PROTECT, related_name="parts")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="bulletin_parts")
    certainty = models.CharField(max_length=14, choices=Certainty)
    state = models.CharField(max_length=12, choices=bulletin_states, default="affected")
    joined_at = models.DateTimeField()  # when it came under the bulletin: deadlines in km count from its life then
    since = models.DateTimeField()
    by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    note = models.CharField(max_length=400, blank=True)
    appointment = models.ForeignKey(
        "tracker.Appointment", on_delete=models.PROTECT, null=True, blank=True, related_name="bulletin_parts"
    )
    done_at = models.DateTimeField(null=True, blank=True)  # the last time it was corrected or inspected
    next_due_on = models.DateField(null=True, blank=True)  # of a repetitive bulletin, once it was done
    next_due_km = models.FloatField(null=True, blank=True)  # life of the component
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["bulletin", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["bulletin", "component"], name="a_component_stands_once_under_a_bulletin")
        ]
        indexes = [models.Index(fields=["bulletin", "state"], name="bulletin_progress")]

    def __str__(self) -> str:
        return f"{self.bulletin} / {self.component}"


class BulletinStep(models.Model):
    """One step of a component under a bulletin. Append-only. `before` empty: it joined; `after` empty: it left the scope."""

    bulletin = models.ForeignKey(Bulletin, on_delete=models.PROTECT, related_name="steps")
    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="bulletin_steps")
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    before = models.CharField(max_length=12, blank=True)
    after = models.CharField(max_length=12, blank=True)
    at = models.DateTimeField()  # claimed: when the work was done
    by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    note = models.CharField(max_length=400, blank=True)
    job_card = models.ForeignKey(
        "tracker.JobCard", on_delete=models.PROTECT, null=True, blank=True, related_name="bulletin_steps"
    )
    recorded_at = models.DateTimeField()  # the server's clock

    class Meta:
        ordering = ["bulletin", "recorded_at", "pk"]
        indexes = [models.Index(fields=["component", "bulletin"], name="bulletin_steps_of_a_part")]

    def __str__(self) -> str:
        return f"{self.component}: {self.before or 'new'} to {self.after or 'not affected'}"


class BulletinNotice(models.Model):
    """One owner told of one bulletin about one trike: the safety notice, what became of it, and whether it was read."""

    bulletin = models.ForeignKey(Bulletin, on_delete=models.PROTECT, related_name="notices")
    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="bulletin_notices")
    owner = models.ForeignKey("tracker.Owner", on_delete=models.PROTECT, related_name="bulletin_notices")
    message = models.OneToOneField(
        "tracker.OutboxMessage", on_delete=models.SET_NULL, null=True, blank=True, related_name="bulletin_notice"
    )
    written_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)  # the owner said so
    told_at = models.DateTimeField(null=True, blank=True)  # by telephone, or in person
    told_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    told_note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["bulletin", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["bulletin", "trike", "owner"], name="one_notice_per_bulletin_trike_and_owner"
            )
        ]

    def __str__(self) -> str:
        return f"{self.bulletin} to {self.owner}"

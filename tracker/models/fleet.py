"""The register: part types, components by serial, trikes, what sits where and since when, owners, handover."""

from django.db import models
from django.db.models import F, Q

from services.parts import PART_KINDS
from services.positions import POSITIONS
from tracker.models.keys import BatchKey, FirmwareKey, SerialKey


def part_kinds() -> list[tuple[str, str]]:
    """Return the kinds of part as choices. A function, so that a new kind needs no migration."""
    return [(code, kind.title) for code, kind in PART_KINDS.items()]


def positions() -> list[tuple[str, str]]:
    """Return the positions on a trike as choices."""
    return [(code, position.title) for code, position in POSITIONS.items()]


class PartType(models.Model):
    """A catalogue entry: what a component is, by whom, with its rated values (checked per kind by services.parts)."""

    kind = models.CharField(max_length=20, choices=part_kinds)
    part_number = models.CharField(max_length=40, unique=True)
    maker = models.CharField(max_length=80, blank=True)
    name = models.CharField(max_length=120)
    rated = models.JSONField(default=dict, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["kind", "part_number", "pk"]

    def __str__(self) -> str:
        return f"{self.name} ({self.part_number})"


class Component(models.Model):
    """One serial-numbered (or batch-numbered) piece of a part type. Where it sits is told by its fitments."""

    class State(models.TextChoices):
        IN_STOCK = "in_stock", "in stock"
        FITTED = "fitted", "fitted"
        QUARANTINED = "quarantined", "quarantined"
        RETURNED = "returned", "returned"
        SCRAPPED = "scrapped", "scrapped"

    part_type = models.ForeignKey(PartType, on_delete=models.PROTECT, related_name="components")
    serial = models.CharField(max_length=40, null=True, blank=True, unique=True)  # canonical: services.identity
    serial_as_typed = models.CharField(max_length=60, blank=True)
    batch = models.CharField(max_length=40, blank=True)
    made_on = models.DateField(null=True, blank=True)
    firmware = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=12, choices=State, default=State.IN_STOCK)
    life_before_km = models.FloatField(null=True, blank=True, default=0.0)  # NULL: it had a life, nobody knows how long
    note = models.CharField(max_length=500, blank=True)
    serial_key = SerialKey()  # on PostgreSQL of collation "C": compared by code point, as SQLite and Python do
    batch_key = BatchKey()
    firmware_key = FirmwareKey()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["part_type", "serial", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(serial__isnull=False) & ~Q(serial="") | ~Q(batch=""),
                name="component_has_a_serial_or_a_batch",
                violation_error_code="serial-or-batch",
                violation_error_message="A component needs a serial or a batch number.",
            ),
            models.CheckConstraint(
                condition=Q(life_before_km__isnull=True) | Q(life_before_km__gte=0),
                name="component_life_is_not_negative",
            ),
        ]
        indexes = [
            models.Index(fields=["batch"], name="component_by_batch"),
            models.Index(fields=["part_type", "serial_key"], name="component_by_type_and_serial"),
            models.Index(fields=["part_type", "batch_key"], name="component_by_type_and_batch"),
            models.Index(fields=["part_type", "made_on"], name="component_by_type_and_day"),
            models.Index(fields=["part_type", "firmware_key"], name="component_by_type_and_firmware"),
        ]

    def __str__(self) -> str:
        return self.serial or f"batch {self.batch}"


class Owner(models.Model):
    """The rider who takes a trike home. Personal data lives here and nowhere else."""

    name = models.CharField(max_length=120)
    search_name = models.CharField(max_length=120, blank=True, db_index=True)  # case and accents folded
    email = models.EmailField(max_length=254, blank=True)
    phone = models.CharField(max_length=40, blank=True)  # as typed
    phone_e164 = models.CharField(max_length=20, blank=True, db_index=True)
    time_zone = models.CharField(max_length=64, default="Europe/London")
    distance_unit = models.CharField(max_length=2, choices=[("km", "km"), ("mi", "miles")], default="km")
    pressure_unit = models.CharField(
        max_length=3, choices=[("psi", "psi"), ("bar", "bar"), ("kPa", "kPa")], default="bar"
    )
    language = models.CharField(max_length=5, default="en")
    reminders_agreed = models.BooleanField(default=False)
    agreed_at = models.DateTimeField(null=True, blank=True)
    agreed_source = models.CharField(max_length=80, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)
    email_dead_at = models.DateTimeField(null=True, blank=True)
    quiet_from_hour = models.PositiveSmallIntegerField(
        null=True, blank=True
    )  # nothing arrives from then; none: the shop's
    quiet_until_hour = models.PositiveSmallIntegerField(null=True, blank=True)
    quiet_weekdays = models.JSONField(default=list, blank=True)  # 0 Monday ... 6 Sunday: nothing arrives on these
    erase_asked_at = models.DateTimeField(null=True, blank=True)  # since then somebody owes them an answer
    erased_at = models.DateTimeField(null=True, blank=True)  # since then nothing personal stands here
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["search_name", "pk"]

    def __str__(self) -> str:
        return self.name


class Trike(models.Model):
    """One delivered machine. Its identity is the frame serial; the frame is a component too, in position 'frame'."""

    class State(models.TextChoices):
        IN_BUILD = "in_build", "in build"
        DELIVERED = "delivered", "delivered"
        RETIRED = "retired", "retired"

    frame_serial = models.CharField(max_length=40, unique=True)  # canonical
    plate = models.CharField(max_length=40, null=True, blank=True, unique=True)  # plate label, canonical
    model = models.CharField(max_length=80, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.IN_BUILD)
    delivered_on = models.DateField(null=True, blank=True)
    odometer_zero_km = models.FloatField(default=0.0)  # display value at which the trike's life is 0
    label_code = models.CharField(
        max_length=26, null=True, blank=True, unique=True
    )  # random, on the QR label; no serial
    stolen_on = models.DateField(null=True, blank=True)
    stolen_note = models.CharField(max_length=200, blank=True)  # report number, place; no names
    retired_on = models.DateField(null=True, blank=True)
    retired_reason = models.CharField(max_length=200, blank=True)
    severity = models.FloatField(default=1.0)  # 1 dry tarmac, .75 wet or winter salt, .5 sand, gravel, loaded touring
    due_dirty = models.BooleanField(default=False, db_index=True)  # its due lines wait for the sweep
    fleet_numbers = models.ForeignKey(  # what its forecasts are reckoned with; none: the shipped numbers
        "tracker.FleetNumbers", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["frame_serial", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(severity__gte=0.25, severity__lte=1), name="severity_between_a_quarter_and_one"
            ),
            models.CheckConstraint(
                condition=~Q(state="delivered") | Q(delivered_on__isnull=False), name="delivered_trike_has_a_date"
            ),
        ]

    def __str__(self) -> str:
        return self.frame_serial


class Ownership(models.Model):
    """Who owned a trike from when to when."""

    trike = models.ForeignKey(Trike, on_delete=models.PROTECT, related_name="ownerships")
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="ownerships")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["trike", "-since", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["trike"], condition=Q(until__isnull=True), name="one_owner_at_a_time"),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="ownership_ends_after_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.trike} / {self.owner}"


class FitmentQuerySet(models.QuerySet["Fitment"]):
    """Questions about fitments in the words of the bench."""

    def current(self) -> "FitmentQuerySet":
        """Fitments that have not ended."""
        return self.filter(removed_at__isnull=True)

    def at(self, moment) -> "FitmentQuerySet":
        """Fitments in force at `moment` (half-open: the end is not inside)."""
        return self.filter(Q(removed_at__isnull=True) | Q(removed_at__gt=moment), fitted_at__lte=moment)

    def components_on(self, trike_id: int) -> list[int]:
        """The components that sit on a trike now, read at once.

        What is asked with these few ids starts from them. Given as a subquery, PostgreSQL may start from all parts
        under a bulletin instead while it has not counted them yet: just after a release, when every letter asks.
        """
        return list(self.current().filter(trike_id=trike_id).values_list("component_id", flat=True))


class Fitment(models.Model):
    """A component in a position on a trike over a span of time, half-open [fitted_at, removed_at).

    One component sits in one place at a time and one place holds one component at a time: for all of the past too,
    by an exclusion constraint on PostgreSQL and triggers on SQLite (tracker/models/guards.py).
    """

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="fitments")
    trike = models.ForeignKey(Trike, on_delete=models.PROTECT, related_name="fitments")
    position = models.CharField(max_length=20, choices=positions)
    fitted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    removal_reason = models.CharField(max_length=200, blank=True)
    fate = models.CharField(max_length=12, blank=True, choices=Component.State)  # where it went when it left

    objects = FitmentQuerySet.as_manager()

    class Meta:
        ordering = ["trike", "position", "-fitted_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["component"],
                condition=Q(removed_at__isnull=True),
                name="component_in_one_place_at_a_time",
                violation_error_code="already-fitted",
                violation_error_message="This component is still fitted to a trike.",
            ),
            models.UniqueConstraint(
                fields=["trike", "position"],
                condition=Q(removed_at__isnull=True),
                name="position_holds_one_component_at_a_time",
                violation_error_code="position-taken",
                violation_error_message="This position is taken.",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=F("fitted_at")),
                name="fitment_ends_after_it_begins",
                violation_error_code="removed-before-fitted",
                violation_error_message="A component cannot be removed before it was fitted.",
            ),
        ]
        indexes = [models.Index(fields=["component", "fitted_at"], name="fitment_by_component")]

    def __str__(self) -> str:
        return f"{self.component} at {self.position} of {self.trike}"


class Handover(models.Model):
    """The as-built record's last page: rider set-up, final check and two signatures by two people."""

    trike = models.OneToOneField(Trike, on_delete=models.PROTECT, related_name="handover")
    handed_over_on = models.DateField()
    reading_km = models.FloatField()  # what the display showed
    rider_mass_kg = models.FloatField(null=True, blank=True)
    system_mass_kg = models.FloatField(null=True, blank=True)  # rider, luggage and trike: what the springs carry
    sag_mm = models.FloatField(null=True, blank=True)  # measured at the shock, rider seated
    suggested = models.JSONField(default=dict, blank=True)  # what the part types' own tables proposed for that mass
    shock_pressure_kpa = models.FloatField(null=True, blank=True)
    elastomer_grade = models.CharField(max_length=10, blank=True)
    toe_in_mm = models.FloatField(null=True, blank=True)
    built_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, related_name="+")
    built_signed_at = models.DateTimeField()
    second_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    second_signed_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-handed_over_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(second_by__isnull=True) | ~Q(second_by=F("built_by")),
                name="two_signatures_by_two_people",
                violation_error_code="same-person",
                violation_error_message="The second signature must come from another person than the builder.",
            ),
            models.CheckConstraint(condition=Q(reading_km__gte=0), name="handover_reading_is_not_negative"),
        ]

    def __str__(self) -> str:
        return f"handover of {self.trike}"


class HandoverCheck(models.Model):
    """One line of the final-check list."""

    handover = models.ForeignKey(Handover, on_delete=models.CASCADE, related_name="checks")
    item = models.CharField(max_length=120)
    passed = models.BooleanField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["handover", "pk"]
        constraints = [models.UniqueConstraint(fields=["handover", "item"], name="one_answer_per_final_check")]

    def __str__(self) -> str:
        return self.item


class BuildList(models.Model):
    """What a model is built from: the list that the builder scans down."""

    model = models.CharField(max_length=80, unique=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["model", "pk"]

    def __str__(self) -> str:
        return self.model


class BuildListLine(models.Model):
    """One position of a build list, and the part type that usually goes there."""

    build_list = models.ForeignKey(BuildList, on_delete=models.CASCADE, related_name="lines")
    position = models.CharField(max_length=20, choices=positions)
    part_type = models.ForeignKey(PartType, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    required = models.BooleanField(default=True)

    class Meta:
        ordering = ["build_list", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["build_list", "position"], name="a_position_stands_once_on_a_build_list")
        ]

    def __str__(self) -> str:
        return f"{self.position} of {self.build_list}"

"""What the meters said: odometer readings as typed with their verdict, rides, display changes, motor hours, cycles."""

from django.db import models
from django.db.models import F, Q


class Source(models.TextChoices):
    """Who told the reading."""

    DESK = "desk", "service desk"
    OWNER = "owner", "owner"
    JOB_CARD = "job_card", "job card"
    HANDOVER = "handover", "handover"
    IMPORT = "import", "import"
    API = "api", "another system"
    RIDE_FILE = "ride_file", "ride file"


class OdometerReading(models.Model):
    """What a display showed, when, told by whom. As typed it never changes; its verdict may, by a person's choice.

    An estimated one was read by nobody: it is the last reading and the rides since then that came as files, added up. What
    displays are judged by leaves it out; the trike's distance takes those rides as a floor (services/rides.py).
    """

    class Verdict(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        SUSPECT = "suspect", "suspect"
        REJECTED = "rejected", "rejected"
        ESTIMATED = "estimated", "added up from ride files"

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="readings")
    read_at = models.DateTimeField()
    value = models.DecimalField(max_digits=10, decimal_places=3)  # as typed
    unit = models.CharField(max_length=2, choices=[("km", "km"), ("mi", "miles")], default="km")
    km = models.FloatField()  # display value in km that counts: as typed, or as the person who decided says
    source = models.CharField(max_length=10, choices=Source)
    verdict = models.CharField(max_length=10, choices=Verdict, default=Verdict.ACCEPTED)
    reason_code = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=400, blank=True)
    proposals = models.JSONField(default=list, blank=True)  # [{code, km, words}]
    entered_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["trike", "-read_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(value__gte=0) & Q(km__gte=0), name="reading_is_not_negative"),
        ]
        indexes = [
            models.Index(fields=["trike", "read_at"], name="reading_by_trike"),
            models.Index(fields=["verdict", "-read_at"], name="reading_by_verdict"),
        ]

    def __str__(self) -> str:
        return f"{self.value} {self.unit} on {self.read_at:%Y-%m-%d}"


class ReadingPhoto(models.Model):
    """The owner's picture of the display, encoded anew without metadata. The file lies in the photo folder under `name`.

    It helps the desk to judge the reading and is the owner's own: it belongs to no signed record and can be removed.
    """

    reading = models.OneToOneField(OdometerReading, on_delete=models.CASCADE, related_name="photo")
    owner = models.ForeignKey("tracker.Owner", on_delete=models.CASCADE, related_name="reading_photos")
    name = models.CharField(max_length=80, unique=True)  # random, with .jpg
    sha256 = models.CharField(max_length=64)  # of the stored file
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["reading", "pk"]

    def __str__(self) -> str:
        return f"photo of {self.reading}"


class RideFile(models.Model):
    """A ride that came as a file: when and how far. Where it went is not kept, nor is the file."""

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="rides")
    sha256 = models.CharField(max_length=64)  # of the file, which is not kept
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    km = models.FloatField()
    reading = models.OneToOneField(OdometerReading, on_delete=models.PROTECT, related_name="ride")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["trike", "-started_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["trike", "sha256"], name="a_ride_file_counts_once"),
            models.CheckConstraint(condition=Q(km__gt=0), name="a_ride_goes_somewhere"),
            models.CheckConstraint(condition=Q(ended_at__gte=F("started_at")), name="a_ride_ends_after_its_start"),
        ]
        indexes = [models.Index(fields=["trike", "started_at"], name="ride_by_trike")]

    def __str__(self) -> str:
        return f"{self.km:.1f} km on {self.started_at:%Y-%m-%d}"


class DisplayChange(models.Model):
    """A display swapped or reset: the old one's last value (or nobody knows) and the value the new one began with."""

    trike = models.ForeignKey("tracker.Trike", on_delete=models.PROTECT, related_name="display_changes")
    changed_at = models.DateTimeField()
    old_final_km = models.FloatField(null=True, blank=True)
    new_start_km = models.FloatField(default=0.0)
    reason = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["trike", "changed_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["trike", "changed_at"], name="one_display_change_at_a_moment"),
            models.CheckConstraint(
                condition=Q(new_start_km__gte=0) & (Q(old_final_km__isnull=True) | Q(old_final_km__gte=0)),
                name="display_values_are_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"display change of {self.trike} on {self.changed_at:%Y-%m-%d}"


class MeterReading(models.Model):
    """Motor hours or full charge cycles of one component, as its meter shows them."""

    class Meter(models.TextChoices):
        MOTOR_HOURS = "motor_hours", "motor hours"
        CHARGE_CYCLES = "charge_cycles", "charge cycles"

    component = models.ForeignKey("tracker.Component", on_delete=models.PROTECT, related_name="meter_readings")
    meter = models.CharField(max_length=14, choices=Meter)
    value = models.FloatField()
    read_at = models.DateTimeField()
    source = models.CharField(max_length=10, choices=Source)
    entered_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["component", "meter", "-read_at", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(value__gte=0), name="meter_is_not_negative")]
        indexes = [models.Index(fields=["component", "meter", "read_at"], name="meter_by_component")]

    def __str__(self) -> str:
        return f"{self.value:g} {self.get_meter_display()} of {self.component}"

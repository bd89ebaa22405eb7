"""Spreadsheets on their way in: uploaded, checked by a worker, shown row by row, confirmed, applied: all or nothing."""

from django.db import models


class ImportBatch(models.Model):
    """One uploaded file and how far it is."""

    class Kind(models.TextChoices):
        CATALOGUE = "catalogue", "part types"
        PARTS = "parts", "parts"
        DELIVERIES = "deliveries", "deliveries"
        ODOMETER = "odometer", "odometer readings"
        SERVICE_BOOK = "service_book", "service book"

    class State(models.TextChoices):
        UPLOADED = "uploaded", "waiting to be checked"
        CHECKING = "checking", "being checked"
        CHECKED = "checked", "checked: look and confirm"
        REFUSED = "refused", "refused"
        CONFIRMED = "confirmed", "waiting to be written"
        APPLYING = "applying", "being written"
        APPLIED = "applied", "written"
        FAILED = "failed", "failed: nothing written"

    kind = models.CharField(max_length=12, choices=Kind)
    file_name = models.CharField(max_length=200)
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State, default=State.UPLOADED)
    message = models.CharField(max_length=400, blank=True)
    rows_total = models.PositiveIntegerField(default=0)
    rows_good = models.PositiveIntegerField(default=0)
    rows_skipped = models.PositiveIntegerField(default=0)
    rows_questioned = models.PositiveIntegerField(default=0)
    rows_bad = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    shift_days = models.IntegerField(default=0)  # the demo's dates move with today's date
    uploaded_by = models.ForeignKey("tracker.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    uploaded_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-uploaded_at", "-pk"]
        verbose_name_plural = "import batches"

    def __str__(self) -> str:
        return self.file_name


class ImportRow(models.Model):
    """One row of the file with its verdict."""

    class Verdict(models.TextChoices):
        GOOD = "good", "will be written"
        QUESTIONED = "questioned", "will be written and marked suspect"
        SKIPPED = "skipped", "already there: skipped"
        BAD = "bad", "cannot be written"

    batch = models.ForeignKey(ImportBatch, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField()  # as the spreadsheet counts, header is row 1
    raw = models.JSONField()
    verdict = models.CharField(max_length=10, choices=Verdict)
    field = models.CharField(max_length=60, blank=True)
    code = models.CharField(max_length=60, blank=True)
    message = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["batch", "number"]
        constraints = [models.UniqueConstraint(fields=["batch", "number"], name="one_verdict_per_row")]

    def __str__(self) -> str:
        return f"{self.batch} row {self.number}"

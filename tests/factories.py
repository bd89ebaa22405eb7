"""Rows that every constraint accepts. Named variants are functions of the tests that need them."""

import hashlib
import uuid
from datetime import UTC, date, datetime

import factory
from factory.django import DjangoModelFactory

from tracker import models

NOW = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)
DELIVERED = datetime(2025, 5, 1, 10, 0, tzinfo=UTC)

RATED = {
    "frame": {},
    "battery": {"rated_wh": 504, "nominal_v": 36},
    "chain": {"pitch_mm": 12.7, "links": 299, "limit_pct": 0.75, "drivetrain": "derailleur", "speeds": 9},
    "hub_geared": {"gears": 14, "oil_ml": 25},
    "air_shock": {"max_kpa": 1900, "stroke_mm": 38},
    "elastomer": {"grade": "medium", "shore_a": 65},
    "motor": {"firmware_family": "tern-2", "nominal_w": 250, "nominal_v": 36},
    "display": {},
}


class UserFactory(DjangoModelFactory):
    class Meta:
        model = models.User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    display_name = factory.Sequence(lambda n: f"Person {n}")
    password = "!"


class PartTypeFactory(DjangoModelFactory):
    class Meta:
        model = models.PartType

    kind = "chain"
    part_number = factory.Sequence(lambda n: f"LF-{n:04d}")
    maker = "Hazelwick Parts"
    name = factory.LazyAttribute(lambda row: f"{row.kind} {row.part_number}")
    rated = factory.LazyAttribute(lambda row: dict(RATED.get(row.kind, {})))


class ComponentFactory(DjangoModelFactory):
    class Meta:
        model = models.Component

    part_type = factory.SubFactory(PartTypeFactory)
    serial = factory.Sequence(lambda n: f"C{n:06d}")
    serial_as_typed = factory.SelfAttribute("serial")
    made_on = date(2025, 1, 15)


class OwnerFactory(DjangoModelFactory):
    class Meta:
        model = models.Owner

    name = factory.Sequence(lambda n: f"Rider {n}")
    search_name = factory.LazyAttribute(lambda row: row.name.casefold())
    email = factory.Sequence(lambda n: f"rider{n}@example.org")
    reminders_agreed = True
    agreed_at = DELIVERED
    agreed_source = "handover"


class TrikeFactory(DjangoModelFactory):
    """A trike as a bare row. `delivered_trike()` makes a whole one."""

    class Meta:
        model = models.Trike

    frame_serial = factory.Sequence(lambda n: f"F{n:06d}")
    plate = factory.Sequence(lambda n: f"LT-{n:05d}")
    model = "Fenrunner"
    state = "delivered"
    delivered_on = DELIVERED.date()


class OwnershipFactory(DjangoModelFactory):
    class Meta:
        model = models.Ownership

    trike = factory.SubFactory(TrikeFactory)
    owner = factory.SubFactory(OwnerFactory)
    since = DELIVERED.date()


class FitmentFactory(DjangoModelFactory):
    class Meta:
        model = models.Fitment

    component = factory.SubFactory(ComponentFactory, state="fitted")
    trike = factory.SubFactory(TrikeFactory)
    position = "chain"
    fitted_at = DELIVERED


class HandoverFactory(DjangoModelFactory):
    class Meta:
        model = models.Handover

    trike = factory.SubFactory(TrikeFactory)
    handed_over_on = DELIVERED.date()
    reading_km = 12.0
    rider_mass_kg = 78.0
    built_by = factory.SubFactory(UserFactory)
    built_signed_at = DELIVERED


class BuildListFactory(DjangoModelFactory):
    class Meta:
        model = models.BuildList

    model = factory.Sequence(lambda n: f"Model {n}")


class BuildListLineFactory(DjangoModelFactory):
    class Meta:
        model = models.BuildListLine

    build_list = factory.SubFactory(BuildListFactory)
    position = "chain"


class OdometerReadingFactory(DjangoModelFactory):
    class Meta:
        model = models.OdometerReading

    trike = factory.SubFactory(TrikeFactory)
    read_at = datetime(2026, 4, 1, 10, 0, tzinfo=UTC)
    value = 2000
    km = factory.LazyAttribute(lambda row: float(row.value))
    source = "desk"
    recorded_at = factory.SelfAttribute("read_at")


class ReadingPhotoFactory(DjangoModelFactory):
    """An owner's picture of the display as a bare row: there is no file."""

    class Meta:
        model = models.ReadingPhoto

    reading = factory.SubFactory(OdometerReadingFactory)
    owner = factory.SubFactory(OwnerFactory)
    name = factory.Sequence(lambda n: f"{n:031x}d.jpg")
    sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.name.encode()).hexdigest())
    width = 400
    height = 300
    size_bytes = 9_000
    added_at = NOW


class RideFileFactory(DjangoModelFactory):
    class Meta:
        model = models.RideFile

    trike = factory.SubFactory(TrikeFactory)
    sha256 = factory.Sequence(lambda n: hashlib.sha256(str(n).encode()).hexdigest())
    started_at = datetime(2026, 4, 20, 9, 0, tzinfo=UTC)
    ended_at = datetime(2026, 4, 20, 11, 0, tzinfo=UTC)
    km = 30.0
    reading = factory.SubFactory(
        OdometerReadingFactory, trike=factory.SelfAttribute("..trike"), read_at=factory.SelfAttribute("..ended_at"),
        source="ride_file", verdict="estimated",
    )  # fmt: skip
    added_at = NOW


class DisplayChangeFactory(DjangoModelFactory):
    class Meta:
        model = models.DisplayChange

    trike = factory.SubFactory(TrikeFactory)
    changed_at = datetime(2025, 12, 1, 10, 0, tzinfo=UTC)
    old_final_km = 1500.0
    recorded_at = factory.SelfAttribute("changed_at")


class MeterReadingFactory(DjangoModelFactory):
    class Meta:
        model = models.MeterReading

    component = factory.SubFactory(ComponentFactory, part_type__kind="battery")
    meter = "charge_cycles"
    value = 40.0
    read_at = datetime(2026, 4, 1, 10, 0, tzinfo=UTC)
    source = "desk"
    recorded_at = factory.SelfAttribute("read_at")


class ServiceIntervalFactory(DjangoModelFactory):
    class Meta:
        model = models.ServiceInterval

    task = "chain_check"
    part_kind = "chain"
    every_km = 1500
    every_months = 6
    early_km = 150
    source = "made up for tests"


class IntervalChangeFactory(DjangoModelFactory):
    class Meta:
        model = models.IntervalChange

    interval = factory.SubFactory(ServiceIntervalFactory, part_type=factory.SubFactory(PartTypeFactory))
    changed_at = NOW
    why = "measured"


class CompletionFactory(DjangoModelFactory):
    class Meta:
        model = models.Completion

    trike = factory.SubFactory(TrikeFactory)
    component = factory.SubFactory(ComponentFactory)
    task = "chain_check"
    done_at = datetime(2025, 11, 1, 10, 0, tzinfo=UTC)
    recorded_at = factory.SelfAttribute("done_at")


class OccurrenceFactory(DjangoModelFactory):
    class Meta:
        model = models.Occurrence

    trike = factory.SubFactory(TrikeFactory)
    kind = "crash"
    happened_at = datetime(2026, 4, 1, 10, 0, tzinfo=UTC)
    recorded_at = factory.SelfAttribute("happened_at")


class DueLineFactory(DjangoModelFactory):
    class Meta:
        model = models.DueLine

    component = factory.SubFactory(ComponentFactory)
    trike = factory.SubFactory(TrikeFactory)
    task = "chain_check"
    due_on = date(2026, 5, 10)
    early_on = date(2026, 4, 26)
    trigger = "date"
    refreshed_at = NOW


class FleetNumbersFactory(DjangoModelFactory):
    class Meta:
        model = models.FleetNumbers

    learned_at = NOW
    machines = 1
    stretches = 0
    numbers = factory.Dict({})


class SweepRunFactory(DjangoModelFactory):
    class Meta:
        model = models.SweepRun

    started_at = NOW
    finished_at = NOW


class ReviewRunFactory(DjangoModelFactory):
    class Meta:
        model = models.ReviewRun

    state = "done"
    asked_at = NOW
    started_at = NOW
    finished_at = NOW
    until = date(2026, 5, 1)


class ReviewFindingFactory(DjangoModelFactory):
    class Meta:
        model = models.ReviewFinding

    run = factory.SubFactory(ReviewRunFactory)
    part_type = factory.SubFactory(PartTypeFactory)
    metric = "km"
    rank = factory.Sequence(lambda n: n + 1)
    verdict = "No failure in 3 parts over 3,000 km: at most 10 per 10,000 km."
    action = "none"
    fingerprint = "0" * 64


class BulletinFactory(DjangoModelFactory):
    """A released bulletin as a bare row that names one part type. Real ones, with what they touch, come from the actions."""

    class Meta:
        model = models.Bulletin
        skip_postgeneration_save = True

    number = factory.Sequence(lambda n: f"B-2026-{n + 1:03d}")
    title = "Air shock leaks"
    state = "released"
    remedy = "We renew the seal, free of charge."
    written_by = factory.SubFactory(UserFactory)
    written_at = NOW
    released_by = factory.Maybe(
        factory.LazyAttribute(lambda row: row.state == "draft"), None, factory.SubFactory(UserFactory)
    )
    released_at = factory.LazyAttribute(lambda row: None if row.state == "draft" else NOW)


class BulletinPartFactory(DjangoModelFactory):
    class Meta:
        model = models.BulletinPart

    bulletin = factory.SubFactory(BulletinFactory)
    component = factory.SubFactory(ComponentFactory)
    certainty = "affected"
    joined_at = NOW
    since = NOW


class JobCardFactory(DjangoModelFactory):
    class Meta:
        model = models.JobCard

    number = factory.Sequence(lambda n: f"J26-{n:05d}")
    trike = factory.SubFactory(TrikeFactory)
    opened_at = NOW
    worked_at = NOW
    opened_by = factory.SubFactory(UserFactory)


class JobTaskFactory(DjangoModelFactory):
    class Meta:
        model = models.JobTask

    card = factory.SubFactory(JobCardFactory)
    component = factory.SubFactory(ComponentFactory)
    task = "chain_check"


class MeasurementFactory(DjangoModelFactory):
    class Meta:
        model = models.Measurement

    card = factory.SubFactory(JobCardFactory)
    component = factory.SubFactory(ComponentFactory)
    quantity = "chain_elongation_pct"
    value = 0.31
    taken_at = NOW


class SwapFactory(DjangoModelFactory):
    class Meta:
        model = models.Swap

    card = factory.SubFactory(JobCardFactory)
    position = "chain"
    new_component = factory.SubFactory(ComponentFactory)


class PhotoFactory(DjangoModelFactory):
    """A photo as a bare row: there is no file. Real ones come from the actions."""

    class Meta:
        model = models.Photo

    card = factory.SubFactory(JobCardFactory)
    name = factory.Sequence(lambda n: f"{n:032x}.jpg")
    sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.name.encode()).hexdigest())
    width = 400
    height = 300
    size_bytes = 9_000
    added_at = NOW


class FailureFactory(DjangoModelFactory):
    class Meta:
        model = models.Failure

    component = factory.SubFactory(ComponentFactory)
    trike = factory.SubFactory(TrikeFactory)
    mode = "leakage"
    happened_at = NOW


class LogEntryFactory(DjangoModelFactory):
    """A raw entry: its hash chains nothing. Real ones come from the actions."""

    class Meta:
        model = models.LogEntry

    trike = factory.SubFactory(TrikeFactory)
    seq = factory.Sequence(lambda n: n + 1)
    kind = "note"
    occurred_at = NOW
    recorded_at = NOW
    source = "desk"
    body = factory.LazyFunction(dict)
    prev_hash = ""
    hash = factory.LazyAttribute(lambda row: hashlib.sha256(str(row.seq).encode()).hexdigest())


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = models.Visit

    trike = factory.SubFactory(TrikeFactory)
    planned_on = date(2026, 5, 8)
    minutes = 45
    opened_at = NOW


class AppointmentFactory(DjangoModelFactory):
    class Meta:
        model = models.Appointment

    trike = factory.SubFactory(TrikeFactory)
    owner = factory.SubFactory(OwnerFactory)
    on = date(2026, 5, 12)
    minutes = 45
    asked_at = NOW


class ClosingFactory(DjangoModelFactory):
    class Meta:
        model = models.Closing

    first = date(2026, 12, 24)
    last = date(2026, 12, 31)
    reason = "between the years"
    entered_at = NOW


class VisitLineFactory(DjangoModelFactory):
    class Meta:
        model = models.VisitLine

    visit = factory.SubFactory(VisitFactory)
    component = factory.SubFactory(ComponentFactory)
    task = "chain_check"
    due_on = date(2026, 5, 10)


class OutboxMessageFactory(DjangoModelFactory):
    class Meta:
        model = models.OutboxMessage

    key = factory.Sequence(lambda n: f"t{n}:v{n}:due")
    kind = "reminder"
    stage = "due"
    trike = factory.SubFactory(TrikeFactory)
    owner = factory.SubFactory(OwnerFactory)
    message_id = factory.LazyFunction(lambda: f"<{uuid.uuid4()}@example.org>")
    not_before = NOW
    created_at = NOW


class ApiClientFactory(DjangoModelFactory):
    class Meta:
        model = models.ApiClient

    name = factory.Sequence(lambda n: f"client {n}")
    prefix = factory.Sequence(lambda n: f"p{n:07d}")
    key_hash = factory.LazyAttribute(lambda row: hashlib.sha256(row.prefix.encode()).hexdigest())
    scopes = factory.LazyFunction(lambda: ["read"])
    created_at = NOW


class OwnerLinkFactory(DjangoModelFactory):
    class Meta:
        model = models.OwnerLink

    token_hash = factory.Sequence(lambda n: hashlib.sha256(str(n).encode()).hexdigest())
    trike = factory.SubFactory(TrikeFactory)
    owner = factory.SubFactory(OwnerFactory)
    purpose = "page"
    created_at = NOW
    expires_at = datetime(2026, 8, 1, tzinfo=UTC)


class ImportBatchFactory(DjangoModelFactory):
    class Meta:
        model = models.ImportBatch

    kind = "odometer"
    file_name = "odometer.csv"
    content = b"Date,Trike,Reading,Unit,Source,Note\n"
    sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.content).hexdigest())
    uploaded_at = NOW


class ImportRowFactory(DjangoModelFactory):
    class Meta:
        model = models.ImportRow

    batch = factory.SubFactory(ImportBatchFactory)
    number = factory.Sequence(lambda n: n + 2)
    raw = factory.LazyFunction(dict)
    verdict = "good"


class BulletinStepFactory(DjangoModelFactory):
    class Meta:
        model = models.BulletinStep

    bulletin = factory.SubFactory(BulletinFactory)
    component = factory.SubFactory(ComponentFactory)
    after = "affected"
    at = NOW
    recorded_at = NOW


class BulletinNoticeFactory(DjangoModelFactory):
    class Meta:
        model = models.BulletinNotice

    bulletin = factory.SubFactory(BulletinFactory)
    trike = factory.SubFactory(TrikeFactory)
    owner = factory.SubFactory(OwnerFactory)
    written_at = NOW

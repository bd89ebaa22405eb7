"""Tables, constraints and one-table querysets. No rule of the trade and no reading over several tables lives here."""

from tracker.models.access import ApiClient, IdempotencyRecord, OwnerLink, User
from tracker.models.bulletins import Bulletin, BulletinNotice, BulletinPart, BulletinRange, BulletinStep, BulletinText
from tracker.models.desk import Failure, JobCard, JobTask, Measurement, Photo, ReleaseCheck, Swap
from tracker.models.fleet import (
    BuildList,
    BuildListLine,
    Component,
    Fitment,
    Handover,
    HandoverCheck,
    Owner,
    Ownership,
    PartType,
    Trike,
)
from tracker.models.imports import ImportBatch, ImportRow
from tracker.models.learning import FleetNumbers
from tracker.models.logbook import LogEntry
from tracker.models.outbox import OutboxMessage
from tracker.models.reminders import Appointment, Closing, Heartbeat, Visit, VisitLine
from tracker.models.review import ReviewFinding, ReviewRun
from tracker.models.schedule import Completion, DueLine, IntervalChange, Occurrence, ServiceInterval, SweepRun
from tracker.models.usage import DisplayChange, MeterReading, OdometerReading, ReadingPhoto, RideFile

__all__ = [
    "ApiClient", "Appointment", "BuildList", "BuildListLine", "Bulletin", "BulletinNotice", "BulletinPart",
    "BulletinRange", "BulletinStep", "BulletinText", "Closing", "Completion", "Component", "DisplayChange", "DueLine", "Failure",
    "Fitment", "FleetNumbers", "Handover", "HandoverCheck", "Heartbeat", "IdempotencyRecord", "ImportBatch", "ImportRow",
    "IntervalChange", "JobCard", "JobTask", "LogEntry", "Measurement", "MeterReading", "Occurrence", "OdometerReading",
    "OutboxMessage",
    "Owner", "OwnerLink", "Ownership", "PartType", "Photo", "ReadingPhoto", "ReleaseCheck", "ReviewFinding", "ReviewRun",
    "RideFile", "ServiceInterval", "Swap", "SweepRun", "Trike", "User", "Visit", "VisitLine",
]  # fmt: skip

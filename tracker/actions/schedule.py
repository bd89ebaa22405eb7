"""Intervals and the things that happen to a trike."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from services.identity import clean_text
from services.intervals import Rebase
from services.kinds import all_tasks
from services.parts import PART_KINDS
from tracker.actions.interval_steps import keep_change, mark_carriers, standing
from tracker.actions.refusals import FieldInvalid, Invalid, NotEnough, UnknownTask
from tracker.actions.steps import LogDraft, lock_version, refresh_due, write_logs
from tracker.actions.transactions import action
from tracker.models import Occurrence, PartType, ServiceInterval, Trike, User

NUMBERS = (
    "first_km", "first_days", "first_hours", "first_cycles", "every_km", "every_months", "every_days", "every_hours",
    "every_cycles", "early_km", "early_days",
)  # fmt: skip
EARLY = ("early_km", "early_days")  # these may be nought
WHOLE = {"first_days", "every_months", "every_days", "early_days"}
FIRST = ("first_km", "first_days", "first_hours", "first_cycles")
EVERY = ("every_km", "every_months", "every_days", "every_hours", "every_cycles")


@action
def set_interval(
    *,
    values: Mapping[str, Any],
    interval_id: int | None = None,
    version: int | None = None,
    why: str = "",
    by: User | None,
    now: datetime,
) -> ServiceInterval:
    """Add or change an interval. Trikes it touches are marked and their due lines follow with the next sweep.

    What it was and became is kept, with `why`. Raises UnknownTask, NotEnough, FieldInvalid, Invalid (no such part type),
    StaleVersion.
    """
    row = lock_version(ServiceInterval, interval_id, version) if interval_id else ServiceInterval()
    before, kind_before = standing(row), row.part_kind
    for name, value in values.items():
        setattr(row, name, clean_text(value, 200) if name == "source" else value)
    check_interval(row)
    _check_part_type(row)
    if interval_id:
        row.version += 1
    row.save()
    keep_change(row, before, why=why, by=by, now=now)
    mark_carriers({kind_before, row.part_kind})
    return row


def check_interval(row: ServiceInterval) -> None:
    """Raise what is wrong with an interval, part type aside."""
    _check_task(row)
    for name in NUMBERS:
        _check_number(name, getattr(row, name))
    if row.rebase not in {policy.value for policy in Rebase}:
        raise FieldInvalid(f"'{row.rebase}' is no re-basing policy.", field="rebase", remedy="Choose from the list.")
    if not any(getattr(row, name) for name in (EVERY + FIRST if row.once else EVERY)):
        raise NotEnough(
            "The interval does not say when.", field="first_km" if row.once else "every_km",
            remedy="Give a distance, time, hours or cycles.",
        )  # fmt: skip


def _check_task(row: ServiceInterval) -> None:
    task = next((task for task in all_tasks() if task.code == row.task), None)
    if task is None:
        raise UnknownTask(
            f"No service kind knows the task '{row.task}'.", field="task", remedy="Choose a task from the list."
        )
    if row.part_kind not in PART_KINDS:
        raise FieldInvalid(f"'{row.part_kind}' is no kind of part.", field="part_kind", remedy="Choose from the list.")
    if task.on != row.part_kind:
        raise FieldInvalid(
            f"{task.title} is done on a {PART_KINDS[task.on].title.lower()}, not on this kind of part.",
            field="part_kind", remedy=f"Use the kind '{task.on}'.",
        )  # fmt: skip


def _check_number(name: str, value: float | None) -> None:
    if value is None:
        return
    fits = value >= 0 if name in EARLY else value > 0
    if not fits or value > 1_000_000:
        least = "0 or more" if name in EARLY else "more than 0"
        raise FieldInvalid(
            f"{name} must be {least}, and 1,000,000 at most.", field=name,
            remedy="Leave it out where it does not count, or check the value.",
        )  # fmt: skip


def _check_part_type(row: ServiceInterval) -> None:
    """A part type's own interval needs that part type, of the kind the interval is for."""
    if row.part_type_id is None:
        return
    part_type = PartType.objects.filter(pk=row.part_type_id).first()
    if part_type is None:
        raise Invalid("There is no such part type.", field="part_type", remedy="Add it to the catalogue first.")
    if part_type.kind != row.part_kind:
        raise FieldInvalid(
            f"Part type {part_type.part_number} is a {PART_KINDS[part_type.kind].title.lower()}.", field="part_type",
            remedy=f"Choose a part type of the kind '{row.part_kind}'.",
        )  # fmt: skip


@action
def load_default_intervals(*, rows: Iterable[Mapping[str, str]], now: datetime) -> int:
    """Add the shipped intervals that are not there yet; never touch one that is. Returns how many were added."""
    known = set(ServiceInterval.objects.filter(part_type__isnull=True).values_list("task", "part_kind"))
    added = []
    for raw in rows:
        if (raw["task"], raw["part_kind"]) in known:
            continue
        row = ServiceInterval(task=raw["task"], part_kind=raw["part_kind"], source=raw.get("source", "")[:200])
        for name in NUMBERS:
            text = (raw.get(name) or "").strip()
            if text:
                setattr(row, name, int(text) if name in WHOLE else float(text))
        row.rebase = (raw.get("rebase") or "from_done").strip()
        row.once = (raw.get("once") or "").strip().lower() in {"1", "yes", "true"}
        check_interval(row)
        added.append(row)
    ServiceInterval.objects.bulk_create(added)
    return len(added)


@action
def report_occurrence(
    *, trike_id: int, kind: str, happened_at: datetime, note: str = "", by: User | None = None, now: datetime,
    source: str = "desk",
) -> Occurrence:  # fmt: skip
    """Record a crash, a submersion or a long lay-up: its check is due before the next ride. Raises FieldInvalid."""
    trike = lock_version(Trike, trike_id, None)
    if kind not in Occurrence.Kind.values:
        raise FieldInvalid(f"'{kind}' is not known.", field="kind", remedy="Use crash, submersion or lay_up.")
    if happened_at > now:
        raise FieldInvalid("It lies in the future.", field="happened_at", remedy="Check the date.")
    row = Occurrence.objects.create(
        trike=trike, kind=kind, happened_at=happened_at, note=clean_text(note, 400), entered_by=by, recorded_at=now
    )
    draft = LogDraft(trike.pk, "occurrence", happened_at, {"kind": kind}, None, by.pk if by else None, source)
    write_logs([draft], now)
    refresh_due([trike.pk], now)
    return row

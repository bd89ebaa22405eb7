"""Steps of changing an interval: what it was and became is kept, and the trikes it touches are marked."""

from datetime import datetime
from typing import Any

from services.identity import clean_text
from tracker.models import Fitment, IntervalChange, ServiceInterval, Trike, User

KEPT = (
    "task", "part_kind", "part_type_id", "first_km", "first_days", "first_hours", "first_cycles", "every_km",
    "every_months", "every_days", "every_hours", "every_cycles", "early_km", "early_days", "rebase", "once", "source",
)  # fmt: skip
ALWAYS = ("task", "part_kind", "part_type_id")  # in `after` whether they changed or not


def standing(row: ServiceInterval) -> dict[str, Any]:
    """Return the values of an interval as they stand; nothing for one not saved yet."""
    return {name: getattr(row, name) for name in KEPT} if row.pk else {}


def keep_change(
    row: ServiceInterval, before: dict[str, Any], *, why: str, by: User | None, now: datetime,
    ground: dict[str, Any] | None = None,
) -> IntervalChange | None:  # fmt: skip
    """Append what changed, values `before` against the saved row; None where nothing did."""
    after = standing(row)
    changed = [name for name in KEPT if before.get(name) != after[name]]
    if before and not changed:
        return None
    return IntervalChange.objects.create(
        interval=row, changed_at=now, changed_by=by, why=clean_text(why, 400),
        before={name: before[name] for name in changed if before},
        after={name: after[name] for name in KEPT if name in changed or name in ALWAYS},
        ground=ground or {},
    )  # fmt: skip


def mark_carriers(part_kinds: set[str]) -> None:
    """Mark the trikes that carry parts of these kinds: their due lines follow with the next sweep."""
    carriers = Fitment.objects.current().filter(component__part_type__kind__in=part_kinds).values("trike_id")
    Trike.objects.filter(pk__in=carriers).update(due_dirty=True)

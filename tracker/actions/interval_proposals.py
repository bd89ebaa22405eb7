"""A proposal of the failure review accepted: parts of one type are renewed at an age from now on."""

import math
from datetime import datetime
from typing import Any

from services.interval_proposal import Standing, check_accepted
from services.kinds.renewal import is_safety_critical, renewal_of
from services.review.found import METRICS
from tracker.actions.interval_steps import keep_change, mark_carriers, standing
from tracker.actions.refusals import FieldInvalid, Invalid, StaleVersion
from tracker.actions.schedule import check_interval
from tracker.actions.transactions import action
from tracker.models import PartType, ServiceInterval, User
from tracker.queries.clock import local_date

FIRST = {"km": "first_km", "days": "first_days", "hours": "first_hours", "cycles": "first_cycles"}
EARLY_SHARE, EARLY_DAYS = 0.05, 30  # may be done a little sooner (common practice, no source)


@action
def accept_interval(
    *, part_type_id: int, metric: str, interval: float, why: str, version: int = 0, makers_limit: float | None = None,
    ground: dict[str, Any] | None = None, by: User | None, now: datetime,
) -> ServiceInterval:  # fmt: skip
    """Set the age at which pieces of a part type are renewed, for this part type alone; due lines follow with the sweep.

    version: of the renewal interval that was looked at, 0: there was none. makers_limit: the maker's own, in the metric's
    unit. Raises Invalid (no such part type, no renewal for its kind), FieldInvalid, StaleVersion, Lengthens.
    """
    part_type = PartType.objects.select_for_update(of=("self",)).filter(pk=part_type_id).first()
    if part_type is None or not renewal_of(part_type.kind):
        raise Invalid("There is no such part type to renew by age.", field="part_type", remedy="Look it up again.")
    _check(metric, interval, why)
    row = _locked(part_type, version)
    before, field = standing(row), FIRST[metric]
    held = Standing(getattr(row, field), makers_limit, is_safety_critical(part_type.kind))
    check_accepted(interval, held, METRICS[metric])
    setattr(row, field, round(interval) if metric == "days" else float(interval))
    if metric == "km":
        row.early_km = round(EARLY_SHARE * interval)
    row.early_days, row.once, row.source = EARLY_DAYS, True, f"failure review, {local_date(now).isoformat()}"
    check_interval(row)
    if row.pk:
        row.version += 1
    row.save()
    facts = {"metric": metric, "makers_limit": makers_limit} | (ground or {})
    keep_change(row, before, why=why, by=by, now=now, ground=facts)
    mark_carriers({part_type.kind})
    return row


def _check(metric: str, interval: float, why: str) -> None:
    if metric not in FIRST:
        raise FieldInvalid("That is no measure of age.", field="metric", remedy=f"Use {', '.join(FIRST)}.")
    if not (math.isfinite(interval) and interval >= 1):
        raise FieldInvalid("A part is renewed at an age of 1 or more.", field="interval", remedy="Check the value.")
    if not why.strip():
        raise FieldInvalid(
            "Whoever looks at this interval later wants to know why.", field="why", remedy="Say it in a sentence."
        )


def _locked(part_type: PartType, version: int) -> ServiceInterval:
    task = renewal_of(part_type.kind)
    row = ServiceInterval.objects.select_for_update(of=("self",)).filter(task=task, part_type=part_type).first()
    if (row.version if row else 0) != version:
        raise StaleVersion(
            "Somebody else changed this interval in the meantime.", field="version",
            remedy="Look at what changed, then send yours again.",
        )  # fmt: skip
    return row or ServiceInterval(task=task, part_kind=part_type.kind, part_type=part_type)

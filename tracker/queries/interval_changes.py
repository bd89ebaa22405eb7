"""Intervals that concern a part type, and what they were and became."""

from django.db.models import Q, QuerySet

from services.kinds.renewal import renewal_of
from tracker.models import IntervalChange, PartType, ServiceInterval


def renewal_interval(part_type: PartType) -> ServiceInterval | None:
    """Return the interval at which pieces of a part type are renewed by age; None where there is none of its own."""
    return ServiceInterval.objects.filter(task=renewal_of(part_type.kind), part_type=part_type).first()


def changes_of(part_type: PartType) -> QuerySet[IntervalChange]:
    """Return the changes of intervals that hold for pieces of a part type, newest first: its own, and those of its kind."""
    own = Q(interval__part_type=part_type)
    of_kind = Q(interval__part_type=None, interval__part_kind=part_type.kind)
    return IntervalChange.objects.filter(own | of_kind).select_related("interval", "changed_by")


def changes_of_interval(interval: ServiceInterval) -> QuerySet[IntervalChange]:
    """Return what an interval was and became, newest first."""
    return interval.changes.select_related("interval", "changed_by")

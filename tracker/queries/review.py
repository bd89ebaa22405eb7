"""Reads of the stored failure review: the overview in the order of evidence, one part type, and how the newest run stands.

Pages and API read these and never fit anything; what is in a payload is named in services/review/found.py.
"""

from dataclasses import dataclass

from django.db.models import QuerySet

from tracker.models import ReviewFinding, ReviewRun

State = ReviewRun.State


@dataclass(frozen=True)
class ReviewStand:
    """The newest finished review (None: never reckoned) and the one that waits or runs (None: none)."""

    done: ReviewRun | None
    coming: ReviewRun | None


def review_stand() -> ReviewStand:
    """Return how the review stands. Two queries."""
    done = ReviewRun.objects.filter(state=State.DONE).order_by("-finished_at", "-pk").select_related("asked_by").first()
    coming = (
        ReviewRun.objects.filter(state__in=[State.ASKED, State.RUNNING])
        .order_by("-asked_at", "-pk")
        .select_related("asked_by")
        .first()
    )
    return ReviewStand(done, coming)


def all_findings() -> QuerySet[ReviewFinding]:
    """Return everything stored, in every metric, with part types and runs."""
    return ReviewFinding.objects.select_related("part_type", "run").order_by("rank", "pk")


def findings(metric: str = "", kind: str = "", only_to_do: bool = False) -> QuerySet[ReviewFinding]:
    """Return the findings in the order of evidence with their part types: each in its main metric, or all in one metric."""
    rows = all_findings()
    rows = rows.filter(metric=metric) if metric else rows.filter(is_main=True)
    rows = rows.filter(part_type__kind=kind) if kind else rows
    return rows.exclude(action="none") if only_to_do else rows


def finding_of(part_type_id: int, metric: str = "") -> ReviewFinding | None:
    """Return what was found of a part type, in its main metric or in the one asked for; None where nothing is stored."""
    rows = all_findings().filter(part_type_id=part_type_id)
    return rows.filter(metric=metric).first() if metric else rows.filter(is_main=True).first()


def metrics_of(part_type_id: int) -> list[str]:
    """Return the metrics in which a part type was reckoned, its main one first."""
    rows = ReviewFinding.objects.filter(part_type_id=part_type_id).order_by("-is_main", "metric")
    return list(rows.values_list("metric", flat=True))

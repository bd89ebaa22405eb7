"""One part type of the failure review: what is kept of it, its cases one by one, its pieces in the field. Nothing is fitted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import Count, Min, QuerySet

from services.life import Life
from services.review.apart import is_proven
from services.review.found import (
    WITHOUT,
    AheadFound,
    Comparison,
    Counts,
    EarlyWarning,
    Finding,
    LifeFound,
    Machines,
    Month,
    Rate,
    Reason,
    Repairs,
    Survival,
    View,
)  # fmt: skip
from services.review.judge import SURE
from tracker.models import Bulletin, Component, Failure, PartType, ReviewFinding, Trike
from tracker.queries.clock import day_of
from tracker.queries.life import runs_of
from tracker.queries.review import ReviewStand, finding_of, metrics_of, review_stand
from tracker.queries.review_overview import since_of

MOST_MACHINES = 6  # trikes with more than one failure that are named


@dataclass(frozen=True)
class PartReview:
    """A part type with its finding in the metric asked for, and the view of it: everything, one mode or one batch."""

    part_type: PartType
    row: ReviewFinding
    metrics: list[str]
    finding: Finding
    view: View | None
    stand: ReviewStand

    @property
    def metric(self) -> str:
        """The unit of its ages."""
        return self.row.metric

    @cached_property
    def study(self) -> dict[str, Any]:
        """What it shows by itself, as kept."""
        return self.row.payload["study"]

    @property
    def counts(self) -> Counts:
        """How many pieces, failures and how much exposure; of the view."""
        return self.view.counts if self.view else Counts(**self.study["counts"])

    @property
    def rate(self) -> Rate:
        """The rate with its limits; of the view."""
        return self.view.rate if self.view else Rate(**self.study["rate"])

    @cached_property
    def life(self) -> LifeFound:
        """The fitted life as far as the failures carry it; of the view."""
        return self.view.life if self.view else LifeFound(**self.study["life"])

    @cached_property
    def survival(self) -> Survival:
        """The share still good; of the view."""
        return self.view.survival if self.view else Survival(**self.study["survival"])

    @cached_property
    def repairs(self) -> Repairs:
        """Repairs of the position, of everything."""
        return Repairs(**self.study["repairs"])

    @cached_property
    def comparisons(self) -> list[Comparison]:
        """Groups against the rest, the strongest evidence first."""
        return sorted((Comparison(**made) for made in self.study["comparisons"]), key=lambda made: (made.p, made.group))

    @cached_property
    def months(self) -> list[Month]:
        """The last months, oldest first."""
        return [Month(**month) for month in self.study["months"]]

    @property
    def warning(self) -> EarlyWarning | None:
        """The last full month beside what was expected."""
        return EarlyWarning(**self.study["warning"]) if self.study["warning"] else None

    @property
    def ahead(self) -> AheadFound | None:
        """The next 12 months."""
        return AheadFound(**self.study["ahead"]) if self.study["ahead"] else None

    @property
    def machines(self) -> Machines:
        """How the failures lie on trikes."""
        return Machines(**self.study["machines"])

    @cached_property
    def modes(self) -> list[View]:
        """The ways of failing told apart."""
        return [_view(kept) for kept in self.study["views"] if kept["key"].startswith("mode:")]

    @property
    def proven(self) -> list[Comparison]:
        """The groups that are told apart from the rest because they are proven worse."""
        return [made for made in self.comparisons if is_proven(made, SURE)]

    def suspect(self, kind: str) -> str:
        """The group (kind: batch, firmware) that the strongest reason to do something names; '' where none does."""
        return next((reason.group for reason in self.finding.reasons if reason.kind == kind), "")

    def batch_view(self, batch: str) -> View | None:
        """A batch by itself, where it is told apart and has a curve."""
        kept = next((kept for kept in self.study["views"] if kept["key"] == f"batch:{batch}"), None)
        return _view(kept) if kept and kept["survival"]["age"] else None

    @property
    def choices(self) -> dict[str, list[tuple[str, str]]]:
        """What may be looked at by itself: (key, words) by mode and by batch."""
        keys = [(kept["key"], kept["title"]) for kept in self.study["views"]]
        return {
            "The rest": [pair for pair in keys if pair[0] == WITHOUT],
            "Mode": [pair for pair in keys if pair[0].startswith("mode:")],
            "Batch": [pair for pair in keys if pair[0].startswith("batch:")],
        }


def _view(kept: dict[str, Any]) -> View:
    title = f"batch {kept['title']}" if kept["key"].startswith("batch:") else kept["title"]
    return View(
        kept["key"], title, Counts(**kept["counts"]), Rate(**kept["rate"]), LifeFound(**kept["life"]),
        Survival(**kept["survival"]),
    )  # fmt: skip


def part_review(part_type_id: int, *, metric: str = "", view: str = "") -> PartReview | None:
    """Return a part type's review; None where it is not in the review. An unknown metric or view is the main one, the whole."""
    metrics = metrics_of(part_type_id)
    row = finding_of(part_type_id, metric if metric in metrics else "")
    if row is None:
        return None
    kept = row.payload["finding"]
    finding = Finding(**{**kept, "reasons": [Reason(**reason) for reason in kept["reasons"]]})
    chosen = next((_view(one) for one in row.payload["study"]["views"] if one["key"] == view), None)
    return PartReview(row.part_type, row, metrics, finding, chosen, review_stand())


# Cases


def cases(
    part_type_id: int, now: datetime, *, view: str = "", period: str = "", proven: Sequence[Comparison] = ()
) -> QuerySet[Failure]:
    """Return the failures of a part type, newest first, with their cards; those of a view, since a period began.

    proven: the groups that the view of the rest leaves out.
    """
    rows = Failure.objects.filter(component__part_type_id=part_type_id).select_related("component", "trike", "card")
    asked, _, value = view.partition(":")
    if asked == "mode":
        rows = rows.filter(mode=value)
    elif asked == "batch":
        rows = rows.filter(component__batch=value)
    elif asked == WITHOUT:
        for made in proven:
            rows = rows.exclude(**{f"component__{made.dimension}": made.group})
    since = since_of(now, period)
    return (rows.filter(happened_at__gte=since) if since else rows).order_by("-happened_at", "-pk")


def repeated(part_type_id: int) -> list[tuple[Trike, int, int]]:
    """Return (trike, failures, pieces that failed) where more than one failure lies on a trike, the most first."""
    counted = (
        Failure.objects.filter(component__part_type_id=part_type_id)
        .values("trike_id")
        .annotate(failures=Count("pk"), pieces=Count("component", distinct=True))
        .filter(failures__gt=1)
        .order_by("-failures", "trike_id")[:MOST_MACHINES]
    )
    told = {row["trike_id"]: (row["failures"], row["pieces"]) for row in counted}
    trikes = Trike.objects.in_bulk(list(told))
    return [(trikes[pk], *pair) for pk, pair in told.items()]


def bulletins_about(part_type_id: int) -> list[Bulletin]:
    """Return the bulletins that name a part type and were not withdrawn, newest first."""
    rows = Bulletin.objects.filter(part_types=part_type_id).exclude(state=Bulletin.State.WITHDRAWN)
    return list(rows.order_by("-written_at", "-pk"))


# Pieces in the field


@dataclass(frozen=True)
class Piece:
    """A piece in the field: where, since when it is in use, what it ran."""

    component: Component
    trike: Trike
    since: datetime
    life: Life


def in_field(part_type_id: int, *, batch: str = "") -> QuerySet[Component]:
    """Return the pieces of a part type that sit on a trike, longest in use first; of one batch."""
    rows = Component.objects.filter(part_type_id=part_type_id, state=Component.State.FITTED)
    rows = rows.filter(batch=batch) if batch else rows
    return rows.annotate(since=Min("fitments__fitted_at")).order_by("since", "pk")


@dataclass(frozen=True)
class Shown:
    """Some cases with the life of each piece when it failed, and some pieces in the field."""

    cases: list[tuple[Failure, Life]]
    pieces: list[Piece]


def with_lives(cases: list[Failure], components: list[Component], now: datetime) -> Shown:
    """Return these cases and pieces with what they had run, in a fixed number of queries for both."""
    lines = runs_of({row.component_id for row in cases} | {row.pk for row in components})
    told = [(row, lines[row.component_id].life_at(day_of(row.happened_at))) for row in cases]
    here = {row.pk: lines[row.pk].fitments[-1].trike_id for row in components if lines[row.pk].fitments}
    trikes = Trike.objects.in_bulk(set(here.values()))
    today = day_of(now)
    return Shown(told, [
        Piece(row, trikes[here[row.pk]], lines[row.pk].fitments[0].fitted_at, lines[row.pk].life_at(today))
        for row in components
        if row.pk in here
    ])  # fmt: skip

"""The overview of the failure review: every part type with its verdict, the strongest evidence first. Reads what is kept."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.db.models import Count
from django.db.models.fields.json import KeyTransform

from services.life_data.trend import BETTER, WORSE
from services.parts import PART_KINDS
from services.review.found import NONE, Counts, EarlyWarning, Rate
from tracker.models import Failure, ReviewRun
from tracker.queries.clock import local_date, noon
from tracker.queries.review import ReviewStand, findings, review_stand

PERIODS = {
    "": "any time",
    "365": "the last 12 months",
    "92": "the last 3 months",
    "month": "this month, not yet complete",
}
_COLUMNS = ("counts", "rate", "warning", "life__pattern", "life__mixed", "repairs__trend", "repairs__repairs")


@dataclass(frozen=True)
class Row:
    """One part type in one metric, as a row: what was found, and how many failed in the period asked for (None: not asked)."""

    part_type_id: int
    name: str
    part_number: str
    kind: str
    metric: str
    rank: int
    action: str
    verdict: str
    do: str
    q: float | None
    flagged_since: date | None
    counts: Counts
    rate: Rate
    warning: EarlyWarning | None
    pattern: str
    is_mixed: bool
    trend: str
    in_period: int | None

    @property
    def is_to_do(self) -> bool:
        """Whether anything is asked for."""
        return self.action != NONE

    @property
    def kind_title(self) -> str:
        """The kind in words."""
        return PART_KINDS[self.kind].title if self.kind in PART_KINDS else self.kind

    @property
    def moves(self) -> bool:
        """Whether a trend may be told."""
        return self.trend in {BETTER, WORSE}


@dataclass(frozen=True)
class Overview:
    """The rows in the order of evidence; how the review stands; whether the newest one failed."""

    rows: list[Row]
    stand: ReviewStand
    has_failed: bool

    @cached_property
    def to_do(self) -> list[Row]:
        """Rows that ask for something."""
        return [row for row in self.rows if row.is_to_do]

    @cached_property
    def quiet(self) -> list[Row]:
        """Rows that ask for nothing."""
        return [row for row in self.rows if not row.is_to_do]


def overview(now: datetime, *, kind: str = "", metric: str = "", period: str = "") -> Overview:
    """Return the review, narrowed to a kind and to what failed in a period; `metric`: told in this one, '' the main one."""
    recent = _failed_since(now, period) if period else None
    kept = (
        findings(metric, kind)
        .select_related(None)
        .annotate(
            **{f"told_{name}": _kept("study", *name.split("__")) for name in _COLUMNS}, told_do=_kept("finding", "do")
        )
    )
    rows = [_row(values, recent) for values in kept.values(
        "part_type_id", "part_type__name", "part_type__part_number", "part_type__kind", "metric", "rank", "action", "verdict",
        "q", "flagged_since", "told_do", *(f"told_{name}" for name in _COLUMNS),
    )]  # fmt: skip
    newest = ReviewRun.objects.only("state").first()
    failed = newest is not None and newest.state == ReviewRun.State.FAILED
    return Overview([row for row in rows if recent is None or row.in_period], review_stand(), failed)


def _kept(*names: str) -> KeyTransform:
    """A value of the payload by itself: curves and views stay in the database."""
    found: Any = "payload"
    for name in names:
        found = KeyTransform(name, found)
    return found


def _row(values: dict[str, Any], recent: dict[int, int] | None) -> Row:
    warning = values["told_warning"]
    return Row(
        values["part_type_id"], values["part_type__name"], values["part_type__part_number"], values["part_type__kind"],
        values["metric"], values["rank"], values["action"], values["verdict"], values["told_do"] or "", values["q"],
        values["flagged_since"], Counts(**values["told_counts"]), Rate(**values["told_rate"]),
        EarlyWarning(**warning) if warning else None, values["told_life__pattern"],
        bool(values["told_life__mixed"]), values["told_repairs__trend"] or "",
        recent.get(values["part_type_id"], 0) if recent is not None else None,
    )  # fmt: skip


def since_of(now: datetime, period: str) -> datetime | None:
    """Return when a period begins; None for any time."""
    today = local_date(now)
    if period == "month":
        return noon(today.replace(day=1)) - timedelta(hours=12)
    return noon(today) - timedelta(days=int(period)) if period in PERIODS and period else None


def _failed_since(now: datetime, period: str) -> dict[int, int]:
    """Failures by part type since then."""
    rows = Failure.objects.filter(happened_at__gte=since_of(now, period)).order_by()
    return dict(rows.values_list("component__part_type").annotate(Count("pk")))

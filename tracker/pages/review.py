"""The failure review: which part keeps failing, in which batch, at what age, and what to do. Pages read what was reckoned."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from services.life_data.ladder import say_number
from services.life_data.weibull_words import FEWEST
from services.parts import PART_KINDS
from services.review.found import ACTIONS, METRICS
from services.review.judge import SURE
from services.review.shown import per, say_range, say_rate
from tracker.actions.review import ask_for_review
from tracker.models import PartType
from tracker.models.fleet import part_kinds
from tracker.pages.paging import asked, paged
from tracker.pages.review_charts import range_bar
from tracker.pages.review_shown import charts_of, group_tables, statistics_of
from tracker.pages.roles import ALL, RULERS, page
from tracker.queries import review_part as part_queries
from tracker.queries.review_overview import PERIODS, Row, overview
from tracker.queries.review_part import PartReview

SHAPES = {"none": "plain", "watch": "watch", "inspect": "due", "replace": "replace", "stop-fitting": "stop"}
PATTERNS = {
    "early": "early failures", "chance": "by chance", "wear-out": "wear-out", "cannot-tell": "cannot tell yet",
    "too-few": "too few to tell",
}  # fmt: skip
MIXED = "differs by group"
PER_LIST = 20  # pieces
PER_CASES = 10


@page(see=ALL, do=RULERS)
def review(request: HttpRequest) -> HttpResponse:
    """All part types by evidence."""
    chosen = {
        "kind": asked(request, "kind", set(PART_KINDS)), "metric": asked(request, "metric", set(METRICS)),
        "period": asked(request, "period", set(PERIODS)),
    }  # fmt: skip
    found = overview(timezone.now(), **chosen)
    only = asked(request, "only", {"to-do"})
    context = {
        "found": found, "chosen": chosen | {"only": only}, "kinds": part_kinds(), "metrics": METRICS, "periods": PERIODS,
        "to_do": [_shown(row) for row in found.to_do], "quiet": [] if only else [_shown(row) for row in found.quiet],
        "is_narrowed": any(chosen.values()),
    }  # fmt: skip
    return render(request, "desk/review.html", context)


def _shown(row: Row) -> dict[str, Any]:
    unit = METRICS[row.metric]
    rate = say_rate(row.rate.rate, row.metric) if row.counts.failed else "none"
    told = f"{rate} per {per(row.metric):,} {unit}, {say_range(row.rate, row.metric)}"
    return {
        "row": row, "unit": unit, "shape": SHAPES[row.action], "action": ACTIONS[row.action],
        "pattern": MIXED if row.is_mixed else PATTERNS.get(row.pattern, row.pattern),
        "rate": rate, "reach": say_range(row.rate, row.metric),
        "per": f"{per(row.metric):,} {unit}", **_beside(row, told),
        "exposure": say_number(row.counts.exposure) if row.counts.exposure else "0",
    }  # fmt: skip


def _beside(row: Row, told: str) -> dict[str, Any]:
    """The rate beside that of its kind; nothing where no part of its kind failed, or it has no sister."""
    usual = row.rate.usual
    if not usual or not row.counts.exposure:
        return {}
    told = f"{told}; usual for its kind {say_rate(usual, row.metric)}"
    bar = range_bar(row.rate.rate / usual, (row.rate.low or 0.0) / usual, row.rate.high / usual, told)
    return {"bar": bar, "usual": say_rate(usual, row.metric)}


@page(see=ALL, do=RULERS)
def part(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """One part type: verdict, what to do, curves, groups, cases, pieces in the field."""
    now, period, view = timezone.now(), asked(request, "period", set(PERIODS)), asked(request, "view")
    found = part_queries.part_review(part_type_id, metric=asked(request, "metric", set(METRICS)), view=view)
    if found is None:
        return render(request, "desk/review_none.html", {"row": get_object_or_404(PartType, pk=part_type_id)})
    view = found.view.key if found.view else ""
    batch = view.removeprefix("batch:") if view.startswith("batch:") else found.suspect("batch")
    cases = paged(
        request, part_queries.cases(part_type_id, now, view=view, period=period, proven=found.proven), PER_CASES
    )
    field = part_queries.in_field(part_type_id, batch=batch)
    shown = part_queries.with_lives(list(cases), list(field[:PER_LIST]), now)
    context = {
        "chosen": {"metric": found.metric, "view": view, "period": period, "batch": batch},
        "metrics": [(code, METRICS[code]) for code in found.metrics], "periods": PERIODS,
        "period_words": PERIODS[period] if period else "",
        "page": cases, "cases": shown.cases, "pieces": shown.pieces, "in_field": field.count(),
        "repeated": part_queries.repeated(part_type_id), "bulletins": part_queries.bulletins_about(part_type_id),
    }  # fmt: skip
    return render(request, "desk/review_part.html", context | _found(found))


def _found(found: PartReview) -> dict[str, Any]:
    """What was found, in words and pictures."""
    return {
        "found": found, "unit": METRICS[found.metric], "shape": SHAPES[found.finding.action],
        "action": ACTIONS[found.finding.action], "fewest": FEWEST, "sure": SURE, "bulletin_link": _bulletin_link(found),
        "charts": charts_of(found), "groups": group_tables(found), "statistics": statistics_of(found),
    }  # fmt: skip


def _bulletin_link(found: PartReview) -> str:
    """Where a bulletin about what was found is written, with what is known filled in."""
    known = {"part_type": str(found.part_type.pk)}
    known |= {kind: group for kind in ("batch", "firmware") if (group := found.suspect(kind))}
    return f"{reverse('new-bulletin')}?{urlencode(known)}"


@page(see=ALL, do=RULERS)
@require_POST
def reckon(request: HttpRequest) -> HttpResponse:
    """Ask for a review now: a worker reckons it, the page does not wait."""
    ask_for_review(now=timezone.now(), by=request.user)
    messages.success(request, "Asked for. A worker reckons it in the background: look again in a minute.")
    return redirect("review")

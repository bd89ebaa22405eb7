"""From a part type's finding to an interval: what is proposed and why, with the shop's own costs, and the button that sets it."""

from dataclasses import asdict
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.due_words import say_date
from services.errors import Refusal
from services.interval_proposal import BadCosts, Costs, IntervalProposal, Standing, propose
from services.kinds.renewal import is_safety_critical, renewal_of
from services.review.found import METRICS
from services.review.shown import costs_of
from services.units import say_share
from tracker.actions.interval_proposals import FIRST, accept_interval
from tracker.models import PartType, ServiceInterval
from tracker.pages import fields
from tracker.pages.answers import carry_out, refuse, status_for
from tracker.pages.charts import Chart
from tracker.pages.interval_words import change_words
from tracker.pages.paging import asked
from tracker.pages.review_charts import cost_chart
from tracker.pages.roles import RULERS, page
from tracker.queries.interval_changes import changes_of, renewal_interval
from tracker.queries.review_part import PartReview, part_review

SHOWN = 12  # past changes


class GroundForm(fields.Form):
    """What the proposal is reckoned with."""

    planned = fields.number("A planned change costs", help_text="Parts, bench and trip, in any one currency.")
    failure = fields.number("A failure costs", help_text="The same and what it brings: rescue, warranty, trust.")
    maker = fields.number("The maker’s own limit", required=False, help_text="As its manual says. Empty: none known.")


class AcceptForm(fields.Form):
    """The interval to set, and why."""

    interval = fields.number("Renew at")
    why = fields.words("Why", 400, required=True, rows=3)
    version = fields.version()


@page(see=RULERS, do=RULERS)
def proposal(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """What to propose; sent, the interval is set for this part type alone."""
    part_type = get_object_or_404(PartType, pk=part_type_id)
    found = part_review(part_type.pk, metric=asked(request, "metric", set(METRICS)))
    if found is None or not renewal_of(part_type.kind):
        return render(request, "desk/review_none.html", {"row": part_type})
    ground = _ground(request)
    row, costs, maker = renewal_interval(part_type), _costs(ground), ground.cleaned_data.get("maker")
    standing = _standing(row, found.metric, maker, part_type)
    told = _proposed(ground, found, costs, standing)
    form = _accept_form(request, found, told, row, standing)
    if form.is_bound and form.is_valid() and ground.is_valid():
        done = carry_out(
            form, accept_interval, part_type_id=part_type.pk, metric=found.metric, makers_limit=maker, by=request.user,
            now=timezone.now(), ground=_kept_ground(found, costs, told), **form.cleaned_data,
        )  # fmt: skip
        if done is not None:
            messages.success(request, "The interval is set. The due list follows with the next sweep.")
            return redirect("interval-proposal", part_type.pk)
    context = {
        "row": part_type, "found": found, "unit": METRICS[found.metric], "ground": ground, "form": form, "told": told,
        "standing": standing, "metrics": [(code, METRICS[code]) for code in found.metrics],
        "chart": _chart(found, costs), "changes": [change_words(kept) for kept in changes_of(part_type)[:SHOWN]],
    }  # fmt: skip
    return render(request, "desk/interval_proposal.html", context, status=status_for(form))


def _ground(request: HttpRequest) -> GroundForm:
    """The costs and the maker's limit, from the address: they may be looked at without setting anything."""
    standard = {name: f"{cost:g}" for name, cost in asdict(Costs()).items()}
    sent = {name: request.GET.get(name, standard.get(name, "")) for name in ("planned", "failure", "maker")}
    form = GroundForm(sent, auto_id="ground_%s")
    form.is_valid()
    return form


def _costs(ground: GroundForm) -> Costs:
    standard = Costs()
    return Costs(
        ground.cleaned_data.get("planned", standard.planned), ground.cleaned_data.get("failure", standard.failure)
    )


def _standing(row: ServiceInterval | None, metric: str, maker: float | None, part_type: PartType) -> Standing:
    now = getattr(row, FIRST[metric]) if row else None
    return Standing(now, maker, is_safety_critical(part_type.kind))


def _proposed(ground: GroundForm, found: PartReview, costs: Costs, standing: Standing) -> IntervalProposal | None:
    """The proposal, None where the costs are refused: that stands beside their fields."""
    if ground.errors:
        return None
    try:
        return propose(found.life, found.metric, costs, standing, found.counts.oldest)
    except BadCosts as refusal:
        refuse(ground, refusal)
        return None


def _accept_form(
    request: HttpRequest,
    found: PartReview,
    told: IntervalProposal | None,
    row: ServiceInterval | None,
    standing: Standing,
) -> AcceptForm:
    """The interval to set: as proposed, else the one in use."""
    interval = (told.interval if told else None) or standing.now
    initial = {"interval": interval, "why": _why(found, told), "version": row.version if row else 0}
    return AcceptForm(fields.sent(request), initial=initial)


def _why(found: PartReview, told: IntervalProposal | None) -> str:
    """What to begin the reason with; nothing where nothing is proposed."""
    if told is None or told.interval is None or told.best is None:
        return ""
    until = f" until {say_date(found.stand.done.until)}" if found.stand.done else ""
    return (
        f"Failure review{until}: {found.counts.failed} of {found.counts.parts} failed, they wear out; renewing at"
        f" {told.interval:,.0f} {METRICS[found.metric]} saves about {say_share(told.best.saving)}."
    )


def _kept_ground(found: PartReview, costs: Costs, told: IntervalProposal | None) -> dict[str, Any]:
    """What the change rests on, kept with it."""
    life = found.life
    return {
        "planned": costs.planned, "failure": costs.failure, "shape": life.shape, "shape_low": life.shape_low,
        "life": life.life, "failed": found.counts.failed, "parts": found.counts.parts,
        "proposed": told.interval if told else None, "until": found.stand.done.until.isoformat() if found.stand.done else None,
    }  # fmt: skip


def _chart(found: PartReview, costs: Costs) -> Chart | None:
    try:
        shown = costs_of(found.life, costs.planned, costs.failure)
    except Refusal:
        return None
    return cost_chart(shown.points, shown.best, shown.flat, shown.saving, METRICS[found.metric]) if shown else None

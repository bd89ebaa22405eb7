"""Did it help: one part type before and after a change of interval, design or firmware, or a bulletin."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from services.before_after import HELPED, TOO_FEW, WORSE, Side
from services.life_data.ladder import say_number
from services.review.found import METRICS
from services.review.metrics import main_metric
from services.review.shown import per, say_rate
from tracker.models import PartType
from tracker.pages import fields
from tracker.pages.interval_words import change_words
from tracker.pages.paging import asked
from tracker.pages.roles import ALL, RULERS, page
from tracker.queries import before_after as query
from tracker.queries.clock import local_date
from tracker.queries.interval_changes import changes_of
from tracker.queries.review import metrics_of

SHAPES = {HELPED: "good", WORSE: "stop", TOO_FEW: "plain"}
HEADLINES = {HELPED: "It helped", WORSE: "It became worse", TOO_FEW: "Too few to tell"}
SHOWN = 12  # past changes


class ChangeForm(fields.Form):
    """What changed, and from which day."""

    what = fields.choice("What changed", [])
    on = fields.day("From which day", required=False, help_text="Needed for the first two; the others have their own.")

    def __init__(self, part_type: PartType, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = _choices(part_type)

    def clean(self) -> dict[str, Any]:
        """Refuse what says a day matters and names none."""
        told = self.cleaned_data
        if told.get("what") in {query.DAY, query.MADE} and not told.get("on") and "on" not in self.errors:
            raise forms.ValidationError({"on": "Name the day from which the change holds."})
        return told

    def asked(self) -> query.Asked:
        """Return what is asked for."""
        kind, _, value = self.cleaned_data["what"].partition(":")
        return query.Asked(kind, value, self.cleaned_data["on"])


def _choices(part_type: PartType) -> list[Any]:
    own = [
        (query.DAY, "Something for every piece, from a day on"),
        (query.MADE, "The design: pieces made from a day on"),
    ]
    firmware = [(f"{query.FIRMWARE}:{code}", code) for code in query.firmwares_of(part_type)]
    sisters = [(f"{query.SISTER}:{row.pk}", str(row)) for row in query.sisters_of(part_type)]
    bulletins = [(f"{query.BULLETIN}:{row.pk}", f"{row.number} {row.title}") for row in query.bulletins_of(part_type)]
    groups = [("Firmware, against other versions", firmware), ("Another part type in its place", sisters),
              ("A bulletin, piece by piece as it was done", bulletins)]  # fmt: skip
    return [*own, *((title, rows) for title, rows in groups if rows)]


@page(see=ALL, do=RULERS)
def before_after(request: HttpRequest, part_type_id: int) -> HttpResponse:
    """The comparison that the address asks for."""
    part_type, now = get_object_or_404(PartType, pk=part_type_id), timezone.now()
    metrics = metrics_of(part_type.pk) or [main_metric(part_type.kind)]
    metric = asked(request, "metric", set(metrics)) or metrics[0]
    form = ChangeForm(part_type, request.GET if "what" in request.GET else None, initial={"what": query.DAY})
    told = None
    if form.is_bound and form.is_valid():
        told = query.before_after(part_type, metric, form.asked(), now)
    context = {
        "row": part_type, "form": form, "metric": metric, "metrics": [(code, METRICS[code]) for code in metrics],
        "unit": METRICS[metric], "asked": form.is_bound and form.is_valid(), "told": told, "per": f"{per(metric):,}",
        "sides": [_side(side, metric) for side in (told.found.before, told.found.after)] if told else [],
        "shape": SHAPES.get(told.found.word, "watch") if told else "",
        "headline": HEADLINES.get(told.found.word, "No difference can be told") if told else "",
        "changes": [(change_words(kept), local_date(kept.changed_at)) for kept in changes_of(part_type)[:SHOWN]],
    }  # fmt: skip
    return render(request, "desk/before_after.html", context, status=422 if form.is_bound and form.errors else 200)


def _side(side: Side, metric: str) -> dict[str, Any]:
    """One side in the words of the table."""
    low = "0" if side.low is None else say_rate(side.low, metric)
    return {
        "name": side.name.capitalize(), "parts": side.parts, "failed": side.failed,
        "exposure": say_number(side.exposure) if side.exposure else "0", "expected": say_number(side.expected),
        "rate": say_rate(side.rate, metric) if side.exposure else "", "reach": f"{low} to {say_rate(side.high, metric)}",
    }  # fmt: skip

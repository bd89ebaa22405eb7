"""Trikes: the list, the page of one, and what is reported about it."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from tracker.actions import schedule
from tracker.models import Occurrence, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.log_words import told
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.clock import local_date
from tracker.queries.fleet import trike_page

STATES = (("", "All"), *Trike.State.choices)
LOG_SHOWN = 60


class OccurrenceForm(fields.Form):
    """A crash, a submersion, a long lay-up."""

    kind = fields.choice("What happened", Occurrence.Kind.choices)
    happened_at = fields.moment("When")
    note = fields.words("What is known", 400)


@page()
def trikes(request: HttpRequest) -> HttpResponse:
    """Trikes with owner and next task."""
    state = asked(request, "state", set(Trike.State.values))
    text = asked(request, "q")
    context = {
        "tabs": STATES, "state": state, "text": text, "page": paged(request, lists.trikes(state=state, text=text)),
        "today": local_date(timezone.now()),
    }  # fmt: skip
    return render(request, "desk/trikes.html", context)


@page()
def trike(request: HttpRequest, trike_id: int) -> HttpResponse:
    """One trike: who, what, where it stands, what is due, what happened."""
    limit = 1000 if request.GET.get("log") == "all" else LOG_SHOWN
    found = trike_page(trike_id, timezone.now(), log_limit=limit)
    if found is None:
        raise Http404
    places = {part.fitment.component_id: part.position for part in found.parts}
    context = {
        "found": found,
        "trike": found.trike,
        "due": [(row, places.get(row.line.component_id, "")) for row in found.due],
        "suspects": [row for row in found.readings if row.verdict == "suspect"],
        "log": [told(entry) for entry in found.log],
        "more_log": len(found.log) == LOG_SHOWN,
    }
    return render(request, "desk/trike.html", context)


@page()
def report(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Report a crash, a submersion or a long lay-up: its check is due before the next ride."""
    row = get_object_or_404(Trike, pk=trike_id)
    form = OccurrenceForm(fields.sent(request), initial={"happened_at": fields.this_minute()})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, schedule.report_occurrence, trike_id=row.pk, by=request.user, now=timezone.now(), source="desk",
            **form.cleaned_data,
        )  # fmt: skip
        if done is not None:
            messages.warning(request, "Kept. The check is due before the next ride: tell the owner not to ride.", "ask")
            return redirect("trike", row.pk)
    return render(request, "desk/report.html", {"trike": row, "form": form}, status=status_for(form))

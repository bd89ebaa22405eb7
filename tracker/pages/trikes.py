"""Trikes: the list, what is changed of one, and what is reported about it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from tracker.actions import schedule
from tracker.actions.trikes import change_trike
from tracker.models import Occurrence, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale, show_conflict, status_for
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.clock import local_date

STATES = (("", "All"), *Trike.State.choices)
CHANGEABLE = ["plate", "model", "severity"]


class OccurrenceForm(fields.Form):
    """A crash, a submersion, a long lay-up."""

    kind = fields.choice("What happened", Occurrence.Kind.choices)
    happened_at = fields.moment("When")
    note = fields.words("What is known", 400)


class TrikeForm(fields.Form):
    """What can be changed of a trike by hand."""

    plate = fields.scan("Plate label", required=False)
    model = fields.text("Model", 80)
    severity = fields.number(
        "How hard it is used",
        help_text="1 dry tarmac, 0.75 wet or winter salt, 0.5 sand, gravel or loaded touring; 0.25 at least.",
    )
    version = fields.version()

    def changes(self) -> dict[str, Any]:
        """Return what was filled in; an empty plate is none."""
        kept = {name: self.cleaned_data[name] for name in CHANGEABLE}
        return kept | {"plate": kept["plate"] or None}


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
def change(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Change plate, model or how hard it is used."""
    row = get_object_or_404(Trike, pk=trike_id)
    initial = {name: getattr(row, name) for name in [*CHANGEABLE, "version"]}
    form = TrikeForm(fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, change_trike, trike_id=row.pk, version=form.cleaned_data["version"], changes=form.changes(),
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved. The due list has followed.")
            return redirect("trike", row.pk)
        if is_stale(form):
            show_conflict(form, row, CHANGEABLE)
    return form_page(
        request, form, title="Change the trike", send="Save", back=f"/trikes/{row.pk}/", of=f"Trike {row}", trike=row
    )


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

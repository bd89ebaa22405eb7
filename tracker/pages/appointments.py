"""Days that owners asked for: confirm, decline with words, or offer another day."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.due_words import say_date
from tracker.actions.appointments import MOST_WORDS, decide_appointment
from tracker.models import Appointment
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import appointments as found
from tracker.queries.clock import local_date

TABS = (("asked", "Asked for"), ("confirmed", "Agreed"), ("declined", "Declined"), ("withdrawn", "Withdrawn"))
CHOICES = [("confirm", "Confirm the day"), ("offer", "Offer another day"), ("decline", "Decline")]
DONE = {
    "confirmed": "{on} is agreed with {owner}.",
    "declined": "{owner} reads your answer on their page and by mail.",
}


class AnswerForm(fields.Form):
    """What the desk says to a day asked for."""

    choice = fields.choice("Your answer", CHOICES)  # which button was pressed
    on = fields.day("Or another day", required=False)
    answer = fields.words(
        "Words to the owner",
        MOST_WORDS,
        rows=2,
        help_text="They stand in the mail and on the owner's page. Needed where you decline.",
    )


@page()
def appointments(request: HttpRequest) -> HttpResponse:
    """Days by state, soonest first."""
    state = asked(request, "state", set(Appointment.State.values)) or Appointment.State.ASKED
    counts = found.counts()
    tabs = [(code, words, counts.get(code, 0)) for code, words in TABS]
    context = {"tabs": tabs, "state": state, "page": paged(request, found.appointments(state)),
               "today": local_date(timezone.now())}  # fmt: skip
    return render(request, "desk/appointments.html", context)


@page()
def appointment(request: HttpRequest, appointment_id: int) -> HttpResponse:
    """One day asked for, how full the bench is then, and the answer to it."""
    row = get_object_or_404(found.appointments(), pk=appointment_id)
    form = AnswerForm(fields.sent(request), initial={"choice": "confirm" if row.state == "asked" else "offer"})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, decide_appointment, appointment_id=row.pk, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        if done is not None:
            messages.success(request, DONE[done.state].format(on=say_date(done.on), owner=row.owner.name))
            return redirect("appointments")
    bench = found.bench_on(row.on, row.on)
    context = {
        "row": row, "form": form, "may_decide": row.state in found.OPEN, "is_open": bench.is_open(row.on),
        "taken": bench.taken.get(row.on, 0), "minutes": bench.minutes, "lines": found.lines_told(row.visit),
        "free": found.free_days(row.minutes, local_date(timezone.now()))[:8],
    }  # fmt: skip
    return render(request, "desk/appointment.html", context, status=status_for(form))

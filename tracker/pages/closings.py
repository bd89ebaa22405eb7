"""Days on which the workshop is closed: what is entered, whom to ring, and the form to enter more."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions.closings import MOST_WORDS, add_closing, remove_closing, said
from tracker.models import Closing
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.roles import page
from tracker.queries.clock import local_date
from tracker.queries.closing_list import closings_ahead, closings_past, expected_in


class ClosingForm(fields.Form):
    """From when until when, and why."""

    first = fields.day("Closed from")
    last = fields.day("Until, that day included", required=False, help_text="Leave it empty for one day.")
    reason = fields.text("Why", MOST_WORDS, help_text="Such as: summer holiday. Only the workshop reads it.")


@page()
def closings(request: HttpRequest) -> HttpResponse:
    """The days closed, soonest first; enter more."""
    now = timezone.now()
    form = ClosingForm(fields.sent(request))
    if form.is_bound and form.is_valid():
        done = carry_out(form, add_closing, by=request.user, now=now, **form.cleaned_data)
        if done is not None:
            _tell(request, done)
            return redirect("closings")
    today = local_date(now)
    context = {
        "form": form, "today": today, "ahead": closings_ahead(today), "past": closings_past(today),
    }  # fmt: skip
    return render(request, "desk/closings.html", context, status=status_for(form))


def _tell(request: HttpRequest, closing: Closing) -> None:
    """Say what was entered, and how many owners are to be rung."""
    expected = expected_in(closing, local_date(timezone.now())).count()
    messages.success(request, f"Closed: {said(closing)}. Proposed days move with the next nightly sweep.")
    if expected:
        words = "1 owner expects" if expected == 1 else f"{expected} owners expect"
        messages.warning(request, f"{words} us on a day of it: ring them, see below.", extra_tags="ask")


@page()
@require_POST
def remove(request: HttpRequest, closing_id: int) -> HttpResponse:
    """Take a closing back."""
    get_object_or_404(Closing, pk=closing_id)
    done = press(request, remove_closing, closing_id=closing_id, by=request.user, now=timezone.now())
    if done is not None:
        messages.success(request, f"Open again: {said(done)}.")
    return redirect("closings")

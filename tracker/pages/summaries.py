"""The page of a card's summary for its owner: proposed, put in one's own words, mailed on request."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.summary import LONGEST
from tracker.actions import summaries as summary_actions
from tracker.models import JobCard
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, press, show_conflict, status_for
from tracker.pages.release import card_or_404
from tracker.pages.roles import page
from tracker.queries.summaries import owner_summary


class SummaryForm(fields.Form):
    """The summary in plain words."""

    also = {"text": "summary"}
    summary = fields.words(
        "What the owner reads",
        LONGEST,
        rows=14,
        help_text="A line that begins with a dash is one of a list. Empty: as proposed.",
    )
    version = fields.version()


@page()
def summary(request: HttpRequest, card_id: int) -> HttpResponse:
    """Read the summary; write it anew while the card is a draft."""
    card = card_or_404(card_id)
    told = owner_summary(card, timezone.now())
    form = SummaryForm(fields.sent(request), initial={"version": card.version, "summary": told.text})
    if form.is_bound and form.is_valid():
        # What is sent back as it was proposed stays a proposal: it follows the card.
        text = form.cleaned_data["summary"].replace("\r\n", "\n")
        done = carry_out(
            form, summary_actions.write_summary, card_id=card_id, version=form.cleaned_data["version"],
            text="" if text == told.proposed else text, by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "The summary is kept." if done.summary else "The summary follows the card again.")
            return redirect("summary", card_id)
        if is_stale(form):
            show_conflict(form, card, ["summary"])
    context = {
        "card": card, "trike": card.trike, "form": form, "told": told, "is_draft": card.state == JobCard.State.DRAFT,
    }  # fmt: skip
    return render(request, "desk/summary.html", context, status=status_for(form))


@page()
@require_POST
def mail(request: HttpRequest, card_id: int) -> HttpResponse:
    """Mail the summary to the owner, once."""
    card_or_404(card_id)
    done = press(request, summary_actions.mail_summary, card_id=card_id, by=request.user, now=timezone.now())
    if done is not None:
        messages.success(request, "The summary is in the outbox: it goes out once, within seconds.")
    return redirect("summary", card_id)

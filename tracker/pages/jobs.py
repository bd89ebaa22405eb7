"""Job cards: the list, opening one, the card that is closed, cancelling and amending. The open card is card_*.py."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions import job_cards
from tracker.models import JobCard, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale
from tracker.pages.card_pages import address_of, closed, is_draft, page_of, show_closed
from tracker.pages.job_forms import AmendForm, CancelForm, OpenCardForm
from tracker.pages.paging import asked, paged
from tracker.pages.roles import ALL, SIGNERS, page
from tracker.queries import lists
from tracker.queries.card_flow import first_open

STATES = (("draft", "Open"), ("signed", "Signed"), ("cancelled", "Cancelled"), ("", "All"))


@page()
def jobs(request: HttpRequest) -> HttpResponse:
    """Job cards by state."""
    state = asked(request, "state", set(JobCard.State.values))
    text = asked(request, "q")
    context = {
        "tabs": STATES,
        "state": state,
        "text": text,
        "page": paged(request, lists.job_cards(state=state, text=text)),
    }
    return render(request, "desk/jobs.html", context)


@page()
def open_card(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Open a card for a trike: by one button, or with the complaint. The button pressed twice leads to the card it opened."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = OpenCardForm(fields.sent(request))
    if form.is_bound and form.is_valid():
        card = carry_out(
            form, job_cards.open_card, trike_id=trike.pk, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        if card is None and not form.cleaned_data["complaint"]:
            card = JobCard.objects.filter(trike=trike, state=JobCard.State.DRAFT).first()
        if card is not None:
            return redirect("job", card.pk)
    return form_page(
        request,
        form,
        title="Open a job card",
        send="Open the card",
        back=f"/trikes/{trike.pk}/",
        of=f"Trike {trike}",
        lead="What is due now or may be done early is put on the card as proposed.",
    )


@page()
def job(request: HttpRequest, card_id: int) -> HttpResponse:
    """The card: closed, as it was; open, at the step that needs something next."""
    found = page_of(card_id)
    if is_draft(found):
        return redirect(address_of(found, first_open(found)))
    return show_closed(request, found, AmendForm())


@page()
@require_POST
def cancel(request: HttpRequest, card_id: int) -> HttpResponse:
    """Cancel an open card."""
    found, form = page_of(card_id), CancelForm(request.POST)
    if not is_draft(found):
        return closed(request, found)
    if form.is_valid():
        done = carry_out(
            form, job_cards.cancel_card, card_id=card_id, version=form.cleaned_data["version"], by=request.user,
            now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            return redirect("job", card_id)
    why = (
        "Somebody changed the card meanwhile: look at it, then cancel."
        if is_stale(form)
        else "The card was not cancelled."
    )
    messages.warning(request, why, extra_tags="ask")
    return redirect(address_of(found, "sign"))


@page(see=ALL, do=SIGNERS)
@require_POST
def amend(request: HttpRequest, card_id: int) -> HttpResponse:
    """Write an amendment to a signed card."""
    found, form = page_of(card_id), AmendForm(request.POST)
    if form.is_valid():
        done = carry_out(
            form, job_cards.amend_card, card_id=card_id, by=request.user, now=timezone.now(), **form.cleaned_data
        )
        if done is not None:
            messages.success(request, "The amendment is in the logbook.")
            return redirect("job", card_id)
    return redirect("job", card_id) if is_draft(found) else show_closed(request, found, form, status=422)

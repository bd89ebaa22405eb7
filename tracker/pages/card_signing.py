"""Review and signature: everything on one page with what is missing, then the PIN or the password."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from tracker.actions.signing import sign_card
from tracker.models import JobCard
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, show_conflict
from tracker.pages.card_pages import address_of, closed, is_draft, page_of, show_step
from tracker.pages.job_forms import CancelForm, SignForm
from tracker.pages.roles import ALL, SIGNERS, page
from tracker.pages.signatures import is_me
from tracker.queries.card_flow import leaving, missing
from tracker.queries.cards import CardPage
from tracker.queries.photos import photos_of
from tracker.queries.release import release_of


@page(see=ALL, do=SIGNERS)
def sign(request: HttpRequest, card_id: int) -> HttpResponse:
    """Look the card over and sign it; PIN or password are asked once more."""
    found = page_of(card_id)
    if not is_draft(found):
        return redirect("job", card_id) if _is_the_same(request, found) else closed(request, found)
    form = SignForm(fields.sent(request), initial={"version": found.card.version})
    if form.is_bound and form.is_valid() and is_me(request, form, "Nothing was signed."):
        values = {"card_id": card_id, "version": form.cleaned_data["version"], "by": request.user}
        done = carry_out(form, sign_card, now=timezone.now(), **values)
        if done is not None:
            messages.success(request, f"Job card {done.number} is signed. The due list has moved.")
            return redirect("job", card_id)
        if is_stale(form):
            show_conflict(form, found.card, [])
        found = page_of(card_id)
        if not is_draft(found):
            return redirect("job", card_id) if _is_the_same(request, found) else closed(request, found)
    return _show(request, found, form)


def _show(request: HttpRequest, found: CardPage, form: SignForm) -> HttpResponse:
    release = release_of(found.card)
    form.fields["pin" if request.user.pin else "password"].widget.attrs["autofocus"] = True
    lacks = [(words, address_of(found, step)) for step, words in missing(found, release)]
    context = {
        "form": form, "lacks": lacks, "photos": photos_of(found.card.pk),
        "lives": leaving(found, timezone.now()), "has_pin": bool(request.user.pin),
        "cancel": CancelForm(initial={"version": found.card.version}),
    }  # fmt: skip
    return show_step(request, found, "sign", context, [form], release)


def _is_the_same(request: HttpRequest, found: CardPage) -> bool:
    """Whether this is the signature that was given already, sent twice: it signed the version this one speaks of."""
    card = found.card
    same = card.state == JobCard.State.SIGNED and card.signed_by_id == request.user.pk
    return request.method == "POST" and same and request.POST.get("version") == str(card.version - 1)

"""The page of test ride and release: what the work demands, the checklist, the signature."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.release import DEFERS, TEST_RIDE, Line
from tracker.actions.release import LineAnswer, sign_release, take_back_release
from tracker.models import JobCard
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, press, show_conflict, status_for
from tracker.pages.roles import ALL, SIGNERS, page
from tracker.queries.release import Release, release_of

PASSED = (("yes", "Passed"), ("no", "Did not pass"))


class ReleaseForm(fields.Form):
    """One answer per line of the checklist, with room for a note."""

    version = fields.version()

    def __init__(self, lines: tuple[Line, ...], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for line in lines:
            choice = fields.choice(line.words, PASSED, required=False, widget=forms.RadioSelect)
            self.fields |= {line.code: choice, f"{line.code}_note": fields.text("Note", 200)}

    def row(self, line: Line) -> tuple[Any, Any]:
        """Return the answer and the note of a line, as they are drawn."""
        return self[line.code], self[f"{line.code}_note"]

    def answers(self) -> dict[str, LineAnswer]:
        """Return what was found at each line."""
        said = {"yes": True, "no": False}
        return {
            line.code: LineAnswer(
                said.get(self.cleaned_data.get(line.code, "")), self.cleaned_data.get(f"{line.code}_note", "")
            )
            for line in self.lines
        }


def card_or_404(card_id: int) -> JobCard:
    """Return the card with what the pages beside its flow show of it. Raises Http404."""
    rows = JobCard.objects.select_related("trike", "reading", "released_by", "signed_by")
    card = rows.filter(pk=card_id).first()
    if card is None:
        raise Http404
    return card


@page(see=ALL, do=SIGNERS)
def release(request: HttpRequest, card_id: int) -> HttpResponse:
    """What the card's work demands; answer the checklist and sign it."""
    card = card_or_404(card_id)
    found = release_of(card)
    form = ReleaseForm(found.lines, fields.sent(request), initial={"version": card.version})
    if form.is_bound and form.is_valid():
        done = carry_out(
            form, sign_release, card_id=card_id, version=form.cleaned_data["version"], answers=form.answers(),
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "The release is signed. The card can be signed now.")
            return redirect("sign-job", card_id)
        if is_stale(form):
            show_conflict(form, card, [])
        card = card_or_404(card_id)
        found = release_of(card)
    return render(request, "desk/release.html", _context(card, found, form), status=status_for(form))


def _context(card: JobCard, found: Release, form: ReleaseForm) -> dict[str, Any]:
    known = set(form.fields)
    return {
        "card": card,
        "trike": card.trike,
        "release": found,
        "form": form,
        "defers": DEFERS,
        "areas": [
            (demand, [form.row(line) for line in demand.area.lines if line.code in known]) for demand in found.demands
        ],
        "ride": form.row(TEST_RIDE) if TEST_RIDE.code in known else None,
        "is_draft": card.state == JobCard.State.DRAFT,
    }


@page(see=ALL, do=SIGNERS)
@require_POST
def take_back(request: HttpRequest, card_id: int) -> HttpResponse:
    """Take the signed release back."""
    card_or_404(card_id)
    press(request, take_back_release, card_id=card_id, by=request.user, now=timezone.now())
    return redirect("release", card_id)

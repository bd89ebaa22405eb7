"""Intake: what the display shows, with what it should show beside it, and what the owner says."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from tracker.actions.card_steps import ChangedMeanwhile
from tracker.actions.drafts import keep_words
from tracker.actions.job_cards import take_odometer
from tracker.models import OdometerReading
from tracker.pages import fields
from tracker.pages.answers import carry_out
from tracker.pages.card_pages import after, closed, is_draft, page_of, show_step
from tracker.pages.job_forms import ComplaintForm, OdometerForm
from tracker.pages.kept_fields import keep
from tracker.pages.roles import page
from tracker.queries.cards import CardPage
from tracker.queries.life import distances_now


@page()
def intake(request: HttpRequest, card_id: int) -> HttpResponse:
    """Odometer in and the complaint; going on keeps both."""
    found = page_of(card_id)
    if not is_draft(found):
        return closed(request, found)
    data, unit = fields.sent(request), found.owner.distance_unit if found.owner else "km"
    odometer = OdometerForm(found.card.reading, unit, data)
    words = ComplaintForm({"complaint": found.card.complaint}, data)
    words.fields["complaint"].widget.attrs["autofocus"] = bool(odometer.stored)
    odometer.expect(distances_now([found.card.trike_id], timezone.now())[found.card.trike_id], unit)
    if data is not None and _kept(request, found, odometer, words):
        found = page_of(card_id)
        if found.card.reading is None or found.card.reading.verdict != OdometerReading.Verdict.SUSPECT:
            return after(found, "intake")
        odometer, words = OdometerForm(found.card.reading, unit), ComplaintForm({"complaint": found.card.complaint})
    return show_step(request, found, "intake", {"odometer": odometer, "words": words}, (odometer, words))


def _kept(request: HttpRequest, found: CardPage, odometer: OdometerForm, words: ComplaintForm) -> bool:
    """Keep what was sent: the complaint even where the odometer is refused."""
    by = {"card_id": found.card.pk, "by": request.user, "now": timezone.now()}
    words.is_valid()
    for name, value, base in words.touched():
        keep(words, name, keep_words, field=name, value=value, base=base, **by)
    return _taken(request, odometer, by) and not words.errors


def _taken(request: HttpRequest, odometer: OdometerForm, by: dict) -> bool:
    if not odometer.is_valid():
        return False
    values = odometer.cleaned_data
    if values["value"] is None:
        return True
    base = None if request.POST.get("again") else odometer.base
    done = carry_out(
        odometer, take_odometer, value=values["value"], unit=values["unit"], answer=values["answer"], base=base, **by
    )
    if isinstance(getattr(odometer, "refusal", None), ChangedMeanwhile):
        odometer.theirs = odometer.refusal.facts["theirs"]
    return done is not None

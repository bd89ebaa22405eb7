"""The logbook at the desk: one component's own, and the button that verifies the chains."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from services.chain_code import chain_code
from services.identity import BadSerial, canonical_serial
from tracker.models import Trike
from tracker.pages import fields
from tracker.pages.answers import status_for
from tracker.pages.log_words import KIND_WORDS, told
from tracker.pages.paging import asked, paged
from tracker.pages.roles import ALL, page
from tracker.queries.component_log import component_log as log_of_component
from tracker.queries.log_check import check_logbook

ENTRIES_A_PAGE = 100


class VerifyForm(fields.Form):
    """Which chain to walk: one trike's, or all of them."""

    trike = fields.scan(
        "Frame serial of one trike", required=False, help_text="Left empty, the whole record is verified."
    )
    after = fields.forms.IntegerField(widget=fields.forms.HiddenInput, required=False, min_value=0, max_value=2**62)

    def clean_trike(self) -> Trike | None:
        """The trike of that frame serial."""
        typed = self.cleaned_data["trike"].strip()
        if not typed:
            return None
        try:
            serial = canonical_serial(typed)
        except BadSerial as refusal:
            raise fields.forms.ValidationError(f"{refusal.message} {refusal.remedy}") from refusal
        found = Trike.objects.filter(frame_serial=serial).first()
        if found is None:
            raise fields.forms.ValidationError(
                f"No trike has the frame serial {serial}. Check it, or leave the field empty."
            )
        return found


@page(do=ALL)
def verify(request: HttpRequest) -> HttpResponse:
    """Verify the logbook. Only sending does it; it reads and writes nothing, so whoever may read may ask."""
    form = VerifyForm(fields.sent(request), initial={"trike": asked(request, "trike")})
    context: dict[str, Any] = {"form": form}
    if form.is_bound and form.is_valid():
        trike, after = form.cleaned_data["trike"], form.cleaned_data["after"] or 0
        check = check_logbook(trike_id=trike.pk if trike else None, after=after)
        context |= {"check": check, "of": trike, "after": after, "verified_at": timezone.now()}
        if check.head is not None:
            context["code"] = chain_code(check.head.trike_id, check.head.seq, check.head.hash)
    return render(request, "desk/verify_logbook.html", context, status=status_for(form))


@page()
def component_log(request: HttpRequest, component_id: int) -> HttpResponse:
    """A component's life in entries, oldest first, on every trike it sat on."""
    kind = asked(request, "kind", set(KIND_WORDS))
    found = log_of_component(component_id, timezone.now(), kind=kind)
    if found is None:
        raise Http404
    shown = paged(request, found.entries, ENTRIES_A_PAGE)
    rows = [told(entry) | {"life": found.life_at(entry.occurred_at)} for entry in shown]
    context = {
        "found": found,
        "row": found.component,
        "page": shown,
        "rows": rows,
        "kind": kind,
        "kinds": KIND_WORDS.items(),
    }
    return render(request, "desk/component_log.html", context)

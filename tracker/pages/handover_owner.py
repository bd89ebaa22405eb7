"""Step 3 of the handover: whose trike it becomes, with units, zone and consent."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from tracker.actions.owners import add_owner, change_owner
from tracker.models import Owner, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.handover_forms import ConsentForm
from tracker.pages.handover_steps import steps_of
from tracker.pages.owners import OwnerForm
from tracker.pages.paging import asked
from tracker.pages.roles import WRITERS, page
from tracker.queries import lists

AT_HANDOVER = "at handover"


@page(see=WRITERS)
def owner(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Find the owner or add a new one, and record the consent to reminders with its time and how it was given."""
    trike = get_object_or_404(Trike, pk=trike_id)
    text, chosen = asked(request, "find"), _chosen(request)
    adding, consent = _new_owner_form(request, text), _consent_form(request, chosen)
    done = _act(request, adding, consent, chosen)
    if done is not None:
        return redirect(
            f"{reverse('handover-final' if adding.is_bound else 'handover-owner', args=[trike.pk])}?owner={done.pk}"
        )
    context = {
        "trike": trike, "find": text, "owner": chosen, "adding": adding, "consent": consent,
        "owners": lists.owners(text)[:12] if text else [], "steps": steps_of(trike, "owner", chosen),
        "handed_over": trike.state != Trike.State.IN_BUILD,
    }  # fmt: skip
    return render(
        request, "desk/handover_owner.html", context, status=status_for(adding if adding.is_bound else consent)
    )


def _chosen(request: HttpRequest) -> Owner | None:
    number = asked(request, "owner")
    return Owner.objects.filter(pk=number).first() if number.isascii() and number.isdigit() else None


def _new_owner_form(request: HttpRequest, text: str) -> OwnerForm:
    initial = {
        "name": text, "time_zone": str(timezone.get_default_timezone()), "agreed_source": AT_HANDOVER,
        "distance_unit": "km", "pressure_unit": "bar",
    }  # fmt: skip
    return OwnerForm(fields.sent(request) if "name" in request.POST else None, initial=initial, auto_id="new_%s")


def _consent_form(request: HttpRequest, chosen: Owner | None) -> ConsentForm | None:
    if chosen is None:
        return None
    initial = {"agreed_source": AT_HANDOVER, "version": chosen.version}
    return ConsentForm(fields.sent(request) if "name" not in request.POST else None, initial=initial)


def _act(
    request: HttpRequest, adding: OwnerForm, consent: ConsentForm | None, chosen: Owner | None
) -> Owner | None:  # fmt: skip
    if adding.is_bound and adding.is_valid():
        values = adding.cleaned_data
        values["agreed_source"] = values["agreed_source"] if values["reminders_agreed"] else ""
        done = carry_out(adding, add_owner, by=request.user, now=timezone.now(), **values)
        if done is not None:
            messages.success(request, f"{done.name} is on record.")
        return done
    if consent is not None and consent.is_bound and consent.is_valid():
        return _agree(request, consent, chosen)
    return None


def _agree(request: HttpRequest, form: ConsentForm, chosen: Owner) -> Owner | None:
    changes = {"reminders_agreed": True, "agreed_source": form.cleaned_data["agreed_source"]}
    done = carry_out(
        form, change_owner, owner_id=chosen.pk, version=form.cleaned_data["version"], changes=changes, by=request.user,
        now=timezone.now(),
    )  # fmt: skip
    if done is not None:
        messages.success(request, f"{done.name} agrees to reminders.")
    return done

"""Owners: who they are, how to reach them, what they agreed to."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from services.language import ENGLISH, LANGUAGES, known
from tracker.actions import owner_links
from tracker.actions.owners import add_owner, change_owner
from tracker.models import Owner, Ownership
from tracker.pages import fields
from tracker.pages.answers import carry_out, form_page, is_stale, show_conflict
from tracker.pages.paging import asked, paged
from tracker.pages.roles import page
from tracker.queries import lists
from tracker.queries.erasing import answer_by

CHANGEABLE = [
    "name",
    "email",
    "phone",
    "time_zone",
    "distance_unit",
    "pressure_unit",
    "language",
    "reminders_agreed",
    "agreed_source",
]


class OwnerForm(fields.Form):
    """Contact, units and consent."""

    name = fields.text("Name", 120, required=True, autocomplete="off")
    email = fields.text("E-mail", 254, inputmode="email", autocomplete="off", autocapitalize="none")
    phone = fields.text("Phone", 40, inputmode="tel", autocomplete="off")
    time_zone = fields.text("Time zone", 64, help_text="Such as Europe/London: nothing is sent to them at night there.")
    distance_unit = fields.choice("Distances in", Owner._meta.get_field("distance_unit").choices)
    pressure_unit = fields.choice("Pressures in", Owner._meta.get_field("pressure_unit").choices)
    language = fields.choice("Page and mails in", LANGUAGES.items(), required=False)
    reminders_agreed = fields.tick("Agrees to service reminders")
    agreed_source = fields.text("Agreed how", 80, help_text="Such as: at handover, by telephone.")

    def clean_language(self) -> str:
        """Where nothing was chosen it stays as it is, English at first."""
        return self.cleaned_data["language"] or known(self.initial.get("language", ENGLISH))


class ChangeOwnerForm(OwnerForm):
    """The same, with the version it was read at."""

    version = fields.version()


@page()
def owners(request: HttpRequest) -> HttpResponse:
    """Owners by name."""
    text = asked(request, "q")
    return render(
        request, "desk/owners.html", {"text": text, "page": paged(request, lists.owners(text, with_erased=False))}
    )


@page()
def owner(request: HttpRequest, owner_id: int) -> HttpResponse:
    """One owner with trikes and messages."""
    row = get_object_or_404(lists.owners(), pk=owner_id)
    past = row.ownerships.filter(until__isnull=False).select_related("trike")
    sent = row.messages.select_related("trike")[:20]
    return render(request, "desk/owner.html", {"owner": row, "past": past, "sent": sent, "answer_by": answer_by(row)})


@page()
def add(request: HttpRequest) -> HttpResponse:
    """Add an owner; `next` leads back to where one was needed, with the new owner's id."""
    initial = {"name": asked(request, "name"), "time_zone": str(timezone.get_default_timezone())}
    form = OwnerForm(fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid():
        done = carry_out(form, add_owner, by=request.user, now=timezone.now(), **form.cleaned_data)
        if done is not None:
            messages.success(request, f"{done.name} is on record.")
            return redirect(_onward(request, done))
    return form_page(request, form, title="Add an owner", send="Add the owner", back="/owners/", of="Owners")


def _onward(request: HttpRequest, row: Owner) -> Any:
    target = request.GET.get("next", "")
    if target.startswith(("/handover/", "/trikes/")) and url_has_allowed_host_and_scheme(target, allowed_hosts=None):
        return f"{target.partition('?')[0]}?owner={row.pk}"
    return f"/owners/{row.pk}/"


@page()
@require_POST
def make_link(request: HttpRequest, owner_id: int, trike_id: int) -> HttpResponse:
    """Make the owner a link to the page of their trike. It is shown this once: only its hash is kept."""
    owned = get_object_or_404(
        Ownership.objects.select_related("owner", "trike"), owner_id=owner_id, trike_id=trike_id, until__isnull=True
    )
    _, token = owner_links.make_link(trike_id=owned.trike_id, owner_id=owned.owner_id, now=timezone.now())
    address = f"{settings.PUBLIC_URL}/o/{token}"
    answer = render(request, "desk/owner_link.html", {"owner": owned.owner, "trike": owned.trike, "address": address})
    answer["Cache-Control"] = "no-store"
    return answer


@page()
def change(request: HttpRequest, owner_id: int) -> HttpResponse:
    """Change an owner's record."""
    row = get_object_or_404(Owner, pk=owner_id)
    initial = {name: getattr(row, name) for name in [*CHANGEABLE, "version"]}
    form = ChangeOwnerForm(fields.sent(request), initial=initial)
    if form.is_bound and form.is_valid():
        values = {name: form.cleaned_data[name] for name in CHANGEABLE if form.cleaned_data[name] != getattr(row, name)}
        done = carry_out(
            form, change_owner, owner_id=row.pk, version=form.cleaned_data["version"], changes=values,
            by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved.")
            return redirect("owner", row.pk)
        if is_stale(form):
            show_conflict(form, row, CHANGEABLE)
    return form_page(
        request, form, title="Change the owner's record", send="Save", back=f"/owners/{row.pk}/", of=f"Owner {row.name}"
    )

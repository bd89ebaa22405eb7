"""An owner's data is erased: asked for, looked at, done by an admin."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from tracker.actions.erasing import ask_erasure, erase_owner, keep_owner
from tracker.models import Owner
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.roles import WRITERS, page, roles_of
from tracker.queries import lists
from tracker.queries.bulletin_pages import open_numbers
from tracker.queries.erasing import answer_by, mentions

ADMIN = frozenset({"admin"})


class EraseForm(fields.Form):
    """Two things somebody has to have done before it cannot be undone."""

    version = fields.version()
    is_them = fields.tick("It is this person who asked", required=True)
    may_go = fields.tick("Nothing obliges us to keep it", required=True)


@page(see=WRITERS, do=ADMIN)
def erase(request: HttpRequest, owner_id: int) -> HttpResponse:
    """What goes, what stays, what a person must look at; an admin erases."""
    row = get_object_or_404(lists.owners(with_erased=False), pk=owner_id)
    form = EraseForm(fields.sent(request), initial={"version": row.version})
    if form.is_bound and form.is_valid():
        version, now = form.cleaned_data["version"], timezone.now()
        if carry_out(form, erase_owner, owner_id=row.pk, version=version, by=request.user, now=now) is not None:
            messages.success(request, "Erased. What stays has no name.")
            return redirect("owner", row.pk)
    warned = [(owned.trike, open_numbers(owned.trike_id)) for owned in row.now_owned]
    context = {
        "owner": row, "form": form, "answer_by": answer_by(row), "mentions": mentions(row),
        "may_erase": bool(roles_of(request) & ADMIN), "warned": [(trike, found) for trike, found in warned if found],
    }  # fmt: skip
    return render(request, "desk/erase.html", context, status=status_for(form))


@page()
@require_POST
def ask(request: HttpRequest, owner_id: int) -> HttpResponse:
    """Note that they ask for it, by telephone or at the desk."""
    row = get_object_or_404(Owner, pk=owner_id)
    if press(request, ask_erasure, owner_id=row.pk, now=timezone.now()) is not None:
        messages.success(request, "Noted. An admin erases it or answers why not, within a month.")
    return redirect("owner", row.pk)


@page(do=ADMIN)
@require_POST
def keep(request: HttpRequest, owner_id: int) -> HttpResponse:
    """End the request without erasing."""
    row = get_object_or_404(Owner, pk=owner_id)
    if press(request, keep_owner, owner_id=row.pk, now=timezone.now()) is not None:
        messages.success(request, "The request is ended. Tell them why, and that they may complain to an authority.")
    return redirect("owner", row.pk)

"""Writing a bulletin: one form, beside it what it touches and how it reads, drawn anew while somebody types."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.bulletin_words import marked, scope_words
from services.bulletins import BadScope, Scope, check_scope
from tracker.actions import bulletins as actions
from tracker.models import Bulletin
from tracker.pages import fields
from tracker.pages.answers import carry_out, is_stale, show_conflict, status_for
from tracker.pages.bulletin_forms import COMPARED, BulletinForm, as_typed, filled_in
from tracker.pages.roles import RULERS, page
from tracker.queries import bulletin_pages as queries
from tracker.queries.bulletins import preview

SHORT = 12
PARTS = (("hazard", "What can happen:"), ("stop_riding", "Until then:"), ("remedy", "What we do:"))


@page(see=RULERS, do=RULERS)
def new(request: HttpRequest) -> HttpResponse:
    """Write a bulletin; a review page fills in what it knows."""
    initial, chosen = filled_in(request.GET)
    form = BulletinForm(fields.sent(request), initial=initial, chosen=chosen)
    if form.is_bound and form.is_valid() and "look" not in request.POST:
        done = carry_out(form, actions.write_bulletin, values=form.values(), by=request.user, now=timezone.now())
        if done is not None:
            messages.success(request, f"{done} is kept as a draft. A second person releases it.")
            return redirect("bulletin", done.pk)
    return _form_page(request, form, "Write a bulletin", "Keep the draft", reverse("bulletins"))


@page(see=RULERS, do=RULERS)
def change(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """Change a draft."""
    row = queries.whole(bulletin_id)
    if row is None:
        raise Http404
    if row.state != Bulletin.State.DRAFT:
        messages.warning(request, f"{row} is {row.get_state_display()}: it is not changed any more.", extra_tags="ask")
        return redirect("bulletin", row.pk)
    chosen = [part_type.pk for part_type in row.part_types.all()]
    form = BulletinForm(fields.sent(request), initial=as_typed(row), chosen=chosen)
    if form.is_bound and form.is_valid() and "look" not in request.POST:
        done = carry_out(
            form, actions.write_bulletin, bulletin_id=row.pk, version=form.cleaned_data["version"],
            values=form.values(), by=request.user, now=timezone.now(),
        )  # fmt: skip
        if done is not None:
            messages.success(request, "Saved.")
            return redirect("bulletin", row.pk)
        if is_stale(form):
            show_conflict(form, row, COMPARED)
            form.conflict += form.differing_words(queries.whole(row.pk))
    return _form_page(request, form, "Change the draft", "Save the draft", reverse("bulletin", args=[row.pk]), row)


def _form_page(
    request: HttpRequest, form: BulletinForm, title: str, send: str, back: str, row: Bulletin | None = None
) -> HttpResponse:
    looks = form.is_bound and "look" in request.POST
    context = {"form": form, "title": title, "send": send, "back": back, "row": row, **live(form)}
    if looks:
        form.look_only()
    return render(request, "desk/bulletin_form.html", context, status=200 if looks else status_for(form))


@page(see=RULERS, do=RULERS)
@require_POST
def touches(request: HttpRequest) -> HttpResponse:
    """What is drawn anew while somebody types: pieces of the form's page."""
    form = BulletinForm(request.POST)
    form.is_valid()
    return render(request, "desk/parts/bulletin_live.html", live(form))


def live(form: BulletinForm) -> dict[str, Any]:
    """What the form touches and how it reads, as far as it is filled in."""
    scope, trouble = form.scope(), ""
    try:
        check_scope(scope)
        found = preview(scope, SHORT)
    except BadScope as refusal:
        found, trouble = None, refusal.message if form.chosen else ""
    pieces = [(title, marked(form.said(name))) for name, title in PARTS if form.said(name)]
    pieces += [
        (f"{bound.label}:", marked(form.said(bound.name)))
        for _, _, some, _ in form.in_others() for bound in some if form.said(bound.name)
    ]  # fmt: skip
    softened = list(dict.fromkeys(piece for _, told in pieces for piece, softens in told if softens))
    return {
        "touched": found, "trouble": trouble, "named": _named(form, scope), "reads": pieces, "softened": softened,
    }  # fmt: skip


def _named(form: BulletinForm, scope: Scope) -> str:
    return scope_words([part_type.name for part_type in form.chosen], scope) if form.chosen else ""

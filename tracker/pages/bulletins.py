"""Bulletins: the list, and one with how far it has come, whom it touches and what is done about each component."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.bulletin_words import MOVE_WORDS, STATE_SHAPES, STATE_WORDS, scope_words
from services.bulletins import STATES, Progress
from tracker.actions import bulletins as actions
from tracker.models import Bulletin, BulletinPart
from tracker.pages import fields
from tracker.pages.answers import carry_out, press, status_for
from tracker.pages.bulletin_chart import course_chart
from tracker.pages.paging import asked, paged
from tracker.pages.roles import ALL, RULERS, WRITERS, page
from tracker.queries import bulletin_pages as queries
from tracker.queries.bulletins import listed_bulletins, preview, progress, scope_of
from tracker.queries.clock import local_date

TABS = (("", "All"), ("released", "Open"), ("draft", "Drafts"), ("closed", "Closed"), ("withdrawn", "Withdrawn"))
LISTS = ("calls", "parts", "elsewhere")
SHORT = 25  # rows of a list beside the main one
FIRST = {"affected": ("notified", "booked"), "notified": ("booked", "corrected"), "booked": ("corrected", "inspected"),
         "refused": ("notified", "booked"), "unreachable": ("notified", "booked")}  # fmt: skip


class ReleaseForm(fields.Form):
    """The second person's word."""

    warnings_read = fields.tick("I have read these and release it all the same")
    version = fields.version()


class EndForm(fields.Form):
    """Why a bulletin ends."""

    why = fields.text("Why", 400, help_text="Needed where components still wait, or where it is withdrawn.")
    version = fields.version()


@page()
def bulletins(request: HttpRequest) -> HttpResponse:
    """All bulletins, the open ones first."""
    state = asked(request, "state", set(Bulletin.State.values))
    rows = listed_bulletins().filter(state=state) if state else listed_bulletins()
    found = paged(request, rows)
    context = {"tabs": TABS, "state": state, "page": found, "rows": queries.listed(found),
               "today": local_date(timezone.now())}  # fmt: skip
    return render(request, "desk/bulletins.html", context)


@page()
def bulletin(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """One bulletin."""
    return show(request, bulletin_id)


def show(request: HttpRequest, bulletin_id: int, form: fields.Form | None = None) -> HttpResponse:
    """Draw the page; `form`: the release or the end that was refused."""
    row = queries.whole(bulletin_id)
    if row is None:
        raise Http404
    names = [part_type.name for part_type in row.part_types.all()]
    release = form if isinstance(form, ReleaseForm) else ReleaseForm()
    context = {
        "row": row, "scope": scope_words(names, scope_of(row)), "is_mine": row.written_by_id == request.user.pk,
        "is_open": row.state == Bulletin.State.RELEASED, "form": release,
        "end": form if isinstance(form, EndForm) else EndForm(),
    }  # fmt: skip
    context |= _draft(row) if row.state == Bulletin.State.DRAFT else _released(request, row, timezone.now())
    return render(request, "desk/bulletin.html", context, status=status_for(form))


def _draft(row: Bulletin) -> dict[str, Any]:
    return {
        "warnings": actions.warnings_of(row),
        "touched": preview(scope_of(row), SHORT),
        "untold": queries.readers_left_out(row),
    }


def _released(request: HttpRequest, row: Bulletin, now: datetime) -> dict[str, Any]:
    how_far, course = progress([row.pk])[row.pk], queries.course_of(row.pk)
    state = asked(request, "state", set(STATES))
    found = paged(request, queries.parts_in(row.pk, state=state, fitted=True))
    calls, elsewhere = queries.to_be_called(row.pk), queries.parts_in(row.pk, fitted=False)
    return {
        "progress": how_far, "told": how_far.words(), "done": queries.done_of(how_far), "counts": _counts(how_far),
        "notices": queries.notices_of(row.pk), "course": course, "chart": course_chart(course, local_date(now)),
        "state": state, "state_words": STATE_WORDS.get(state, ""),
        "tabs": _tabs(how_far, state),
        "page": found, "fitted": _rows(found), "calls": _rows(calls[:SHORT]), "calls_total": calls.count(),
        "elsewhere": _rows(elsewhere[:SHORT]), "elsewhere_total": elsewhere.count(),
    }  # fmt: skip


def _counts(how_far: Progress) -> list[tuple[str, str, str, int, float]]:
    """(state, words, shape, how many, share) of each state that components are in."""
    counts = [(code, how_far.states[code]) for code in STATES if how_far.states.get(code)]
    return [
        (code, STATE_WORDS[code], STATE_SHAPES[code], number, number / max(how_far.affected, 1))
        for code, number in counts
    ]


def _tabs(how_far: Progress, state: str) -> list[tuple[str, str, int]]:
    """(state, words, how many) of all, and of each state that components are in."""
    some = [(code, number) for code, number in how_far.states.items() if number or code == state]
    return [("", "All", how_far.affected), *((code, STATE_WORDS[code], number) for code, number in some)]


def _rows(parts: Any) -> list[dict[str, Any]]:
    """The components of a list, with the moves that are one click away and the others."""
    rows = []
    for told in queries.told(parts):
        first = [code for code in FIRST.get(told.part.state, ()) if code in told.moves]
        rows.append({
            "part": told.part, "here": told.here, "before": told.before, "owner": told.owner, "moves": told.moves,
            "mailed": told.mailed, "words": told.words, "shape": told.shape,
            "first_moves": [(code, MOVE_WORDS[code]) for code in first],
            "other_moves": [(code, MOVE_WORDS[code]) for code in told.moves if code not in first],
        })  # fmt: skip
    return rows


@page(see=ALL, do=WRITERS)
@require_POST
def move(request: HttpRequest, bulletin_id: int, part_id: int) -> HttpResponse:
    """Say what came of one component; an owner who was rung is told of the whole trike."""
    part = get_object_or_404(BulletinPart.objects.select_related("component"), pk=part_id, bulletin_id=bulletin_id)
    note, about = request.POST.get("note", "")[:400], str(part.component)
    given = {"about": about, "note": note, "by": request.user, "now": timezone.now()}
    state, notice = request.POST.get("state", "")[:12], queries.notice_for(part)
    if state == "notified" and notice is not None:
        done = press(request, actions.note_told, notice_id=notice.pk, **given)
    else:
        done = press(request, actions.move_part, part_id=part.pk, version=_version(request), state=state, **given)
    if done is not None:
        messages.success(request, f"{about}: {STATE_WORDS[state]}.")
    here = request.POST.get("from", "")
    return redirect(f"{reverse('bulletin', args=[bulletin_id])}#{here if here in LISTS else 'parts'}")


def _version(request: HttpRequest) -> int | None:
    """The version that the row was drawn at."""
    typed = request.POST.get("version", "")
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 9 else None


@page(see=ALL, do=RULERS)
@require_POST
def release(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """Release a draft: the second person."""
    form = ReleaseForm(request.POST)
    if form.is_valid():
        done = carry_out(
            form,
            actions.release_bulletin,
            bulletin_id=bulletin_id,
            by=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if done is not None:
            messages.success(request, f"{done} is released.")
            return redirect("bulletin", bulletin_id)
    return show(request, bulletin_id, form)


@page(see=ALL, do=RULERS)
@require_POST
def end(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """Close a released bulletin, or withdraw it or a draft."""
    form = EndForm(request.POST)
    how = "withdrawn" if request.POST.get("how") == "withdrawn" else "closed"
    if form.is_valid():
        done = carry_out(
            form, actions.end_bulletin, bulletin_id=bulletin_id, how=how, by=request.user, now=timezone.now(),
            **form.cleaned_data,
        )  # fmt: skip
        if done is not None:
            messages.success(request, f"{done} is {done.get_state_display()}.")
            return redirect("bulletin", bulletin_id)
    return show(request, bulletin_id, form)

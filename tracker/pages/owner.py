"""The owner's page: opened by the link in a letter, phone first, works without scripts.

The link is exchanged for a cookie and a clean address. What guards it: owner_door.py; what is set there: owner_wishes.py.
"""

from decimal import Decimal, InvalidOperation

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from services.calendar_file import event_file
from services.errors import Refusal
from services.language import localised, say
from tracker.actions.owner_links import LinkGone, open_link, resume_reminders, stop_reminders
from tracker.actions.reading_photos import let_wait, record_owner_reading
from tracker.actions.rides import take_ride
from tracker.language import in_language
from tracker.models import OwnerLink
from tracker.pages import owner_app, owner_bulletins, owner_calendar, owner_wishes
from tracker.pages.answers import status_of
from tracker.pages.owner_door import COOKIE, SEE_OTHER, back, counted, private, with_link
from tracker.pages.owner_shown import show
from tracker.pages.reading_forms import answer_in, question_in, typed_as
from tracker.pages.reading_photos import picture_in
from tracker.pages.rides import ride_in
from tracker.queries.feeds import event_of
from tracker.queries.owner_copy import COOKIE_DAYS
from tracker.queries.reminders import owner_view


@private
@counted
@require_GET
def enter(request: HttpRequest, token: str) -> HttpResponse:
    """Exchange the link for a cookie and go to the clean address."""
    open_link(token, timezone.now())
    response = HttpResponseRedirect(reverse("owner-page"), status=SEE_OTHER)
    response.set_cookie(
        COOKIE,
        token,
        max_age=COOKIE_DAYS * 86_400,
        path=reverse("owner-page"),
        secure=request.is_secure() or settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
    return response


@with_link
@require_GET
def page(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Show the trike and what is due."""
    return show(request, link, said=request.GET.get("said", ""))


@with_link
@require_POST
def report_reading(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Take what the owner reads off the display, with a picture of it if there is one."""
    typed, unit = request.POST.get("value", ""), request.POST.get("unit", link.owner.distance_unit)
    picture, value = None, None
    try:
        picture = picture_in(request, link)
        value = number(typed)
        reading = record_owner_reading(
            link=link, value=value, unit=unit, answer=answer_in(request.POST, typed_as(value, unit)), picture=picture,
            now=timezone.now(),
        )  # fmt: skip
    except Refusal as refusal:
        return show(
            request, link, status=status_of(refusal), trouble=("reading", refusal), typed=typed[:20], unit=unit[:2],
            question=question_in(refusal, {"value": value, "unit": unit}),
            waiting=let_wait(link, picture) if picture else "",
        )  # fmt: skip
    return back("reading" if reading.verdict == "accepted" else "doubtful")


@with_link
@require_POST
def report_ride(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Count a ride file: its day, distance and time; where it went is not kept."""
    try:
        ride, digest = ride_in(request)
        take_ride(trike_id=link.trike_id, ride=ride, sha256=digest, source="owner", now=timezone.now())
    except Refusal as refusal:
        return show(request, link, status=status_of(refusal), trouble=("ride", refusal))
    return back("ride")


def number(typed: str) -> Decimal:
    """Return a number as people type it in the language spoken: blanks and marks of thousands are fine. Raises BadReading."""
    text = "".join(typed.split())
    if localised(".") == ",":  # in this language they mean the reverse
        text = text.translate({ord(","): ".", ord("."): ","})
    head, _, tail = text.rpartition(",")
    if (head and len(tail) == 3) or "." in text:  # 1,234 and 1,234.5 are thousands; 12,5 is twelve and a half
        text = text.replace(",", "")
    try:
        value = Decimal(text.replace(",", "."))
    except InvalidOperation:
        value = Decimal("nan")
    if not value.is_finite() or len(text) > 12:
        raise BadReading(
            say("That is not a number."), field="value", remedy=say("Type what the display shows, like 1234.")
        )
    return value


class BadReading(Refusal):
    """What was typed is not a number."""

    code = "bad-reading"


@with_link
@require_POST
def reminders(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Stop the reminders or let them go out again."""
    if request.POST.get("wish") == "resume":
        resume_reminders(link=link, now=timezone.now())
        return back("resumed")
    stop_reminders(link=link, now=timezone.now())
    return back("stopped")


@with_link
@require_GET
def calendar(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Give the proposed visit as a calendar file."""
    view = owner_view(link.trike, link.owner, timezone.now())
    if view.visit is None or not view.work:
        raise LinkGone("No visit is planned.", remedy="Look at your trike's page.")
    return HttpResponse(
        event_file(event_of(view.visit, view.name)),
        content_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="service-visit.ics"'},
    )


@private
@require_http_methods(["GET", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Stop reminders at one click (RFC 8058): a POST without cookie or login, never redirected. GET shows a button."""
    link = open_link(token, timezone.now(), purpose="stop")
    stopped = link.owner.stopped_at is not None
    if request.method == "POST":
        stop_reminders(link=link, now=timezone.now())
        stopped = True
    with in_language(link.owner.language):
        return render(request, "owner/stop.html", {"stopped": stopped})


urlpatterns = [
    path("", page, name="owner-page"),
    path("reading", report_reading, name="owner-reading"),
    path("ride", report_ride, name="owner-ride"),
    path("reminders", reminders, name="owner-reminders"),
    path("visit.ics", calendar, name="owner-calendar"),
    *owner_wishes.urlpatterns,
    *owner_calendar.urlpatterns,
    *owner_bulletins.urlpatterns,
    *owner_app.urlpatterns,
    path("stop/<str:token>", stop, name="owner-stop"),
    path("<str:token>", enter, name="owner-enter"),
]

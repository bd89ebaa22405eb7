"""The calendar an owner subscribes to: an address that is a key of its own, shown once, ended at one touch."""

from hashlib import sha256

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_POST, require_safe

from tracker.actions.owner_links import end_feed, make_feed, open_link
from tracker.language import in_language
from tracker.models import OwnerLink
from tracker.pages.owner_door import back, private, with_link
from tracker.queries.feeds import feed_of


@with_link
@require_POST
def subscribe(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Make the address and show it this once, or end it."""
    if request.POST.get("wish") == "end":
        end_feed(link=link, now=timezone.now())
        return back("feed-ended")
    address = settings.PUBLIC_URL + reverse("owner-feed", args=[make_feed(link=link, now=timezone.now())])
    webcal = f"webcal://{address.partition('://')[2]}"
    return render(request, "owner/feed.html", {"address": address, "webcal": webcal})


@private
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Give the calendar, or 304 where the caller has it as it stands. Not counted: one provider asks for many people."""
    now = timezone.now()
    link = open_link(token, now, purpose="feed")
    with in_language(link.owner.language):
        content = feed_of(link, now)
    etag = f'"{sha256(content).hexdigest()[:32]}"'
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="service.ics"'
    response = get_conditional_response(request, etag=etag, response=response)
    if not isinstance(response, HttpResponseNotModified):
        response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"  # to be kept by its reader and asked for again
    return response


urlpatterns = [
    path("calendar", subscribe, name="owner-subscribe"),
    path("feed/<str:token>.ics", feed, name="owner-feed"),
]

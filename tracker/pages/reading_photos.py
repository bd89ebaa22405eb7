"""Owners' pictures of the display: taken with a reading, looked at by the desk, removed where their owner asks."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.language import say
from tracker.actions.pictures import Picture
from tracker.actions.reading_photos import drop_reading_photo, picture_of_display, waiting
from tracker.actions.release_refusals import PhotoTooLarge
from tracker.http.uploads import dropped_files
from tracker.models import OdometerReading, OwnerLink, ReadingPhoto
from tracker.pages.answers import press
from tracker.pages.roles import page
from tracker.queries.photos import photo_file


def picture_in(request: HttpRequest, link: OwnerLink) -> Picture | None:
    """Return the picture an owner sent with a reading, or the one that waits since the question about it; None without.

    Raises PhotoRefused, PhotoTooLarge.
    """
    if "photo" in dropped_files(request):
        raise PhotoTooLarge(
            say("The picture is larger than 12 MB."), field="file", remedy=say("Take it with a lower resolution.")
        )
    sent = request.FILES.get("photo")
    if sent is not None:
        return picture_of_display(sent.read())
    return waiting(link, request.POST.get("waiting", "")[:64])


@page()
def photo(request: HttpRequest, reading_id: int) -> HttpResponse:
    """The picture itself: for staff who are logged in, kept by no browser, since it can be removed."""
    row = get_object_or_404(ReadingPhoto, reading_id=reading_id)
    path = photo_file(row)
    if path is None:
        raise Http404
    named = {"Content-Disposition": f'inline; filename="reading-{reading_id}.jpg"', "X-Content-Type-Options": "nosniff"}
    return HttpResponse(path.read_bytes(), content_type="image/jpeg", headers=named)


@page()
@require_POST
def drop(request: HttpRequest, reading_id: int) -> HttpResponse:
    """Remove the picture."""
    get_object_or_404(OdometerReading, pk=reading_id)
    done = press(request, drop_reading_photo, reading_id=reading_id, by=request.user, now=timezone.now())
    if done is not None:
        messages.success(request, "The picture is removed. The reading stays.")
    return redirect("reading-doubt", reading_id)

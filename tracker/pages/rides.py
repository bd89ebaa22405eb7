"""A ride file at the desk: counted as what the odometer should show by then."""

from hashlib import sha256
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from services.language import say
from services.rides import Ride
from services.units import say_distance
from tracker.actions.rides import take_ride
from tracker.confined import FileTooLarge, say_bytes
from tracker.http.uploads import dropped_files
from tracker.models import RideFile, Trike
from tracker.pages import fields
from tracker.pages.answers import carry_out, status_for
from tracker.pages.roles import page
from tracker.queries.usage import unit_of
from tracker.rides.child import read_ride
from tracker.rides.limits import MAX_BYTES
from tracker.rides.opening import ONE_AT_A_TIME

FIELD = "file"


class RideForm(fields.Form):
    """One ride file."""

    file = forms.FileField(
        label="Ride file", help_text=f"GPX or FIT, one ride, at most {say_bytes(MAX_BYTES)}.", allow_empty_file=True
    )

    def __init__(self, request: HttpRequest) -> None:
        super().__init__(fields.sent(request), request.FILES if request.method == "POST" else None)
        self.fields[FIELD].required = FIELD not in dropped_files(request)


def ride_in(request: HttpRequest) -> tuple[Ride, str]:
    """Return the ride in the file that was sent, and the file's SHA-256. Raises what read_ride raises."""
    if FIELD in dropped_files(request):
        too_large = say("The file is larger than {most}.", most=say_bytes(MAX_BYTES))
        raise FileTooLarge(too_large, field=FIELD, remedy=say(ONE_AT_A_TIME))
    content = request.FILES[FIELD].read() if FIELD in request.FILES else b""
    return read_ride(content), sha256(content).hexdigest()


@page()
def add(request: HttpRequest, trike_id: int) -> HttpResponse:
    """Count a ride file of a trike."""
    trike = get_object_or_404(Trike, pk=trike_id)
    form = RideForm(request)
    if form.is_bound and form.is_valid():
        row = carry_out(form, _count, request=request, trike=trike)
        if row is not None:
            ridden, shows = (say_distance(km, unit_of(trike.pk)) for km in (row.km, row.reading.km))
            messages.success(request, f"Ride counted: {ridden}. The odometer should show about {shows}.")
            return redirect("trike", trike.pk)
    return render(request, "desk/ride_form.html", {"trike": trike, "form": form}, status=status_for(form))


def _count(*, request: HttpRequest, trike: Trike) -> RideFile:
    ride, digest = ride_in(request)
    told: dict[str, Any] = {"source": "desk", "by": request.user, "now": timezone.now()}
    return take_ride(trike_id=trike.pk, ride=ride, sha256=digest, **told)

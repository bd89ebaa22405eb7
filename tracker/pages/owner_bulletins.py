"""Bulletins on the owner's page: what concerns their trike, and that they have read it."""

from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from services.errors import Refusal
from tracker.actions.bulletins import acknowledge
from tracker.models import OwnerLink
from tracker.pages.answers import status_of
from tracker.pages.owner_door import back, with_link
from tracker.pages.owner_shown import show


@with_link
@require_POST
def read(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Note that the owner read a safety notice. Once is enough: pressed again it says thank you again."""
    typed = request.POST.get("bulletin", "")
    known = typed.isascii() and typed.isdigit() and len(typed) <= 18
    try:
        acknowledge(link=link, bulletin_id=int(typed) if known else 0, now=timezone.now())
    except Refusal as refusal:
        return show(request, link, status=status_of(refusal), trouble=("bulletins", refusal))
    return back("read")


urlpatterns = [path("read", read, name="owner-bulletin-read")]

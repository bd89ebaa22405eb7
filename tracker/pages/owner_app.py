"""The owner's page as an app on a phone: its manifest, its worker with the copy for no connection, and the way to leave.

The copy is one page under one name, `/o/`: no token is in it, nor the key of its forms, and the cookie that opens the page
cannot be read by scripts at all. The header `Owner-Copy` of each answer tells the worker what to do: `keep;
until=<seconds since 1970>` or `forget` (queries/owner_copy.py says which).
"""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import path, reverse
from django.views.decorators.http import require_POST, require_safe

from services.language import ENGLISH, say, spoken
from tracker.language import in_language
from tracker.models import OwnerLink
from tracker.pages.owner_door import COOKIE, COPY, FORGET, SEE_OTHER, language_of, private, with_link

GROUND, PAPER = "#16252f", "#f3f5f6"  # of icon.svg and owner.css


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """The app's name, icons and area (W3C Web Application Manifest): no token in it, one for each language.

    A browser asks for it without the cookie, so the page names its language in the address.
    """
    with in_language(request.GET.get("language", ENGLISH)):
        return JsonResponse(_app(), content_type="application/manifest+json")


def _app() -> dict[str, Any]:
    area, code = reverse("owner-page"), spoken()
    icons = [("icon-192.png", 192, "any"), ("icon-512.png", 512, "any"), ("app-icon-512.png", 512, "maskable")]
    return {
        "id": area, "start_url": area, "scope": area, "display": "standalone", "lang": "en-GB" if code == ENGLISH else code,
        "name": say("{workshop}: your trike", workshop=settings.WORKSHOP_NAME), "short_name": say("My trike"),
        "background_color": PAPER, "theme_color": GROUND,
        "icons": [
            {"src": static(f"tracker/{name}"), "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
            for name, size, purpose in icons
        ],
    }  # fmt: skip


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. From this address it may look after `/o/` and nothing else.

    It names the owner's language: where that changes it is another file, and fetches its page for no connection anew.
    """
    context = {"language": language_of(request)}
    response = render(request, "owner/worker.js", context, content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response


@private
@require_safe
def offline(request: HttpRequest) -> HttpResponse:
    """What the worker shows where it has no copy."""
    with in_language(language_of(request)):
        return render(request, "owner/offline.html")


@with_link
@require_POST
def leave(request: HttpRequest, link: OwnerLink) -> HttpResponse:
    """Forget the trike on this device: cookie and copy. The link in the mail still opens it."""
    response = HttpResponseRedirect(f"{reverse('owner-left')}?language={spoken()}", status=SEE_OTHER)
    response.delete_cookie(COOKIE, path=reverse("owner-page"), samesite="Lax")
    return response


@private
@require_safe
def left(request: HttpRequest) -> HttpResponse:
    """Say that it is forgotten, to the worker too. The cookie is gone: the address says in which language."""
    with in_language(request.GET.get("language", spoken())):
        response = render(request, "owner/left.html")
    response[COPY] = FORGET
    return response


urlpatterns = [
    path("app.webmanifest", manifest, name="owner-manifest"),
    path("worker.js", worker, name="owner-worker"),
    path("offline", offline, name="owner-offline"),
    path("leave", leave, name="owner-leave"),
    path("left", left, name="owner-left"),
]

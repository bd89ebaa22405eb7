"""The door to the owner's pages: a link, the cookie it is exchanged for, and the key its forms carry.

Opening anything changes nothing, since mail scanners open links too; only what is sent by a form does. Forms carry a
key made from the link itself: the browser's usual proof of origin is not sent under `Referrer-Policy: no-referrer`, so
Django's own check could never pass here.
"""

from collections.abc import Callable
from functools import wraps
from hashlib import sha256
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.csrf import csrf_exempt

from tracker.actions.owner_links import LinkGone, open_link
from tracker.http.throttles import PerAddress
from tracker.language import asked_for, in_language

COOKIE = "owner-link"
COPY, FORGET = "Owner-Copy", "forget"  # tells the worker what to do with its copy of the page (owner_app.py)
SEE_OTHER = 303

View = Callable[..., HttpResponse]


def private(view: View) -> View:
    """Answer a dead link with the same friendly page whatever is wrong, and what no form of ours sends with another; keep
    no copy, tell nobody the address.

    Until a link tells whose language it is, the browser's counts.
    """

    @csrf_exempt
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        with in_language(asked_for(request)):
            try:
                response = view(request, *args, **kwargs)
            except LinkGone as gone:
                response = render(request, "owner/gone.html", {"refusal": gone}, status=404)
                response[COPY] = FORGET
            except RequestDataTooBig:
                with in_language(language_of(request)):
                    response = render(request, "owner/too_large.html", status=413)
        response.headers.setdefault("Cache-Control", "no-store")
        response["Referrer-Policy"] = "no-referrer"
        response["X-Robots-Tag"] = "noindex, nofollow"
        return response

    return guarded


def language_of(request: HttpRequest) -> str:
    """Return the language of the owner whose link is in the cookie; where none works, what the browser asks for."""
    try:
        return open_link(request.COOKIES.get(COOKIE, ""), timezone.now()).owner.language
    except LinkGone:
        return asked_for(request)


def counted(view: View) -> View:
    """Let one address ask only so often. The stop link is not counted: a mailbox provider presses it for many people."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        throttle = PerAddress()
        if throttle.allow_request(request, view):
            return view(request, *args, **kwargs)
        response = render(request, "owner/busy.html", status=429)
        response["Retry-After"] = str(throttle.wait())
        return response

    return guarded


def with_link(view: View) -> View:
    """Open the link in the cookie; a form must carry the key that only this link's pages know."""

    @private
    @counted
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        token = request.COOKIES.get(COOKIE, "")
        link = open_link(token, timezone.now())
        if request.method == "POST" and not constant_time_compare(request.POST.get("key", ""), form_key(token)):
            raise LinkGone("This form is too old.", remedy="Open the link in your mail again.")
        with in_language(link.owner.language):
            return view(request, link, *args, **kwargs)

    return guarded


def form_key(token: str) -> str:
    """Return what the forms behind a link carry."""
    return sha256(f"form of {token}".encode(errors="replace")).hexdigest()


def back(said: str) -> HttpResponse:
    """Go back to the page, which says that it is done."""
    return HttpResponseRedirect(f"{reverse('owner-page')}?said={said}", status=SEE_OTHER)

"""Who may open which page: anonymous people log in, others see what their role may see and nothing else exists."""

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse

from tracker.http.roles import ALL, RULERS, SIGNERS, WRITERS

__all__ = ["ALL", "RULERS", "SIGNERS", "WRITERS", "page", "roles_of", "roles_of_user"]

NOBODY: frozenset[str] = frozenset()
READING = {"GET", "HEAD", "OPTIONS"}

View = Callable[..., HttpResponse]


def roles_of(request: HttpRequest) -> frozenset[str]:
    """Return the roles of who is logged in, read once per request."""
    if not hasattr(request, "desk_roles"):
        request.desk_roles = roles_of_user(request.user)
    return request.desk_roles


def roles_of_user(user: Any) -> frozenset[str]:
    """Return the roles of a user; whoever set the service up (superuser) has them all."""
    if not user.is_authenticated:
        return NOBODY
    if user.is_superuser:
        return ALL
    return frozenset(user.groups.values_list("name", flat=True)) & ALL


def _page_asked_for(request: HttpRequest) -> str:
    """Where to go on after logging in: a form that was sent leads back to its page, which can be looked at again."""
    if request.method not in READING:
        came_from = urlsplit(request.headers.get("Referer", ""))
        if came_from.netloc == request.get_host():
            return came_from._replace(scheme="", netloc="", fragment="").geturl()
    return request.get_full_path()


def page(see: frozenset[str] = ALL, do: frozenset[str] = WRITERS) -> Callable[[View], View]:
    """Guard a page: `see` may open it, `do` may send its forms.

    Anonymous people are asked to log in. Who may not see it gets 404, as if it were not there; who may see but not
    act gets 403.
    """

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(_page_asked_for(request))
            roles = roles_of(request)
            if not roles & see:
                raise Http404
            if request.method not in READING and not roles & do:
                raise PermissionDenied("Your role may look at this page but not change it.")
            return view(request, *args, **kwargs)

        guarded.see, guarded.do = see, do
        return guarded

    return guard

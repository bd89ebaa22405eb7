"""What every page shows: the workshop, the way around, what this person may do."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from tracker.pages.roles import RULERS, SIGNERS, WRITERS, roles_of

NAV = (
    ("today", "/", "Today"),
    ("due", "/due/", "Due list"),
    ("outlook", "/outlook/", "Outlook"),
    ("trikes", "/trikes/", "Trikes"),
    ("parts", "/components/", "Parts"),
    ("jobs", "/jobs/", "Job cards"),
    ("bulletins", "/bulletins/", "Bulletins"),
    ("review", "/review/", "Review"),
    ("readings", "/readings/", "Readings"),
    ("messages", "/messages/", "Messages"),
    ("imports", "/imports/", "Import"),
)


def workshop(request: HttpRequest) -> dict[str, Any]:
    """Return the workshop's name, the navigation and the rights of who is logged in."""
    base = {
        "workshop": settings.WORKSHOP_NAME, "workshop_phone": settings.WORKSHOP_PHONE,
        "workshop_email": settings.WORKSHOP_EMAIL,
    }  # fmt: skip
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated or request.path.startswith("/admin/"):
        return base
    roles = roles_of(request)
    return base | {
        "nav": _nav(request.path, roles),
        "may_write": bool(roles & WRITERS),
        "may_sign": bool(roles & SIGNERS),
        "may_rule": bool(roles & RULERS),
        "may_administer": "admin" in roles,
    }


def _nav(path: str, roles: frozenset[str]) -> list[dict[str, Any]]:
    entries = list(NAV)
    if roles & RULERS:
        entries.append(("intervals", "/intervals/", "Intervals"))
    if "admin" in roles:
        entries.append(("admin", "/admin/", "Admin"))
    return [
        {"href": href, "words": words, "here": path == href if href == "/" else path.startswith(href)}
        for _, href, words in entries
    ]

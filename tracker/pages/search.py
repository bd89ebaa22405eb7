"""The search field of every page."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from tracker.pages.roles import page
from tracker.queries.search import Hit, find, the_one

TITLES = (
    ("trike", "Trikes"),
    ("component", "Components"),
    ("batch", "Batches"),
    ("owner", "Owners"),
    ("job", "Job cards"),
)
LIMIT = 25


@page()
def search(request: HttpRequest) -> HttpResponse:
    """Go straight to an exact hit; otherwise list what was found, by kind."""
    text = request.GET.get("q", "").strip()
    hits = find(text, LIMIT) if text else []
    one = the_one(hits)
    if one is not None:
        return redirect(address_of(one))
    groups = [
        {"title": title, "hits": [(hit, address_of(hit)) for hit in found], "full": len(found) >= LIMIT}
        for kind, title in TITLES
        if (found := [hit for hit in hits if hit.kind == kind])
    ]
    return render(request, "desk/search.html", {"find_text": text, "groups": groups, "total": len(hits)})


def address_of(hit: Hit) -> str:
    """Return the page of a hit."""
    if hit.kind == "batch":
        return f"{reverse('components')}?{urlencode({'batch': hit.id})}"
    return reverse(hit.url_name, args=[hit.id])

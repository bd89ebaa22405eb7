"""The search field of every page, and the short list under it while somebody types."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from services.errors import Refusal
from services.identity import canonical_serial
from tracker.pages.roles import page
from tracker.queries.search import Hit, briefly, find, the_one
from tracker.queries.search_text import SHORTEST

TITLES = (
    ("trike", "Trikes"),
    ("component", "Components"),
    ("batch", "Batches"),
    ("owner", "Owners"),
    ("job", "Job cards"),
)
ONE = {"trike": "Trike", "component": "Component", "batch": "Batch", "owner": "Owner", "job": "Job card"}
LIMIT = 25
HINTS = 8


@page()
@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Go straight to an exact hit; otherwise list what was found, what is stolen first, then by kind."""
    text = request.GET.get("q", "").strip()
    hits = find(text, LIMIT) if text else []
    one = the_one(hits)
    if one is not None:
        if one.mark and one.kind != "trike":  # a stolen trike's own page says so itself
            messages.error(request, f"{one.title}: {one.mark}.", extra_tags="stop")
        return redirect(address_of(one))
    groups = _groups(hits)
    context = {
        "find_text": text, "groups": groups, "total": len(hits), "more": any(group["full"] for group in groups),
        "too_short": 0 < len(text) < SHORTEST,
        "marked": [(ONE[hit.kind], hit, address_of(hit)) for hit in hits if hit.mark], "new_serial": _new_serial(text),
    }  # fmt: skip
    return render(request, "desk/search.html", context)


@page()
@require_safe
def hints(request: HttpRequest) -> HttpResponse:
    """The first few hits as options of a list: a piece of a page for static/tracker/find.js, kept by no cache."""
    found = briefly(find(request.GET.get("q", ""), HINTS), HINTS)
    answer = render(
        request, "desk/parts/find_hints.html", {"hits": [(ONE[hit.kind], hit, address_of(hit)) for hit in found]}
    )
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def address_of(hit: Hit) -> str:
    """Return the page of a hit."""
    if hit.kind == "batch":
        return f"{reverse('components')}?{urlencode({'batch': hit.id})}"
    return reverse(hit.url_name, args=[hit.id])


def _groups(hits: list[Hit]) -> list[dict]:
    """Return the hits kind by kind, without the marked ones, which stand above them all."""
    groups = []
    for kind, title in TITLES:
        of_kind = [hit for hit in hits if hit.kind == kind]
        plain = [(hit, address_of(hit)) for hit in of_kind if not hit.mark]
        if plain:
            groups.append({"title": title, "hits": plain, "full": len(of_kind) >= LIMIT})
    return groups


def _new_serial(text: str) -> str:
    """Return the text as a serial that may be taken into stock: one word with a digit in it; otherwise ''."""
    try:
        serial = canonical_serial(text)
    except Refusal:
        return ""
    return serial if " " not in serial and any(character.isdigit() for character in serial) else ""

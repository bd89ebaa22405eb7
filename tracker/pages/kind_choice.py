"""What is added for a kind of part asks for the kind first: the same page, wherever it is asked."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from services.parts import PART_KINDS
from tracker.models.fleet import part_kinds
from tracker.pages.paging import asked


def chosen_kind(request: HttpRequest) -> str:
    """Return the kind of part that the address names; '' while none is chosen. Raises Http404 for an unknown one."""
    kind = asked(request, "kind")
    if kind and kind not in PART_KINDS:
        raise Http404
    return kind


def choose_kind(request: HttpRequest, title: str, *, back: str, of: str) -> HttpResponse:
    """Draw the page that asks for the kind; `of` names the list it belongs to and leads `back` there."""
    context = {"kinds": part_kinds(), "title": title, "back": back, "of": of}
    return render(request, "desk/kind_choice.html", context)

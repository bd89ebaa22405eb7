"""The API explained: the OpenAPI document, the page to browse it, and a page for every kind of problem."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from tracker.http.problem_kinds import all_kinds


class Schema(SpectacularAPIView):
    """The OpenAPI document."""

    authentication_classes = ()


class Browse(SpectacularSwaggerSplitView):
    """The page to browse it, without anything from elsewhere."""

    authentication_classes = ()
    url_name = "schema"


def problems(request: HttpRequest) -> HttpResponse:
    """Every kind of problem on one page."""
    return render(request, "api/problems.html", {"kinds": all_kinds().values()})


def problem(request: HttpRequest, code: str) -> HttpResponse:
    """One kind of problem. Raises Http404."""
    kind = all_kinds().get(code)
    if kind is None:
        raise Http404
    return render(request, "api/problems.html", {"kinds": [kind], "one": True})

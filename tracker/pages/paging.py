"""Pages of a list: fifty rows, and no page number can break it."""

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

PER_PAGE = 50


def paged(request: HttpRequest, rows: QuerySet, per_page: int = PER_PAGE) -> Page:
    """Return the page the address asks for; the nearest one when it asks for nonsense."""
    return Paginator(rows, per_page).get_page(request.GET.get("page"))


def asked(request: HttpRequest, name: str, allowed: set[str] | None = None) -> str:
    """Return a filter value of the address; '' when it is absent, too long or none of `allowed`."""
    value = request.GET.get(name, "").strip()[:80]
    if not value.isprintable() or (allowed is not None and value not in allowed):
        return ""
    return value

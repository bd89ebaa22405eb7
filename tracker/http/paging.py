"""Cursor pages: the place after the last row shown, signed, so that rows coming and going move nobody's page."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.core import signing
from django.db.models import Q, QuerySet
from django.utils.dateparse import parse_date, parse_datetime
from rest_framework.pagination import BasePagination
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from tracker.http.problems import Problem

DEFAULT_LIMIT = 50
MAX_LIMIT = 200
PARAMETERS = {
    "limit": ("integer", f"How many to return, 1 to {MAX_LIMIT}. Default {DEFAULT_LIMIT}."),
    "cursor": ("string", "Where to go on: taken from `next` or `previous`, never made up."),
    "order": ("string", "Order of the list; a leading '-' turns it round."),
}


class CursorPages(BasePagination):
    """Keyset pages over a total order. `view.orders` lists the orders a list knows; the key is the tie-breaker."""

    def paginate_queryset(self, queryset: QuerySet, request: Any, view: Any = None) -> list[Any]:
        """Return the rows of the page. Raises Problem: bad-cursor, bad-query."""
        query = request.query_params
        self.request = request
        self.limit = limit_of(query.get("limit"))
        self.order = order_of(query.get("order"), view.orders)
        self.salt = f"cursor:{request.path}:{self.order}"
        back, values = self._read(query.get("cursor"))
        keys = _keys(self.order)
        rows = queryset.order_by(*(_turned(keys) if back else keys))
        if values is not None:
            rows = rows.filter(_beyond(_turned(keys) if back else keys, values))
        found = list(rows[: self.limit + 1])
        more, page = len(found) > self.limit, found[: self.limit]
        self.page = page[::-1] if back else page
        self.has_next = bool(page) if back else more
        self.has_previous = more if back else values is not None and bool(page)
        return self.page

    def _read(self, cursor: str | None) -> tuple[bool, list[Any] | None]:
        if cursor is None:
            return False, None
        try:
            back, values = signing.loads(cursor, salt=self.salt)
            return bool(back), [_from_text(value) for value in values]
        except (signing.BadSignature, ValueError, TypeError) as error:
            raise Problem("bad-cursor", "Begin the list again without a cursor.") from error

    def _link(self, back: bool) -> str | None:
        if not (self.has_previous if back else self.has_next):
            return None
        row = self.page[0 if back else -1]
        values = [_to_text(_value(row, key.lstrip("-"))) for key in _keys(self.order)]
        cursor = signing.dumps([int(back), values], salt=self.salt)
        return replace_query_param(self.request.build_absolute_uri(), "cursor", cursor)

    def get_paginated_response(self, data: Any) -> Response:
        """Return the page with the addresses of its neighbours, in the body and as Link (RFC 8288)."""
        links = {"next": self._link(back=False), "previous": self._link(back=True)}
        response = Response({**links, "results": data})
        named = (("next", links["next"]), ("prev", links["previous"]))
        if any(links.values()):
            response["Link"] = ", ".join(f'<{url}>; rel="{rel}"' for rel, url in named if url)
        return response

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """The page as OpenAPI describes it."""
        link = {"type": "string", "format": "uri", "nullable": True}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """`limit`, `cursor` and `order` as OpenAPI describes them."""
        shapes: dict[str, dict[str, Any]] = {
            "limit": {"type": "integer", "minimum": 1, "maximum": MAX_LIMIT, "default": DEFAULT_LIMIT},
            "cursor": {"type": "string"},
            "order": {"type": "string", "enum": list(view.orders), "default": view.orders[0]},
        }
        return [
            {"name": name, "in": "query", "required": False, "description": PARAMETERS[name][1], "schema": shape}
            for name, shape in shapes.items()
        ]


def limit_of(text: str | None) -> int:
    """Return the page size asked for. Raises Problem bad-query."""
    if text is None:
        return DEFAULT_LIMIT
    if text.isascii() and text.isdigit() and len(text) <= 3 and 1 <= int(text) <= MAX_LIMIT:
        return int(text)
    raise Problem("bad-query", f"limit is a whole number from 1 to {MAX_LIMIT}.")


def order_of(text: str | None, orders: Sequence[str]) -> str:
    """Return the order asked for, the first of `orders` by default. Raises Problem bad-query."""
    if text is None:
        return orders[0]
    if text not in orders:
        raise Problem("bad-query", f"order is one of {', '.join(orders)}.")
    return text


def _keys(order: str) -> list[str]:
    """The full sort key: the order asked for and, so that it is total, the row's id in the same direction."""
    return [order] if order.lstrip("-") == "id" else [order, "-id" if order.startswith("-") else "id"]


def _turned(keys: Sequence[str]) -> list[str]:
    return [key[1:] if key.startswith("-") else f"-{key}" for key in keys]


def _beyond(keys: Sequence[str], values: Sequence[Any]) -> Q:
    """Rows that come after `values` in the order of `keys`."""
    if len(keys) != len(values):
        raise Problem("bad-cursor", "Begin the list again without a cursor.")
    condition, same = Q(), Q()
    for key, value in zip(keys, values, strict=True):
        name = key.lstrip("-")
        condition |= same & Q(**{f"{name}__{'lt' if key.startswith('-') else 'gt'}": value})
        same &= Q(**{name: value})
    return condition


def _value(row: Any, path: str) -> Any:
    for name in path.split("__"):
        row = getattr(row, name)
    return row


def _to_text(value: Any) -> Any:
    if isinstance(value, datetime):
        return f"t{value.isoformat()}"
    if isinstance(value, date):
        return f"d{value.isoformat()}"
    return f"s{value}" if isinstance(value, str) else value


def _from_text(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    kind, text = value[:1], value[1:]
    return {"t": parse_datetime, "d": parse_date, "s": str}[kind](text)

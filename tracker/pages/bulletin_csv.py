"""The components under a bulletin as CSV, for a mail merge or a spreadsheet; owners only for roles that see their data."""

from collections.abc import Iterator
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone

from services.safe_cells import Value, csv_text
from tracker.http.roles import PERSONAL_DATA
from tracker.models import Bulletin
from tracker.pages.roles import page, roles_of
from tracker.queries import bulletin_pages as queries
from tracker.queries.clock import local_date

HEAD = ("Bulletin", "Component", "Part number", "Part type", "Batch", "Made on", "Firmware", "Certainty", "State", "Since",
        "Note", "Where", "Trike", "Plate", "Position")  # fmt: skip
PEOPLE = ("Owner", "E-mail", "Phone", "A letter reaches them")


@page()
def export(request: HttpRequest, bulletin_id: int) -> HttpResponse:
    """Every component under the bulletin, a line each."""
    row = queries.whole(bulletin_id)
    if row is None:
        raise Http404
    people = bool(roles_of(request) & PERSONAL_DATA)
    text = csv_text((*HEAD, *PEOPLE) if people else HEAD, _lines(row, people=people))
    name = f"{row.number}-{local_date(timezone.now()).isoformat()}.csv"
    return HttpResponse(
        text, content_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _lines(row: Bulletin, *, people: bool) -> Iterator[list[Value]]:
    for found in queries.told(queries.parts_in(row.pk)):
        yield _piece(row, found) + (_person(found) if people else [])


def _piece(row: Bulletin, found: queries.PartRow) -> list[Value]:
    part, component, here = found.part, found.part.component, found.here
    return [
        row.number, str(component), component.part_type.part_number, component.part_type.name, component.batch,
        component.made_on, component.firmware, part.get_certainty_display(), found.words, part.since, part.note,
        component.get_state_display(), *_place(here),
    ]  # fmt: skip


def _place(here: Any) -> list[Value]:
    return [str(here.trike), here.trike.plate, here.get_position_display()] if here else [None, None, None]


def _person(found: queries.PartRow) -> list[Value]:
    owner = found.owner
    return [owner.name, owner.email, owner.phone, found.mailed] if owner else [None, None, None, None]

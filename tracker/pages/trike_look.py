"""The page of one trike: who, what, where it stands, what is due, its parts drawn and listed, and its logbook."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString

from services.forecast_words import say_rate
from services.part_state import full_words
from tracker.models import Trike
from tracker.pages.distance_chart import distance_chart
from tracker.pages.drawing import trike_drawing
from tracker.pages.drawing_marks import legend, list_mark
from tracker.pages.log_filter import log_shown
from tracker.pages.roles import page
from tracker.pages.sparkline import last_value, sparkline
from tracker.queries.clock import local_date
from tracker.queries.trike_look import TrikeLook, trike_look
from tracker.queries.trike_parts import Place


@dataclass(frozen=True)
class Way:
    """A page that serves a trike now and then: its name, how its link reads, and for which trikes it makes sense."""

    name: str
    words: str
    fits: Callable[[Trike], bool]


def _is_out(row: Trike) -> bool:
    return row.state == Trike.State.DELIVERED


def _is_kept(row: Trike) -> bool:
    return row.state != Trike.State.RETIRED


# What serves only now and then stands under 'More'.
WAYS = (
    Way("report", "Report a crash", _is_out),
    Way("swap-display", "Swap the display", _is_out),
    Way("change-trike", "Change", lambda row: True),
    Way("pass-on", "Another owner", lambda row: _is_out(row) and not row.stolen_on),
    Way("stolen", "Report stolen", lambda row: _is_kept(row) and not row.stolen_on),
    Way("stolen", "Found again", lambda row: bool(row.stolen_on)),
    Way("retire", "Retire", _is_kept),
    Way("label", "Plate label", _is_kept),
)
PAPERS = (Way("passport", "Service passport", lambda row: row.state != Trike.State.IN_BUILD),)


@dataclass(frozen=True)
class PartRow:
    """One line of the components: a position, its state as mark and words, and what was measured last."""

    place: Place
    mark: SafeString
    words: str
    spark: SafeString | str = ""
    last: str = ""


@page()
def trike(request: HttpRequest, trike_id: int) -> HttpResponse:
    """One trike at one look."""
    now = timezone.now()
    found = trike_look(trike_id, now)
    if found is None:
        raise Http404
    today = local_date(now)
    context = {
        "found": found,
        "trike": found.trike,
        "suspects": [row for row in found.readings if row.verdict == "suspect"],
        "doubts": found.doubts,
        "rides": say_rate(found.distance.rate, found.unit),
        "chart": distance_chart(found.picture, found.unit) if found.picture else None,
        "log": log_shown(request, trike_id, found.stays),
        "ways": _ways(found.trike, WAYS),
        "papers": _ways(found.trike, PAPERS),
    }
    return render(request, "desk/trike.html", context | _parts(found, today) | _due(found))


def _parts(found: TrikeLook, today: date) -> dict[str, object]:
    """The drawing, its legend and the list that says the same."""
    rows = [_row(place, today) for place in found.places if place.state.code != "empty"]
    return {
        "drawing": trike_drawing(found.places, today),
        "legend": legend({place.state.code for place in found.places}),
        "rows": sorted(rows, key=lambda row: row.place.part is None),
        "empty": [place.title for place in found.places if place.state.code == "empty"],
    }


def _row(place: Place, today: date) -> PartRow:
    series = place.part.series if place.part else None
    drawn = (sparkline(series), last_value(series)) if series else ("", "")
    return PartRow(place, list_mark(place.state.code), full_words(place.state, today), *drawn)


def _due(found: TrikeLook) -> dict[str, object]:
    """Due lines with the position of their part."""
    where = {place.part.fitment.component_id: place.title for place in found.places if place.part}
    return {"due": [(row, where.get(row.line.component_id, "")) for row in found.due]}


def _ways(row: Trike, ways: Iterable[Way]) -> list[tuple[str, str]]:
    """(address, words) of the pages that make sense for this trike."""
    return [(reverse(way.name, args=[row.pk]), way.words) for way in ways if way.fits(row)]

"""Text that turns its direction is kept as typed and shown written out, on pages and in inputs."""

import pytest

from tests import factories as make
from tracker.models import Owner

TYPED, SHOWN = "pays \u202egnp.exe", "pays [U+202E]gnp.exe"


def test_a_name_is_kept_as_typed(desk, db):
    values = {
        "name": TYPED,
        "time_zone": "Europe/London",
        "distance_unit": "km",
        "pressure_unit": "bar",
        "language": "en",
    }
    desk.post("/owners/new/", values)
    assert Owner.objects.get().name == TYPED


@pytest.mark.parametrize(
    "path",
    ["/owners/{owner}/", "/owners/{owner}/change/", "/trikes/{trike}/", "/jobs/{card}/intake/", "/owners/?q=\u202e"],
)
def test_it_is_shown_written_out(desk, workshop, path):
    Owner.objects.filter(pk=workshop.owner.pk).update(name=TYPED)
    workshop.card.complaint = TYPED
    workshop.card.save()
    page = desk.get(path.format(owner=workshop.owner.pk, trike=workshop.trike.pk, card=workshop.card.pk))
    assert "[U+202E]" in page.content.decode()
    assert "\u202e" not in page.content.decode()
    assert SHOWN in page.content.decode() or "?q=" in path
    assert int(page["Content-Length"]) == len(page.content)


def test_what_is_no_page_is_left_as_it_is(desk, db):
    make.OwnerFactory(name=TYPED)
    answer = desk.get("/api/v1/owners")
    assert answer.json()["results"][0]["name"] == TYPED

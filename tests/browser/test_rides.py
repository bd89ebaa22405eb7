"""A ride file sent from a phone, without scripts, and at the desk."""

from datetime import timedelta

import pytest
from django.utils import timezone

from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.looking import look
from tests.rides.files import fit, gpx, northward, session
from tracker.actions.owner_links import make_link
from tracker.models import RideFile, Trike

YESTERDAY = timezone.now().replace(hour=9, minute=0, second=0, microsecond=0) - timedelta(days=1)


@pytest.fixture
def trike(transactional_db) -> Trike:
    trike = make.OwnershipFactory(owner__distance_unit="km").trike
    make.OdometerReadingFactory(trike=trike, read_at=YESTERDAY - timedelta(days=20))
    return trike


@pytest.fixture
def phone(chromium, live_server, trike):
    """The owner's phone, 390 px wide, with scripts switched off, at the page behind the link."""
    owner_id = trike.ownerships.get().owner_id
    token = make_link(trike_id=trike.pk, owner_id=owner_id, purpose="page", now=timezone.now())[1]
    viewport = {"width": 390, "height": 844}
    context = chromium.new_context(
        base_url=live_server.url, viewport=viewport, java_script_enabled=False, has_touch=True
    )
    page = context.new_page()
    page.goto(f"/o/{token}")
    yield page
    context.close()


def choose(page, content: bytes, name: str = "ride.gpx") -> None:
    page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": content})


def see(page, name: str) -> None:
    """Keep a picture of the phone; nothing may be wider than it."""
    page.screenshot(path=SHOTS / f"rides-{name}-390.png", full_page=True)
    widest = max(box["x"] + box["width"] for box in (row.bounding_box() for row in page.locator("form *").all()) if box)
    assert widest <= 390


def test_an_owner_sends_a_ride_from_the_phone(phone, trike):
    way = northward(12_000, seconds=3_600, every=5, start=YESTERDAY)
    see(phone, "before")
    choose(phone, gpx(way))
    phone.tap("text=Count it")
    phone.wait_for_url("**/o/?said=ride")
    assert "Your ride is counted." in phone.inner_text("main")
    assert "1 ride since" in phone.inner_text("main")
    see(phone, "counted")
    assert RideFile.objects.get().trike == trike
    choose(phone, gpx(way))
    phone.tap("text=Count it")
    assert "is counted already" in phone.inner_text("#ride-refused")
    see(phone, "twice")


def test_what_an_owner_touches_is_large_enough(phone):
    """44 px: WCAG 2.2, success criterion 2.5.5."""
    for target in ("#file", "text=Count it"):
        assert phone.locator(target).bounding_box()["height"] >= 44


def test_a_file_that_is_no_ride_is_told_in_words(phone):
    choose(phone, b"hello", "notes.txt")
    phone.tap("text=Count it")
    assert "neither a GPX nor a FIT file" in phone.inner_text("#ride-refused")
    see(phone, "refused")


def test_the_desk_counts_a_ride_from_the_page_for_a_reading(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/reading/")
    look(desk, "rides-reading")
    desk.click("text=Count a ride file")
    look(desk, "rides-desk")
    desk.set_input_files("#id_file", {"name": "a.fit", "mimeType": "x/y", "buffer": b"hello"})
    desk.click("text=Count the ride")
    assert "neither a GPX nor a FIT file" in desk.inner_text("#id_file_error")
    look(desk, "rides-desk-refused")
    content = fit([session(18.4, start=YESTERDAY)])
    desk.set_input_files("#id_file", {"name": "a.fit", "mimeType": "x/y", "buffer": content})
    desk.click("text=Count the ride")
    desk.wait_for_url(f"**/trikes/{trike.pk}/")
    assert "Ride counted: 18 km" in desk.inner_text("main")
    look(desk, "rides-trike")
    desk.goto("/readings/?verdict=estimated")
    assert "at least about 2,018 km" in desk.inner_text("main")
    look(desk, "rides-readings")

"""Closing days and a picture with a reading, walked in Chromium: by the owner's thumb and at the desk."""

from datetime import timedelta

import pytest
from django.utils import timezone

from tests import factories as make
from tests import pictures
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.browser.test_owner import phone, see, trike  # noqa: F401 - fixtures
from tracker.models import Closing, OdometerReading, ReadingPhoto


@pytest.fixture(autouse=True)
def _own_photos(photo_folder):
    """Photos go to a folder of the test's own."""


def seen(page, name: str) -> None:
    look(page, name)
    assert faults(page) == [], name


def test_the_desk_closes_a_week_rings_whom_it_must_and_opens_again(desk):
    day = timezone.localdate() + timedelta(days=21)
    owner = make.OwnerFactory(name="Maud Pettersson", phone="+44 20 7946 0812")
    make.AppointmentFactory(owner=owner, on=day, state="confirmed", asked_at=timezone.now())
    make.AppointmentFactory(owner__phone="", on=day, asked_at=timezone.now())
    desk.goto("/appointments/")
    desk.click("text=Closing days")
    seen(desk, "closings-empty")
    desk.fill("[name=first]", day.isoformat())
    desk.fill("[name=last]", (day - timedelta(days=1)).isoformat())
    desk.click("text=Close on these days")
    assert "It ends before it begins." in desk.inner_text("main")
    seen(desk, "closings-refused")
    desk.fill("[name=last]", (day + timedelta(days=6)).isoformat())
    desk.fill("[name=reason]", "Spring holiday")
    desk.click("text=Close on these days")
    assert "2 owners expect us on a day of it" in desk.inner_text("main")
    assert desk.get_attribute("a[href^='tel:']", "href") == "tel:+442079460812"
    seen(desk, "closings")
    desk.goto("/")
    assert "1 agreed day while we are closed." in desk.inner_text("main")
    seen(desk, "today-closed")
    desk.click("text=See whom to ring")
    desk.click("text=Open again")
    assert not Closing.objects.exists()


def test_an_owner_sends_a_picture_and_the_desk_judges_by_it(phone, desk):  # noqa: F811
    phone.fill("#value", "12")  # less than the last reading
    phone.set_input_files("#photo", {"name": "IMG_7.jpg", "mimeType": "image/jpeg", "buffer": pictures.jpeg(800, 600)})
    phone.tap("#reading button")
    phone.wait_for_url("**/o/?said=doubtful")
    row = ReadingPhoto.objects.get()
    desk.goto(f"/readings/{row.reading_id}/")
    picture = desk.locator("figure.display img")
    picture.scroll_into_view_if_needed()
    shown = "image => image.decode().then(() => image.naturalWidth)"  # a polled function needs eval, which the policy refuses
    assert picture.evaluate(shown) == 800
    seen(desk, "reading-picture")
    desk.click("text=Remove the picture")
    assert "The picture is removed." in desk.inner_text("main")
    assert OdometerReading.objects.filter(pk=row.reading_id).exists()


def test_a_picture_that_cannot_be_read_is_refused_beside_its_field(phone):  # noqa: F811
    phone.fill("#value", "1950")
    heic = b"\x00\x00\x00\x18ftypheic" + b"\x00" * 64
    phone.set_input_files("#photo", {"name": "IMG_8.HEIC", "mimeType": "image/heic", "buffer": heic})
    phone.tap("#reading button")
    phone.wait_for_selector("#refused")
    assert phone.get_attribute("#photo", "aria-invalid") == "true"
    assert phone.input_value("#value") == "1950"
    see(phone, "picture-refused")

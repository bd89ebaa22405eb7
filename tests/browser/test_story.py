"""The desk's day in a real browser: import, due list, trike, scan. Screenshots land in an ignored folder."""

from datetime import date
from pathlib import Path

import pytest
from django.utils import timezone

from tests.browser.conftest import SHOTS
from tracker.actions.imports import bring_in
from tracker.models import Component, Trike

FIXTURES = Path(__file__).parents[2] / "fixtures"
WIDTHS = (1280, 820, 390)


@pytest.fixture
def workshop(transactional_db):
    """The demo workshop, up to its deliveries."""
    anchor = date.fromisoformat((FIXTURES / "anchor.txt").read_text().strip())
    now = timezone.now()
    files = [(name, (FIXTURES / name).read_bytes()) for name in ("catalogue.csv", "parts.csv", "deliveries.xlsx")]
    bring_in(files=files, by=None, now=now, shift_days=(now.date() - anchor).days, write=True)


def look(page, name):
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=SHOTS / f"{name}-{width}.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        assert not wide, f"{name} scrolls sideways at {width} px"
    page.set_viewport_size({"width": 1280, "height": 900})


def test_a_scanned_serial_leads_straight_to_its_component(workshop, desk):
    assert Trike.objects.count() == 240
    serial = Component.objects.filter(part_type__kind="battery", state="fitted").values_list("serial", flat=True)[0]
    desk.keyboard.type(serial.lower())
    desk.keyboard.press("Enter")
    desk.wait_for_url("**/components/**")
    assert serial in desk.inner_text("main")
    look(desk, "component")


def test_the_first_pages_fit_every_width(workshop, desk):
    trike = Trike.objects.order_by("pk").first()
    for name, path in (
        ("today", "/"),
        ("due", "/due/?window=all"),
        ("trikes", "/trikes/"),
        ("trike", f"/trikes/{trike.pk}/"),
    ):
        answer = desk.goto(path)
        assert answer.status == 200
        look(desk, name)

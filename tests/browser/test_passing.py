"""Another owner, stolen, found, retired in a real browser: at three widths, by keyboard alone, without a serious fault."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from tests import factories as make
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.pages.conftest import carry
from tracker.models import Component, Owner, Trike


@pytest.fixture
def trike(transactional_db) -> Trike:
    """A delivered trike with an owner and nine parts, ridden last month."""
    trike = make.TrikeFactory(frame_serial="F26-1040", plate="LT-310")
    make.OwnershipFactory(trike=trike, owner=make.OwnerFactory(name="Zoë Ångström", search_name="zoe angstrom"))
    parts = [("frame", "frame"), ("motor", "boom-motor"), ("battery", "battery"), ("chain", "chain"),
             ("hub_geared", "rear-hub"), ("air_shock", "rear-shock"), ("elastomer", "elastomer-left"),
             ("elastomer", "elastomer-right"), ("display", "display")]  # fmt: skip
    for number, (kind, position) in enumerate(parts):
        carry(trike, kind, position, trike.frame_serial if kind == "frame" else f"K24{number:03d}")
    make.OdometerReadingFactory(trike=trike, value=2000, read_at=timezone.now() - timedelta(days=30))
    return trike


def looked_at(desk, name: str) -> None:
    """Pictures at three widths; axe at the widest and the narrowest."""
    look(desk, f"passing-{name}")
    for width in (1280, 390):
        desk.set_viewport_size({"width": width, "height": 900})
        assert faults(desk) == []
    desk.set_viewport_size({"width": 1280, "height": 900})


def tab_to(desk, selector: str) -> None:
    """Reach an element by the tab key alone."""
    for _ in range(80):
        desk.keyboard.press("Tab")
        if desk.evaluate("s => document.activeElement.matches(s)", selector):
            return
    raise AssertionError(f"{selector} is not reached by the keyboard")


def test_a_trike_passes_on_by_keyboard_alone(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/owner/")
    looked_at(desk, "choose")
    desk.keyboard.type("Vale")  # the field has the focus
    desk.keyboard.press("Enter")
    desk.wait_for_url("**find=Vale**")
    tab_to(desk, "a[href^='/owners/new/']")
    desk.keyboard.press("Enter")
    desk.wait_for_url("**/owners/new/**")
    assert desk.input_value("input[name=name]") == "Vale"
    desk.press("input[name=name]", "Enter")
    desk.wait_for_url("**/owner/?owner=*")
    looked_at(desk, "transfer")
    tab_to(desk, "input[name=reading]")
    desk.keyboard.type("9000")
    tab_to(desk, "input[name=agreed]")
    desk.keyboard.press("Space")
    tab_to(desk, "button.main-act")
    with desk.expect_navigation():
        desk.keyboard.press("Enter")
    assert desk.is_checked("input[name=agreed]")  # what was typed is kept
    looked_at(desk, "refused")
    desk.fill("input[name=agreed_source]", "by telephone")
    desk.fill("input[name=reading]", "2040")
    desk.press("input[name=reading]", "Enter")
    desk.wait_for_url(f"**/trikes/{trike.pk}/")
    looked_at(desk, "passed")
    assert Owner.objects.get(name="Vale").agreed_source == "by telephone"
    assert trike.ownerships.get(until=None).owner.name == "Vale"


def test_a_theft_is_reported_shown_everywhere_and_taken_back(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/stolen/")
    looked_at(desk, "stolen-form")
    desk.fill("input[name=note]", "report 4711, station yard")
    tab_to(desk, "button.danger")
    desk.keyboard.press("Enter")
    desk.wait_for_url(f"**/trikes/{trike.pk}/")
    assert "report 4711, station yard" in desk.inner_text("main")
    looked_at(desk, "stolen")
    desk.goto("/trikes/")
    looked_at(desk, "stolen-list")
    desk.goto(f"/trikes/{trike.pk}/stolen/")
    looked_at(desk, "found-form")
    desk.click("button:has-text('It is back')")
    desk.wait_for_url(f"**/trikes/{trike.pk}/")
    assert "Reported stolen" not in desk.inner_text("main")


def test_a_trike_is_retired_part_by_part(desk, trike):
    desk.goto(f"/trikes/{trike.pk}/retire/")
    looked_at(desk, "retire")
    battery = Component.objects.get(part_type__kind="battery")
    desk.select_option(f"select[name=fate_{battery.pk}]", "quarantined")
    desk.press("input[name=at]", "Enter")  # without a reason
    desk.wait_for_load_state()
    assert Trike.objects.get().state == "delivered"
    desk.fill("input[name=reason]", "frame cracked at the hinge")
    tab_to(desk, "main button.danger")
    desk.keyboard.press("Enter")
    desk.wait_for_url(f"**/trikes/{trike.pk}/")
    looked_at(desk, "retired")
    battery.refresh_from_db()
    assert (battery.state, Trike.objects.get().retired_reason) == ("quarantined", "frame cracked at the hinge")
    assert Component.objects.filter(state="in_stock").count() == 7
    assert Trike.objects.get().retired_on == datetime.now(UTC).date()

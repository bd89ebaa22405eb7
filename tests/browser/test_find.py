"""The search field in a real browser: by keyboard, by a scanner, by touch. Screenshots go to an ignored folder."""

from datetime import date

import pytest

from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.test_accessibility import faults
from tests.pages.conftest import workshop  # noqa: F401

SCANNER_MS = 2  # between two keys of a wedge scanner; common practice, no source
FIELD = "#find"
OPTIONS = "#find-hints [role=option]"


@pytest.fixture
def desk_with_hits(desk, workshop):  # noqa: F811
    """A desk that knows two trikes, one of them stolen."""
    stolen = make.TrikeFactory(frame_serial="F26-1041", plate="LT-311", stolen_on=date(2026, 3, 3))
    make.OwnershipFactory(trike=stolen, owner__name="Ada Brandt", owner__search_name="ada brandt")
    desk.goto("/trikes/")
    return desk


def chosen(page) -> str:
    """What a screen reader is told to be at."""
    return page.evaluate("document.querySelector('#find').getAttribute('aria-activedescendant') || ''")


@pytest.mark.parametrize("width", [1280, 390])
def test_somebody_types_goes_down_the_list_and_opens_what_is_chosen(desk_with_hits, workshop, width):  # noqa: F811
    page = desk_with_hits
    page.set_viewport_size({"width": width, "height": 900})
    page.keyboard.press("/")
    page.keyboard.type("f26-10", delay=40)
    page.wait_for_selector(OPTIONS)
    assert page.get_attribute(FIELD, "aria-expanded") == "true"
    assert chosen(page) == ""
    assert "STOLEN since 3 Mar 2026" in page.inner_text(f"{OPTIONS} >> nth=0")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert chosen(page) == "find-hint-2"
    page.screenshot(path=SHOTS / f"find-{width}.png")
    assert not page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
    assert faults(page) == []
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/trikes/{workshop.trike.pk}/")


@pytest.mark.parametrize("width", [1280, 390])
def test_a_scanner_is_faster_than_the_list_and_goes_straight_to_the_thing(desk_with_hits, workshop, width):  # noqa: F811
    page = desk_with_hits
    page.set_viewport_size({"width": width, "height": 900})
    page.keyboard.type(workshop.chain.serial.lower(), delay=SCANNER_MS)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/components/{workshop.chain.pk}/")


def test_a_scan_after_a_scan_that_found_nothing_replaces_it(desk_with_hits, workshop):  # noqa: F811
    page = desk_with_hits
    for text in ("ZZ-99", workshop.shock.serial):
        page.keyboard.type(text, delay=SCANNER_MS)
        page.keyboard.press("Enter")
        page.wait_for_url("**/search/?q=ZZ-99" if text == "ZZ-99" else f"**/components/{workshop.shock.pk}/")
        page.wait_for_load_state()
        page.screenshot(path=SHOTS / f"find-{text}.png")


def test_enter_with_nothing_chosen_sends_what_was_typed(desk_with_hits):
    page = desk_with_hits
    page.fill(FIELD, "26-104")
    page.wait_for_selector(OPTIONS)
    page.press(FIELD, "Enter")
    page.wait_for_url("**/search/?q=26-104")
    assert "STOLEN since 3 Mar 2026" in page.inner_text("main .note.stop")
    for width in (1280, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=SHOTS / f"find-page-{width}.png")


def test_escape_closes_the_list_and_then_empties_the_field(desk_with_hits):
    page = desk_with_hits
    page.fill(FIELD, "26-104")
    page.wait_for_selector(OPTIONS)
    page.press(FIELD, "Escape")
    assert page.get_attribute(FIELD, "aria-expanded") == "false"
    assert page.input_value(FIELD) == "26-104"
    page.press(FIELD, "Escape")
    assert page.input_value(FIELD) == ""


def test_past_the_ends_of_the_list_stands_the_field(desk_with_hits):
    page = desk_with_hits
    page.fill(FIELD, "26-104")
    page.wait_for_selector(OPTIONS)
    page.press(FIELD, "ArrowUp")
    assert chosen(page) == page.locator(OPTIONS).last.get_attribute("id")
    page.press(FIELD, "ArrowDown")
    assert chosen(page) == ""


def test_a_key_after_the_choice_takes_the_choice_back(desk_with_hits):
    page = desk_with_hits
    page.fill(FIELD, "26-104")
    page.wait_for_selector(OPTIONS)
    page.press(FIELD, "ArrowDown")
    page.keyboard.type("1")
    assert chosen(page) == ""


def test_an_option_is_opened_by_touching_it(desk_with_hits, workshop):  # noqa: F811
    page = desk_with_hits
    page.fill(FIELD, "zoe")
    page.click(f"{OPTIONS}:has-text('Zoë Ångström')")
    page.wait_for_url(f"**/owners/{workshop.owner.pk}/")


def test_only_the_last_text_is_asked_for_while_somebody_types_fast(desk_with_hits):
    page = desk_with_hits
    asked = []
    page.on("request", lambda request: asked.append(request.url) if "find-hints" in request.url else None)
    page.focus(FIELD)
    page.keyboard.type("f26-104", delay=20)
    page.wait_for_selector(OPTIONS)
    assert [url.rpartition("q=")[2] for url in asked] == ["f26-104"]


def test_without_a_line_to_the_server_the_field_still_works(desk_with_hits):
    page = desk_with_hits
    page.route("**/find-hints/**", lambda route: route.abort())
    page.focus(FIELD)
    page.keyboard.type("26-104")
    page.wait_for_timeout(400)
    page.keyboard.press("Enter")
    page.wait_for_url("**/search/?q=26-104")

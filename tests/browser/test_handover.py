"""A trike is handed over in a real browser: scanned down its list, set up for its rider, signed twice, labelled, found."""

import pytest
from django.contrib.auth.models import Group

from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tracker.actions.build_lists import Line, add_build_list
from tracker.models import Fitment, Handover, OutboxMessage, Owner, Trike, User

WIDTHS = (1280, 820)
SHOCK = {"max_kpa": 1725, "stroke_mm": 38, "start_table": [[75, 950], [95, 1130], [115, 1320], [135, 1500]]}


@pytest.fixture
def build(transactional_db):
    """Parts in stock, the list of their model, and a colleague for the second signature."""
    types = {
        kind: make.PartTypeFactory(kind=kind, name=name, **({"rated": rated} if rated else {}))
        for kind, name, rated in (
            ("frame", "Fenwalk 26 frame", {"max_system_kg": 150}), ("chain", "Nine-speed chain", None),
            ("air_shock", "Air shock, 38 mm", SHOCK), ("elastomer", "Elastomer, medium", None),
            ("battery", "Side battery 504 Wh", None),
        )
    }  # fmt: skip
    other = make.PartTypeFactory(kind="chain", name="Ten-speed chain")
    for serial, part_type in (("F26-9001", types["frame"]), ("K9001", other), ("S9001", types["air_shock"]),
                              ("E9001", types["elastomer"]), ("E9002", types["elastomer"])):  # fmt: skip
        make.ComponentFactory(part_type=part_type, serial=serial)
    lines = [
        Line("frame", types["frame"].pk), Line("battery", types["battery"].pk), Line("chain", types["chain"].pk),
        Line("rear-shock", types["air_shock"].pk), Line("elastomer-left"), Line("elastomer-right"), Line("headrest", None, False),
        Line("seat"),
    ]  # fmt: skip
    add_build_list(model="Fenwalk 26", lines=lines, by=None, now=make.NOW)
    colleague = User.objects.create_user("ines", password="hub-and-spoke-7", display_name="Ines")
    colleague.groups.add(Group.objects.get_or_create(name="desk")[0])


def seen(page, name: str, widths=WIDTHS) -> None:
    """Look at the page, and let axe look too."""
    for width in widths:
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=SHOTS / f"handover-{name}-{width}.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        assert not wide, f"{name} scrolls sideways at {width} px"
        assert faults(page) == [], (name, width)


def scan(page, serial: str) -> None:
    """As a scanner does: into the focused field, Enter at the end."""
    assert page.evaluate("document.activeElement.name") == "serial"
    page.keyboard.type(serial)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_a_trike_is_handed_over_step_by_step(desk, build, live_server, chromium):
    begin(desk)
    scan_down_the_list(desk)
    add_the_owner(desk)
    set_up_and_sign(desk)
    sign_second(desk)
    print_the_label(desk)
    find_it(chromium, live_server.url)


def begin(desk) -> None:
    desk.goto("/handover/new/")
    seen(desk, "1-frame")
    desk.keyboard.type("f26-9001")
    desk.keyboard.press("Enter")  # a scanner steps on to the plate
    desk.keyboard.type("LT-901")
    desk.fill("input[name=model]", "Fenwalk 26")
    desk.click("text=Register and go on")
    desk.wait_for_url("**/parts/**")


def scan_down_the_list(desk) -> None:
    assert "6 of 7 required still missing" in desk.inner_text("main")
    assert desk.input_value("select[name=position]") == "battery"
    seen(desk, "2-parts")
    scan(desk, "HC-NEW-1")  # nobody knows it yet
    assert "Take it into stock here" in desk.inner_text("main")
    assert desk.inner_text("#stock_part_type_id option:checked").startswith("Side battery 504 Wh")
    seen(desk, "2-parts-unknown")
    with desk.expect_navigation():
        desk.click("text=Take it into stock and fit it")
    assert desk.input_value("select[name=position]") == "chain"
    scan(desk, "K9001")
    assert "Another part than on the list" in desk.inner_text("main")
    seen(desk, "2-parts-other")
    with desk.expect_navigation():
        desk.keyboard.press("Enter")  # the button that says so has the focus
    for serial in ("s9001", "e9001", "E9002"):
        scan(desk, serial)
    assert desk.input_value("select[name=position]") == "seat"
    seen(desk, "2-parts-nearly")
    desk.click("text=Go on to the owner")
    desk.wait_for_url("**/owner/**")


def add_the_owner(desk) -> None:
    desk.fill("#owner_find", "Zoë")
    with desk.expect_navigation():
        desk.press("#owner_find", "Enter")
    assert desk.input_value("#new_name") == "Zoë"
    desk.fill("#new_name", "Zoë Ångström")
    desk.fill("#new_email", "nobody")
    desk.check("#new_reminders_agreed")
    with desk.expect_navigation():
        desk.click("text=Add the owner and go on")
    assert "no e-mail address" in desk.inner_text("main")
    assert desk.input_value("#new_name") == "Zoë Ångström"
    seen(desk, "3-owner-refused")
    desk.fill("#new_email", "zoe@example.org")
    desk.click("text=Add the owner and go on")
    desk.wait_for_url("**/final/**")
    owner = Owner.objects.get(name="Zoë Ångström")
    assert (owner.reminders_agreed, owner.agreed_source) == (True, "at handover")
    assert owner.agreed_at is not None


def set_up_and_sign(desk) -> None:
    assert "Required, and not there: seat" in desk.inner_text("main")
    for name, value in (("rider_mass_kg", "78"), ("luggage_kg", "7"), ("trike_mass_kg", "20"), ("sag_mm", "9.5")):
        desk.fill(f"input[name={name}]", value)
    desk.wait_for_selector("text=105 kg")
    proposed = desk.inner_text("[data-setup]")
    assert "12.2 bar" in proposed  # half way between 1,130 and 1,320 kPa
    assert "Medium: rider with gear 65 to below 90 kg (own design rule, no source)" in proposed
    assert "25 % of 38 mm - good" in proposed
    desk.fill("input[name=shock_pressure]", "18")
    desk.wait_for_selector("text=Beyond a maker’s limit")
    seen(desk, "4-beyond")
    desk.fill("input[name=shock_pressure]", "12.2")
    for index in range(14):
        desk.check(f"input[name=check_{index}][value=yes]")
    desk.evaluate("window.onbeforeunload = null")
    desk.once("dialog", lambda dialog: dialog.accept())
    desk.reload()
    assert desk.input_value("input[name=rider_mass_kg]") == "78"  # typing outlives a reload
    assert desk.is_checked("input[name=check_13][value=yes]")
    desk.fill("input[name=password]", "spoke-and-hub-9")
    with desk.expect_navigation():
        desk.click("button:has-text('Sign as')")
    assert "build list requires: seat" in desk.inner_text("main")
    assert not Handover.objects.exists()
    seen(desk, "4-missing")
    desk.check("input[name=without_missing]")
    desk.fill("input[name=password]", "spoke-and-hub-9")
    desk.click("button:has-text('Sign as')")
    desk.wait_for_url("**/handover/record/**")


def sign_second(desk) -> None:
    seen(desk, "5-second")
    assert desk.evaluate("sessionStorage.length") == 0
    desk.fill("input[name=username]", "ines")
    desk.fill("input[name=password]", "hub-and-spoke-7")
    desk.click("text=Sign as the second person")
    desk.wait_for_selector("text=Print the plate label")
    seen(desk, "6-papers")
    row = Handover.objects.get()
    assert (row.system_mass_kg, row.sag_mm, row.suggested["sag_pct"], row.suggested["grade"]) == (
        105,
        9.5,
        25,
        "medium",
    )
    assert row.suggested["pressure_kpa"] == 1225
    assert Trike.objects.get().state == "delivered"
    assert Fitment.objects.current().count() == 6


def print_the_label(desk) -> None:
    desk.click("text=Print the plate label")
    desk.wait_for_url("**/label/**")
    seen(desk, "7-label")
    with desk.expect_navigation():
        desk.click("text=25 × 25 mm")
    width = desk.evaluate("document.querySelector('.plate-label img').getBoundingClientRect().width")
    assert width == pytest.approx(25 / 25.4 * 96, abs=1)
    pages = desk.pdf(prefer_css_page_size=True)
    assert pages.count(b"/Type /Page\n") == 1 or pages.count(b"/Type /Page ") == 1 or b"/Count 1" in pages
    (SHOTS / "handover-label-printed.pdf").write_bytes(pages)


def find_it(chromium, address: str) -> None:
    code = Trike.objects.get().label_code
    phone = chromium.new_page(base_url=address, viewport={"width": 390, "height": 844})
    phone.goto(f"/t/{code}/")
    told = phone.content()
    for secret in ("Zoë", "zoe@", "F26-9001", "LT-901", "Fenwalk"):
        assert secret not in told
    seen(phone, "8-found", (390,))
    phone.evaluate("document.querySelector('form').noValidate = true")
    with phone.expect_navigation():
        phone.click("text=Send it to the workshop")
    seen(phone, "8-found-refused", (390,))
    phone.fill("textarea[name=where]", "Behind the mill at the ford")
    phone.fill("textarea[name=reach]", "020 7946 0444")
    phone.click("text=Send it to the workshop")
    phone.wait_for_selector("text=Thank you")
    seen(phone, "8-found-thanks", (390,))
    assert OutboxMessage.objects.get(kind="found").payload["where"] == "Behind the mill at the ford"
    assert phone.goto("/t/AAAAAAAAAAAAAAAAAAAA/").status == 404
    seen(phone, "8-found-unknown", (390,))
    phone.close()


def test_build_lists_are_looked_at_and_changed(desk, mechanic, build):
    mechanic.groups.add(Group.objects.get_or_create(name="reviewer")[0])
    for name, path in (("build-lists", "/build-lists/"), ("build-list-new", "/build-lists/new/")):
        desk.goto(path)
        look(desk, name)
        assert faults(desk) == []
    desk.goto("/build-lists/")
    with desk.expect_navigation():
        desk.click("main >> text=Fenwalk 26")
    look(desk, "build-list")
    with desk.expect_navigation():
        desk.click("text=Change")
    look(desk, "build-list-change")
    assert faults(desk) == []

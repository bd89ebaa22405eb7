"""A bulletin from the review's link to the last component, in a real browser: without scripts too, by keyboard, on a phone."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.utils import timezone

from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.pages.test_bulletins import DANGER, SAYS
from tests.reminders.conftest import token_for
from tracker.actions.bulletins import release_bulletin, write_bulletin
from tracker.models import Bulletin, BulletinPart, Component, JobTask, Trike, User

SECRET = "second-pair-of-eyes"


@pytest.fixture
def fleet(mechanic) -> list[Component]:
    """Three trikes with a shock of one batch each, the last owner without an address; the mechanic may write bulletins too."""
    mechanic.groups.add(Group.objects.get_or_create(name="reviewer")[0])
    second = User.objects.create_user("second", password=SECRET, display_name="Remi")
    second.groups.add(Group.objects.get_or_create(name="admin")[0])
    kind = make.PartTypeFactory(kind="air_shock", part_number="LF-SHOCK", name="Air shock")
    parts = []
    for number in range(3):
        trike = make.TrikeFactory(frame_serial=f"F26-{number}")
        frame = make.ComponentFactory(part_type__kind="frame", serial=f"F26-{number}", state="fitted")
        make.FitmentFactory(component=frame, trike=trike, position="frame")
        reached = {} if number < 2 else {"email": "", "phone": "020 7946 0312", "phone_e164": "+442079460312"}
        make.OwnershipFactory(trike=trike, owner=make.OwnerFactory(**reached))
        parts.append(make.ComponentFactory(part_type=kind, serial=f"S{number}", batch="K-17", state="fitted"))
        make.FitmentFactory(component=parts[-1], trike=trike, position="rear-shock")
    return parts


@pytest.fixture
def out(fleet) -> Bulletin:
    """A hazard bulletin about them, released two days ago."""
    then = timezone.now() - timedelta(days=2)
    values = {**SAYS, **DANGER, "part_types": [fleet[0].part_type_id], "batches": ["K-17"]}
    row = write_bulletin(values=values, by=make.UserFactory(), now=then)
    return release_bulletin(bulletin_id=row.pk, version=1, by=make.UserFactory(), now=then)


def clean(page, name: str) -> None:
    """Keep pictures at every width; nothing serious for axe at any, and targets a finger finds on a phone."""
    look(page, name)
    for width in (1280, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert faults(page) == [], (name, width)
    small = page.locator("main button:visible, main .button:visible, main summary:visible").evaluate_all(
        "all => all.filter(one => one.offsetHeight < 43 && !one.closest('.unseen, .why')).map(one => one.outerHTML.slice(0, 90))"
    )
    assert small == []
    page.set_viewport_size({"width": 1280, "height": 900})


def test_from_the_reviews_link_a_bulletin_is_written_in_four_inputs(desk, fleet):
    desk.goto(f"/bulletins/new/?part_type={fleet[0].part_type_id}&batch=k-17")
    desk.select_option("#id_severity", "mandatory")  # 1
    desk.fill("#id_hazard", "In rare situations the shock loses its air.")  # 2
    desk.wait_for_selector("mark >> text=In rare situations")
    assert "3 on 3 trikes" in desk.inner_text("[data-live=touches]")
    clean(desk, "bulletin-new")
    desk.fill("#id_remedy", "We renew the seal, free of charge.")  # 3
    desk.click("text=Keep the draft")  # 4
    row = Bulletin.objects.get()
    desk.wait_for_url(f"**/bulletins/{row.pk}/")
    assert (row.title, row.batches, row.severity) == ("Air shock, batch k-17", ["K-17"], "mandatory")
    assert "A second person" in desk.inner_text("#release")
    clean(desk, "bulletin-draft")


def test_a_second_person_releases_it(chromium, live_server, desk, fleet):
    values = {**SAYS, **DANGER, "hazard": "It rarely bursts.", "part_types": [fleet[0].part_type_id]}
    row = write_bulletin(values=values, by=User.objects.get(username="mechanic"), now=timezone.now())
    page = chromium.new_context(base_url=live_server.url).new_page()
    page.goto(f"/login/?next=/bulletins/{row.pk}/")
    page.fill("#id_username", "second")
    page.fill("#id_password", SECRET)
    page.press("#id_password", "Enter")
    page.click("text=Release it as")
    assert "rarely" in page.inner_text("#release")
    page.check("#id_warnings_read")
    clean(page, "bulletin-release")
    page.click("text=Release it as")
    page.wait_for_selector("text=is released")
    assert BulletinPart.objects.filter(bulletin=row).count() == 3
    page.context.close()


def test_without_scripts_the_button_shows_what_it_touches(chromium, live_server, desk, fleet):
    context = chromium.new_context(
        base_url=live_server.url, java_script_enabled=False, storage_state=desk.context.storage_state()
    )
    page = context.new_page()
    page.goto("/bulletins/new/")
    page.fill("#id_find", "LF-SHOCK")
    page.fill("#id_serials", "S0 to S1")
    page.click("text=Show what it touches")
    page.wait_for_selector(f"#part_type_{fleet[0].part_type_id}")
    assert "2 on 2 trikes" in page.inner_text("[data-live=touches]")
    assert page.is_checked(f"#part_type_{fleet[0].part_type_id}")
    page.fill("#id_title", "Air shock leaks")
    page.fill("#id_remedy", "We renew the seal.")
    page.click("text=Keep the draft")
    assert Bulletin.objects.get().ranges.get().last == "S1"
    context.close()


def test_components_are_worked_off_by_keyboard(desk, out, fleet):
    desk.goto("/bulletins/")
    clean(desk, "bulletins")
    desk.focus(f"a[href='/bulletins/{out.pk}/']")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("#calls")
    assert "020 7946 0312" in desk.inner_text("#calls")
    clean(desk, "bulletin")
    desk.focus("#calls button[value=notified]")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=S2: told.")
    assert out.notices.get(owner__email="").told_by.username == "mechanic"
    desk.focus("#parts tbody tr:has-text('S0') button[value=booked]")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=S0: booked.")
    desk.focus("#parts tbody tr:has-text('S1') summary")
    desk.keyboard.press("Enter")
    desk.keyboard.press("Tab")
    desk.keyboard.type("Keeps it as it is.")
    desk.keyboard.press("Enter")  # sends nothing: no button is the first by accident
    assert BulletinPart.objects.get(component=fleet[1]).state == "affected"
    desk.focus("#parts tbody tr:has-text('S1') button[value=refused]")
    desk.keyboard.press("Enter")
    desk.wait_for_selector("text=S1: refused.")
    assert BulletinPart.objects.get(component=fleet[1]).note == "Keeps it as it is."


def test_the_list_prints_without_its_buttons(desk, out):
    desk.goto(f"/bulletins/{out.pk}/")
    desk.emulate_media(media="print")
    desk.set_viewport_size({"width": 720, "height": 1040})  # A4 within its margins, at 96 px an inch
    desk.screenshot(path=SHOTS / "bulletin-paper.png", full_page=True)
    assert not desk.locator("main button, nav.rail, nav.tabs").filter(visible=True).count()
    assert desk.is_visible("#calls >> text=020 7946 0312")
    assert not desk.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")


def test_the_bench_sees_it_and_says_what_came_of_it(desk, out, fleet):
    trike = fleet[0].fitments.get().trike
    desk.goto(f"/trikes/{trike.pk}/")
    assert "Stop riding now." in desk.inner_text(".note.stop")
    desk.click("text=Open a job card")
    desk.wait_for_url("**/intake/")
    assert "Stop riding now." in desk.inner_text(".note.stop")
    clean(desk, "bulletin-intake")
    card = trike.job_cards.get()
    desk.goto(f"/jobs/{card.pk}/tasks/")
    if JobTask.objects.filter(card=card, task__startswith="bulletin:").count() == 0:
        desk.click("text=Do it now")
    clean(desk, "bulletin-tasks")
    desk.goto(f"/jobs/{card.pk}/bench/")
    clean(desk, "bulletin-bench")
    desk.click("button[name=clean]")
    desk.wait_for_selector("text=inspected: not affected")
    assert JobTask.objects.get(card=card, task__startswith="bulletin:").not_affected is True


def test_the_owner_reads_it_on_a_phone(chromium, live_server, out, fleet):
    token = token_for(Trike.objects.get(frame_serial="F26-0"), now=timezone.now())
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 390, "height": 800})
    page = context.new_page()
    page.goto(f"/o/{token}")
    assert page.is_visible("text=What can happen")
    page.screenshot(path=SHOTS / "bulletin-owner-390.png", full_page=True)
    assert faults(page) == []
    page.click("text=I have read this")
    page.wait_for_selector("text=You told us on")
    assert out.notices.get(trike__frame_serial="F26-0").read_at is not None
    context.close()


def test_the_letter_and_the_search_and_the_component_and_today(desk, out, fleet):
    for name, address in (
        ("bulletin-letter", f"/bulletins/{out.pk}/letter/"),
        ("bulletin-search", "/search/?q=F26"),
        ("bulletin-component", f"/components/{fleet[0].pk}/"),
        ("bulletin-today", "/"),
    ):
        desk.goto(address)
        clean(desk, name)

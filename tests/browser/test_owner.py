"""The owner's page on a phone, 390 px wide, with scripts and without: looked at, touched, weighed."""

import gzip
from datetime import timedelta
from urllib.parse import urljoin

import pytest
from django.contrib.auth.models import Group
from django.utils import timezone

from tests import factories as make
from tests.browser.conftest import SHOTS
from tests.browser.looking import look
from tests.browser.test_accessibility import faults
from tests.reminders.conftest import fit, some_task, trike_with
from tracker.actions.appointments import decide_appointment
from tracker.actions.owner_links import make_link
from tracker.actions.reminders import sweep_trikes
from tracker.models import Appointment, Completion, OutboxMessage, Owner, Trike, Visit

MOST_BYTES = 50_000  # of page, style and script together, as they come


TOO_WIDE = "[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > 390.5).map(e => e.outerHTML)"
TOO_LOW = """[...document.querySelectorAll('button, select, .choice, .more a, .button, input[type=file], input[inputmode]')]
    .filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 44).map(e => e.outerHTML)"""


@pytest.fixture
def trike(transactional_db) -> Trike:
    """Delivered eleven months ago, with service due now and a check its owner can do herself."""
    owner = make.OwnerFactory(name="Maud Pettersson", distance_unit="km")
    trike = trike_with(some_task(safety=True), owner=owner)
    fit(trike, some_task(owner_can=True), months=10)
    fit(trike, some_task(safety=False), months=11)
    now = timezone.now()
    begun = now - timedelta(days=360)
    Trike.objects.filter(pk=trike.pk).update(delivered_on=begun.date(), plate="LT-204")
    trike.fitments.update(fitted_at=begun)
    trike.ownerships.update(since=begun.date())
    make.OdometerReadingFactory(trike=trike, read_at=now - timedelta(days=40), value=1840)
    sweep_trikes(trike_ids=[trike.pk], now=now)
    trike.refresh_from_db()
    return trike


@pytest.fixture(params=[True, False], ids=["with-scripts", "without-scripts"])
def phone(request, chromium, live_server, trike):
    owner_id = trike.ownerships.get().owner_id
    token = make_link(trike_id=trike.pk, owner_id=owner_id, purpose="page", now=timezone.now())[1]
    context = chromium.new_context(
        base_url=live_server.url, viewport={"width": 390, "height": 844}, java_script_enabled=request.param,
        has_touch=True, is_mobile=True, device_scale_factor=2,
    )  # fmt: skip
    page = context.new_page()
    page.scripted = request.param
    page.goto(f"/o/{token}")
    yield page
    context.close()


def see(page, name: str) -> None:
    """Keep a picture; nothing is wider than the phone, nothing to touch lower than 44 px (WCAG 2.2, 2.5.5), axe is silent."""
    kind = "js" if page.scripted else "plain"
    page.screenshot(path=SHOTS / f"owner-{name}-{kind}-390.png", full_page=True)
    assert page.evaluate(TOO_WIDE) == [], name
    assert page.evaluate(TOO_LOW) == [], name
    if page.scripted:
        assert faults(page) == [], name


def test_the_page_its_style_and_its_scripts_weigh_less_than_50_kb(phone, live_server):
    parts = [phone.content().encode()]
    addresses = [row.get_attribute("href") for row in phone.locator("link[rel=stylesheet], link[rel=icon]").all()]
    addresses += [row.get_attribute("src") for row in phone.locator("script[src], img[src]").all()]
    for address in addresses:
        parts.append(phone.request.get(urljoin(live_server.url, address)).body())
    plain, packed = sum(map(len, parts)), sum(len(gzip.compress(part)) for part in parts)
    print(f"owner page: {plain} octets, {packed} compressed, {len(parts)} files")
    assert plain < MOST_BYTES


def test_an_owner_sees_what_is_due_and_asks_for_a_day(phone, trike):
    assert "Due at the workshop" in phone.inner_text("main")
    see(phone, "page")
    phone.tap(".choice >> nth=1")
    phone.fill("#note", "The left brake squeals.")
    phone.tap("text=Ask for this day")
    phone.wait_for_url("**/o/?said=asked")
    see(phone, "asked")
    asked = Appointment.objects.get()
    decide_appointment(appointment_id=asked.pk, choice="confirm", by=None, now=timezone.now())
    phone.goto("/o/")
    assert "Agreed:" in phone.inner_text("#day")
    see(phone, "agreed")
    phone.tap("text=I cannot come that day")
    phone.wait_for_url("**/o/?said=withdrawn")
    assert "Ask for a day" in phone.inner_text("#day")


def test_the_desk_offers_another_day_and_the_owner_takes_it(phone, trike):
    phone.tap(".choice >> nth=0")
    phone.tap("text=Ask for this day")
    phone.wait_for_url("**/o/?said=asked")
    asked = Appointment.objects.get()
    other = asked.on + timedelta(days=7)
    decide_appointment(
        appointment_id=asked.pk, choice="offer", on=other, answer="Mika is away.", by=None, now=timezone.now()
    )
    phone.goto("/o/")
    see(phone, "offered")
    phone.tap("text=Ask for this day")
    phone.wait_for_url("**/o/?said=asked")
    assert Appointment.objects.get(state="asked").on == other


def test_an_owner_ticks_what_they_did_themselves(phone, trike):
    phone.tap("text=I have done this")
    phone.wait_for_url("**/o/?said=ticked")
    assert Completion.objects.filter(trike=trike, source="owner").exists()
    see(phone, "ticked")


def test_an_owner_waits_two_weeks_and_goes_back_to_usual(phone, trike):
    phone.tap("text=2 weeks")
    phone.wait_for_url("**/o/?said=later")
    see(phone, "later")
    phone.tap("text=Remind me as usual")
    phone.wait_for_url("**/o/?said=usual")
    assert Visit.objects.get(trike=trike).snoozed_until is None


def test_an_owner_sets_quiet_hours_and_units(phone):
    phone.tap("text=Quiet hours, units, language")
    see(phone, "settings")
    for day in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"):
        phone.tap(f"text={day}")
    phone.tap("text=Keep the quiet hours")
    phone.wait_for_selector("#quiet-refused")
    assert "Every day would be quiet" in phone.inner_text("#quiet")
    see(phone, "settings-refused")
    for day in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"):
        phone.tap(f"text={day}")
    phone.select_option("#from_hour", "21")
    phone.select_option("#until_hour", "9")
    phone.tap("text=Keep the quiet hours")
    phone.wait_for_url("**/o/?said=quiet")
    phone.goto("/o/settings")
    phone.tap("text=miles")
    phone.tap("text=Keep the units")
    phone.wait_for_url("**/o/?said=units")
    owner = Owner.objects.get()
    assert (owner.quiet_from_hour, owner.quiet_until_hour, owner.quiet_weekdays, owner.distance_unit) == (
        21,
        9,
        [6],
        "mi",
    )


def test_an_owner_subscribes_to_the_calendar(phone):
    phone.tap("text=Subscribe to the calendar")
    phone.wait_for_selector("code")
    see(phone, "feed")
    assert phone.inner_text("code").endswith(".ics")


def test_an_owner_hands_the_trike_on_and_takes_their_data_along(phone):
    with phone.expect_download() as waiting:
        phone.tap("text=Download my data")
    assert waiting.value.suggested_filename == "my-trike-data.json"
    phone.tap("text=Somebody else gets the trike")
    see(phone, "hand-on")
    phone.fill("#words", "My brother Nils, from Sunday on.")
    phone.tap("text=Tell the workshop")
    phone.wait_for_url("**/o/?said=handed")
    assert OutboxMessage.objects.filter(kind="hand_on").exists()


def test_an_owner_asks_to_be_erased_and_an_admin_does_it(phone, desk, mechanic, trike):
    with phone.expect_navigation():
        phone.click("text=Erase my data")
    see(phone, "erase")
    phone.click("text=Ask the workshop to erase my data")
    assert "answers you within a month" in phone.inner_text(".said")
    mechanic.groups.add(Group.objects.get_or_create(name="admin")[0])
    desk.goto("/")
    desk.click("text=Maud Pettersson >> nth=0")
    desk.click("text=See what goes")
    desk.check("text=It is this person who asked")
    desk.check("text=Nothing obliges us to keep it")
    desk.click("text=Erase for good")
    desk.wait_for_selector("text=What stays has no name")
    look(desk, "erased")
    assert not Owner.objects.filter(name="Maud Pettersson").exists()
    phone.reload()
    assert "Ask for a new link" in phone.inner_text("main")


def test_an_owner_stops_the_reminders(phone):
    phone.tap("text=Stop service reminders")
    phone.wait_for_url("**/o/?said=stopped")
    assert Owner.objects.get().stopped_at is not None


def test_nothing_due_and_a_dead_link_are_calm_pages(phone, trike):
    Visit.objects.filter(trike=trike).update(state="dropped", closed_at=timezone.now())
    trike.due_lines.all().delete()
    phone.goto("/o/")
    see(phone, "nothing-due")
    phone.goto("/o/" + "x" * 43)
    see(phone, "gone")


def test_the_desk_answers_a_day_asked_for(desk, trike):
    row = make.AppointmentFactory(
        trike=trike, owner=trike.ownerships.get().owner, visit=trike.visits.get(), minutes=20, asked_at=timezone.now(),
        on=timezone.localdate() + timedelta(days=7), note="The left brake squeals.",
    )  # fmt: skip
    desk.goto("/")
    desk.click("text=days asked for")
    look(desk, "appointments")
    desk.click(f"a[href='/appointments/{row.pk}/']")
    look(desk, "appointment")
    desk.click("button[value=decline]")
    assert "Say why, in a few words." in desk.inner_text("main")
    look(desk, "appointment-refused")
    desk.click("button[value=confirm]")
    assert "is agreed with Maud Pettersson" in desk.inner_text("main")


def test_a_german_owner_reads_german_and_long_words_stay_on_the_phone(phone, trike):
    Owner.objects.update(language="de")
    page = phone.request.get("/o/").body()
    assert len(page) < MOST_BYTES
    for address, name, words in (
        ("/o/", "german", "In der Werkstatt fällig"), ("/o/settings", "german-settings", "Ruhezeiten, Einheiten, Sprache"),
        ("/o/hand-on", "german-hand-on", "Jemand anderes bekommt das Trike?"),
    ):  # fmt: skip
        phone.goto(address)
        assert phone.evaluate("document.documentElement.lang") == "de"
        assert words in phone.inner_text("main")
        see(phone, name)
    phone.goto("/o/settings")
    phone.get_by_text("English").click()
    phone.get_by_role("button", name="Sprache speichern").click()
    assert "We write to you in this language." in phone.inner_text("main")

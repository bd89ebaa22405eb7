"""The job card in a real browser: the standard job by few inputs, by keyboard alone, by two people, with a bad connection."""

import json
from datetime import timedelta

import pytest
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.utils import timezone
from playwright.sync_api import expect

from tests import factories as make
from tests.browser.looking import WIDTHS, look
from tests.browser.test_accessibility import faults
from tracker.actions.reminders import sweep_trikes
from tracker.models import Component, JobCard, User

PIN = "4071"
MOST_INPUTS = 25  # clicks, fields filled and keys pressed for the standard job: the project's own goal


class Hands:
    """What a person does: each click, each field filled, each key is one input, and all are counted."""

    def __init__(self, page) -> None:
        self.page, self.inputs = page, 0

    def fill(self, selector: str, text: str) -> None:
        self.inputs += 1
        self.page.fill(selector, text)

    def type(self, text: str) -> None:
        """Type where the cursor stands, as a scanner does: one field."""
        self.inputs += 1
        self.page.keyboard.type(text)

    def click(self, selector: str) -> None:
        self.inputs += 1
        self.page.click(selector)

    def press(self, key: str) -> None:
        self.inputs += 1
        self.page.keyboard.press(key)

    def at(self, part: str) -> None:
        """Look whether the page is where it should be: no input."""
        self.page.wait_for_url(f"**{part}*")


@pytest.fixture
def bench(transactional_db, mechanic):
    """A delivered trike whose hub oil and chain are due, a spare battery, and a mechanic with a PIN."""
    now = timezone.now()
    then = now - timedelta(days=400)
    trike = make.TrikeFactory(frame_serial="LF-24-0310", delivered_on=then.date())
    make.OwnershipFactory(trike=trike, owner__name="Zoë Ångström", since=then.date())
    for kind, place in (("frame", "frame"), ("hub_geared", "rear-hub"), ("chain", "chain"), ("battery", "battery")):
        part = make.ComponentFactory(part_type__kind=kind, serial=f"OLD-{kind.upper()}", state="fitted")
        make.FitmentFactory(trike=trike, component=part, position=place, fitted_at=then)
    make.OdometerReadingFactory(trike=trike, value=2000, read_at=now - timedelta(days=40))
    make.ServiceIntervalFactory()
    make.ServiceIntervalFactory(task="hub_oil_change", part_kind="hub_geared", every_months=12, every_km=None)
    make.ComponentFactory(serial="NEW-B", part_type=Component.objects.get(serial="OLD-BATTERY").part_type)
    sweep_trikes(trike_ids=[trike.pk], now=now)
    User.objects.filter(pk=mechanic.pk).update(pin=make_password(PIN))
    return trike


@pytest.fixture
def card(bench, desk):
    """The open card of that trike, at its intake."""
    desk.goto(f"/trikes/{bench.pk}/")
    desk.click("button:has-text('Open a job card')")
    desk.wait_for_url("**/intake/")
    return JobCard.objects.get()


def step(card: JobCard, name: str) -> str:
    return f"/jobs/{card.pk}/{name}/"


def saved(page) -> None:
    expect(page.locator("#saving")).to_have_text("Saved")


def on_this_device(page) -> list[str]:
    return page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('card:'))")


@pytest.mark.parametrize("width", WIDTHS)
def test_the_standard_job_takes_few_inputs(desk, bench, width):
    desk.set_viewport_size({"width": width, "height": 900})
    desk.goto("/")
    hands = Hands(desk)
    hands.type("lf-24-0310")
    hands.press("Enter")
    hands.at(f"/trikes/{bench.pk}/")
    hands.click("button:has-text('Open a job card')")
    hands.at("/intake/")
    hands.fill("textarea[name=complaint]", "Less range than last year.")
    hands.fill("input[name=value]", "2120")
    hands.press("Enter")
    hands.at("/tasks/")
    assert desk.locator("input[type=checkbox]:checked").count() == 2
    hands.click("text=Go on to the bench")
    hands.at("/bench/")
    hands.fill("[data-measure$=chain_elongation_pct] input[name$=value]", "0.62")
    expect(desk.locator("[data-measure] .verdict")).to_contain_text("0.62 % - replace soon: limit 0.75 %")
    hands.fill("input[name=new_serial]", "new-b")
    hands.press("Enter")
    expect(desk.locator("#swaps")).to_contain_text("OLD-BATTERY leaves after")
    hands.click("text=All done, go on")
    hands.at("/findings/")
    hands.fill("textarea[name=correction]", "Oil changed, battery swapped, ridden once round the yard.")
    hands.click("text=Go on to the review")
    hands.at("/release/")
    for name in ("drive_runs", "drive_held", "test_ride"):
        hands.click(f"label:has(input[name={name}][value=yes])")
    hands.click("button:has-text('Release as')")
    hands.at("/sign/")
    hands.fill("input[name=pin]", PIN)
    hands.press("Enter")
    desk.wait_for_url(f"**/jobs/{JobCard.objects.get().pk}/")
    assert hands.inputs <= MOST_INPUTS, f"{hands.inputs} inputs"
    print(f"{hands.inputs} inputs at {width} px")
    done = JobCard.objects.get()
    assert (done.state, float(done.reading.value)) == ("signed", 2120)
    assert dict(done.tasks.values_list("task", "outcome")) == {"chain_check": "done", "hub_oil_change": "done"}
    assert bench.fitments.current().get(position="battery").component.serial == "NEW-B"
    assert Component.objects.get(serial="OLD-BATTERY").state == "returned"
    assert on_this_device(desk) == []


def test_the_job_is_done_by_keyboard_alone(desk, bench):
    desk.goto(f"/trikes/{bench.pk}/")
    keys = desk.keyboard

    def tab_to(selector: str) -> None:
        for _ in range(60):
            if desk.evaluate("(wanted) => document.activeElement?.matches(wanted)", selector):
                return
            keys.press("Tab")
        raise AssertionError(f"{selector} is not reached by Tab")

    tab_to("form[action$='/job/'] button")
    keys.press("Enter")
    desk.wait_for_url("**/intake/")
    keys.type("2120")  # the first field has the focus
    keys.press("Enter")
    desk.wait_for_url("**/tasks/")
    keys.press("Enter")  # on the first tick: Enter goes on
    desk.wait_for_url("**/bench/")
    tab_to("[data-measure] input")
    keys.type("0.3")
    keys.press("Enter")  # the only value of its task: Enter is Done
    expect(desk.locator(".bench-card.done")).to_have_count(1)
    tab_to("input[name=new_serial]")
    keys.type("NEW-B")
    keys.press("Enter")
    expect(desk.locator("#swaps")).to_contain_text("goes in")
    tab_to("button[name=all]")
    keys.press("Enter")
    desk.wait_for_url("**/findings/")
    keys.type("dry chain")
    keys.press("Control+Enter")
    desk.wait_for_url("**/release/")
    for name in ("drive_runs", "drive_held", "test_ride"):
        tab_to(f"input[name={name}]")
        keys.press("Space")
    tab_to("form[data-keep] button")
    keys.press("Enter")
    desk.wait_for_url("**/sign/")
    keys.type(PIN)
    keys.press("Enter")
    desk.wait_for_url(f"**/jobs/{JobCard.objects.get().pk}/")
    done = JobCard.objects.get()
    assert (done.state, done.cause, done.swaps.count()) == ("signed", "dry chain", 1)


def test_what_is_typed_is_saved_without_a_button(desk, card):
    desk.fill("textarea[name=complaint]", "It squeaks.")
    saved(desk)
    card.refresh_from_db()
    assert card.complaint == "It squeaks."
    assert on_this_device(desk) == []


def test_a_word_on_the_odometer_comes_as_it_is_typed(desk, card):
    desk.fill("input[name=value]", "2120")
    expect(desk.locator("#odometer-word")).to_have_text("Inside what is expected")
    desk.fill("input[name=value]", "20")
    expect(desk.locator("#odometer-word")).to_contain_text("Not what is expected")
    assert "Expected now: 2,000 km (last read) to " in desk.inner_text("main")


def test_an_unticked_task_is_deferred_at_once(desk, card):
    desk.goto(step(card, "tasks"))
    desk.uncheck("input[name$='chain_check-outcome']")
    expect(desk.locator("[data-step=tasks]")).to_contain_text("1 ticked, 1 deferred")
    assert card.tasks.get(task="chain_check").outcome == "deferred"


def other_window(desk, card, name: str):
    page = desk.context.new_page()
    page.goto(step(card, name))
    return page


def test_two_windows_on_one_field_show_both_and_nothing_is_overwritten(desk, card):
    desk.goto(step(card, "findings"))
    other = other_window(desk, card, "findings")
    other.fill("textarea[name=cause]", "dry chain")
    saved(other)
    desk.fill("textarea[name=cause]", "worn sprocket")
    clash = desk.locator(".clash")
    expect(clash).to_contain_text("You, in another window, wrote here meanwhile: dry chain")
    card.refresh_from_db()
    assert card.cause == "dry chain"
    look(desk, "card-clash")
    clash.get_by_text("Keep mine").click()
    saved(desk)
    card.refresh_from_db()
    assert card.cause == "worn sprocket"
    other.fill("textarea[name=cause]", "dry chain, again")
    other.locator(".clash").get_by_text("Take theirs").click()
    assert other.input_value("textarea[name=cause]") == "worn sprocket"
    other.close()


def test_two_windows_on_different_fields_never_collide(desk, card):
    desk.goto(step(card, "findings"))
    other = other_window(desk, card, "findings")
    other.fill("textarea[name=cause]", "dry chain")
    desk.fill("textarea[name=correction]", "oiled")
    saved(other)
    saved(desk)
    card.refresh_from_db()
    assert (card.cause, card.correction) == ("dry chain", "oiled")
    other.close()


def test_two_people_are_told_each_others_name(desk, card, chromium, live_server):
    person = User.objects.create_user("second", password="spoke-and-hub-9", display_name="Sunniva")
    person.groups.add(Group.objects.get(name="mechanic"))
    theirs = chromium.new_page(base_url=live_server.url)
    theirs.goto("/login/")
    theirs.fill("input[name=username]", "second")
    theirs.fill("input[name=password]", "spoke-and-hub-9")
    theirs.press("input[name=password]", "Enter")
    theirs.wait_for_url(live_server.url + "/")
    desk.goto(step(card, "bench"))
    theirs.goto(step(card, "bench"))
    theirs.fill("[data-measure] input[name$=value]", "0.3")
    saved(theirs)
    desk.fill("[data-measure] input[name$=value]", "0.8")
    expect(desk.locator(".clash")).to_contain_text("Sunniva wrote here meanwhile: 0.3 %")
    assert card.measurements.get().value == 0.3
    theirs.close()


def test_a_lost_connection_keeps_what_is_typed_and_sends_it_later(desk, card):
    desk.goto(step(card, "findings"))
    desk.context.set_offline(True)
    desk.fill("textarea[name=cause]", "dry chain")
    desk.fill("textarea[name=correction]", "oiled")
    expect(desk.locator("#saving")).to_have_text("No connection. Kept on this device, not sent yet")
    desk.click("text=Go on to the review")
    expect(desk.locator("#saving")).to_contain_text("go on when it is back")
    look(desk, "card-offline")
    desk.context.set_offline(False)
    saved(desk)
    card.refresh_from_db()
    assert (card.cause, card.correction) == ("dry chain", "oiled")


def test_what_was_not_sent_comes_back_after_a_reload(desk, card):
    desk.goto(step(card, "findings"))
    desk.route("**/save/", lambda route: route.abort())
    desk.fill("textarea[name=cause]", "dry chain")
    expect(desk.locator("#saving")).to_have_text("Kept on this device, not sent yet")
    desk.unroute("**/save/")
    desk.reload()
    assert desk.input_value("textarea[name=cause]") == "dry chain"
    saved(desk)
    card.refresh_from_db()
    assert card.cause == "dry chain"


def test_a_login_that_ran_out_in_mid_form_loses_nothing(desk, card):
    desk.fill("input[name=value]", "2120")
    desk.context.clear_cookies(name="sessionid")
    desk.fill("textarea[name=complaint]", "It squeaks.")
    expect(desk.locator("#saving")).to_contain_text("log in again")
    desk.click("text=Go on to the tasks")
    desk.wait_for_url("**/login/**")
    desk.fill("input[name=username]", "mechanic")
    desk.fill("input[name=password]", "spoke-and-hub-9")
    desk.press("input[name=password]", "Enter")
    desk.wait_for_url("**/intake/")
    assert desk.input_value("textarea[name=complaint]") == "It squeaks."
    assert desk.input_value("input[name=value]") == "2120"
    saved(desk)
    card.refresh_from_db()
    assert (card.complaint, card.reading) == ("It squeaks.", None)
    desk.click("text=Go on to the tasks")
    desk.wait_for_url("**/tasks/")
    card.refresh_from_db()
    assert float(card.reading.value) == 2120
    desk.goto(step(card, "intake"))
    assert on_this_device(desk) == []


def test_back_and_forward_show_what_stands_and_repeat_nothing(desk, card):
    desk.fill("input[name=value]", "2120")
    desk.press("input[name=value]", "Enter")
    desk.wait_for_url("**/tasks/")
    desk.click("text=Go on to the bench")
    desk.wait_for_url("**/bench/")
    desk.go_back()
    desk.wait_for_url("**/tasks/")
    desk.go_back()
    desk.wait_for_url("**/intake/")
    assert desk.input_value("input[name=value]") == "2120"
    desk.fill("textarea[name=complaint]", "It squeaks.")
    desk.click("text=Go on to the tasks")
    desk.wait_for_url("**/tasks/")
    desk.go_back()
    assert desk.input_value("textarea[name=complaint]") == "It squeaks."
    desk.go_forward()
    desk.wait_for_url("**/tasks/")
    assert card.trike.readings.filter(value=2120).count() == 1
    assert desk.locator(".clash").count() == 0


def ready_to_sign(desk, card) -> None:
    desk.fill("input[name=value]", "2120")
    desk.press("input[name=value]", "Enter")
    desk.wait_for_url("**/tasks/")
    desk.goto(step(card, "bench"))
    desk.fill("[data-measure] input[name$=value]", "0.3")
    desk.click("section:has(h2:has-text('Chain check')) button[name=done]")
    expect(desk.locator(".bench-card.done")).to_have_count(1)
    desk.goto(step(card, "sign"))
    desk.fill("input[name=pin]", PIN)


def test_a_double_click_signs_once(desk, card):
    ready_to_sign(desk, card)
    desk.dblclick("button:has-text('Sign as')")
    desk.wait_for_url(f"**/jobs/{card.pk}/")
    assert "is signed. The due list has moved." in desk.inner_text("main")
    assert card.trike.log_entries.filter(kind="job_card_signed").count() == 1


def test_a_slow_network_loses_nothing_and_does_nothing_twice(desk, card):
    desk.route("**/jobs/**", lambda route: (desk.wait_for_timeout(400), route.continue_()))
    desk.fill("textarea[name=complaint]", "It squeaks.")
    desk.fill("input[name=value]", "2120")
    desk.press("input[name=value]", "Enter")
    desk.wait_for_url("**/tasks/")
    desk.unroute("**/jobs/**")
    card.refresh_from_db()
    assert (card.complaint, float(card.reading.value)) == ("It squeaks.", 2120)
    assert card.trike.readings.filter(value=2120).count() == 1


def test_everything_works_without_scripts(chromium, live_server, card, desk):
    state = desk.context.storage_state()
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False, storage_state=state)
    page = context.new_page()
    page.goto(step(card, "intake"))
    page.fill("input[name=value]", "2120")
    page.press("input[name=value]", "Enter")
    page.fill("#find_task", "wash chain")
    page.press("#find_task", "Enter")
    page.click("text=Go on to the bench")
    page.fill("[data-measure] input[name$=value]", "0.62")
    page.fill("input[name=new_serial]", "NEW-B")
    page.press("input[name=new_serial]", "Enter")
    assert "0.62 % - replace soon" in page.inner_text("main")
    page.click("text=All done, go on")
    page.fill("textarea[name=cause]", "dry chain")
    page.click("button[name=failed] >> nth=0")
    page.click("#failure label >> nth=0")
    page.click("text=Record the failure")
    page.click("text=Go on to the review")
    card.refresh_from_db()
    assert (card.cause, card.failures.count(), card.swaps.count(), card.tasks.filter(outcome="done").count()) == (
        "dry chain", 1, 1, 3,
    )  # fmt: skip
    context.close()


def test_every_step_can_be_looked_at_and_has_no_fault_in_axe(desk, card):
    desk.fill("input[name=value]", "2120")
    desk.press("input[name=value]", "Enter")
    desk.wait_for_url("**/tasks/")
    desk.goto(step(card, "bench"))
    desk.fill("[data-measure] input[name$=value]", "0.81")
    saved(desk)
    desk.fill("input[name=new_serial]", "NEW-B")
    desk.press("input[name=new_serial]", "Enter")
    desk.wait_for_load_state()
    bad = {}
    pages = [step(card, name) for name in ("intake", "tasks", "bench", "findings", "sign")]
    failed = step(card, "findings") + f"?failed={Component.objects.get(serial='OLD-CHAIN').pk}"
    for address in [*pages, failed, "/signature/"]:
        for width in WIDTHS:
            desk.set_viewport_size({"width": width, "height": 900})
            desk.goto(address)
            if found := faults(desk):
                bad[address, width] = found
        look(desk, "card" + address.replace("/", "-").replace("?", "-"))
    assert json.dumps({str(key): value for key, value in bad.items()}, indent=1) == "{}"

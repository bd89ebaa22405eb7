"""The desk's day in a real browser: import, due list, job card, signature, one mail. Screenshots go to an ignored folder."""

import csv
from datetime import timedelta
from pathlib import Path

import pytest
from django.db.models import Count
from django.utils import timezone
from playwright.sync_api import expect

from tests.browser.looking import look
from tests.mail_server import free_port, listening, point_settings_at
from tracker.actions.schedule import load_default_intervals
from tracker.models import Component, DueLine, Fitment, JobCard, JobTask, Owner, Ownership, Swap, Trike
from tracker.queries.due import due_list, rebuild_differences
from tracker.queries.life import distances_now, lives_of
from tracker.queries.reminders import owners_of
from tracker.tasks.imports import work_imports
from tracker.tasks.outbox import dispatch_outbox
from tracker.tasks.sweep import sweep

FIXTURES = Path(__file__).parents[2] / "fixtures"
FILES = ("catalogue.csv", "parts.csv", "deliveries.xlsx", "odometer.csv", "service_book.csv")


@pytest.fixture
def mail(settings):
    settings.QUIET_FROM_HOUR, settings.QUIET_UNTIL_HOUR = 24, 0
    point_settings_at(settings, free_port())
    with listening(settings.EMAIL_PORT) as server:
        yield server


def test_the_desk_imports_the_workshop_works_a_card_and_the_owner_gets_one_mail(desk, mail):
    upload_the_files(desk)
    look_at_the_first_pages(desk)
    trike, owner = first_on_the_due_list()
    battery = part_at(trike, "battery")
    life = lives_of([battery.pk], timezone.now())[battery.pk].km
    before = due_days(trike)
    open_from_the_due_list(desk, trike)
    fill_the_card(desk, trike)
    sign(desk)
    after = due_days(trike)
    assert after["hub_oil_change"] > before["hub_oil_change"]
    assert after["chain_check"] > before["chain_check"]
    assert rebuild_differences() == []
    scan(desk, battery.serial.lower())
    desk.wait_for_url("**/components/**")
    assert battery.serial in desk.inner_text("main")
    look(desk, "old-battery")
    desk.goto(f"/components/{part_at(trike, 'chain').pk}/")
    assert "Wear" in desk.inner_text("main")
    look(desk, "chain")
    kept = lives_of([battery.pk], timezone.now() + timedelta(days=30))[battery.pk].km
    assert kept == pytest.approx(life, abs=60)  # it stays with its serial and grows no more
    assert part_at(trike, "battery") != battery
    send_out()
    letters = mail.mails_to(owner.email)
    assert len(letters) == 1
    send_out()
    assert len(mail.mails_to(owner.email)) == 1
    read_the_mail(desk, letters[0], owner)


def upload_the_files(desk) -> None:
    """Each file at the desk: upload, the worker checks, every row's verdict, confirm, the worker writes."""
    with (FIXTURES / "intervals.csv").open(newline="", encoding="utf-8") as lines:
        load_default_intervals(rows=list(csv.DictReader(lines)), now=timezone.now())
    for name in FILES:
        desk.goto("/imports/")
        desk.set_input_files("input[name=file]", FIXTURES / name)
        desk.click("text=Upload and check")
        desk.wait_for_url("**/imports/*/")
        let_the_worker_work(desk)
        look(desk, f"import-{name.partition('.')[0]}")
        with desk.expect_navigation():
            desk.click("button:has-text('Write ')")
        let_the_worker_work(desk)
        assert "rows written" in desk.inner_text("main")
    assert Trike.objects.filter(state="delivered").count() == 240


def let_the_worker_work(desk) -> None:
    """The page would look again by itself meanwhile; here the database in memory is the worker's alone."""
    address = desk.url
    desk.goto("about:blank")
    assert work_imports() == 1
    desk.goto(address)


def look_at_the_first_pages(desk) -> None:
    for name, path in (
        ("today", "/"),
        ("due", "/due/?window=all"),
        ("trikes", "/trikes/"),
        ("intervals", "/intervals/"),
        ("outlook", "/outlook/"),
    ):
        answer = desk.goto(path)
        assert answer.status == 200
        look(desk, name)


def first_on_the_due_list() -> tuple[Trike, Owner]:
    """The first trike on the due list that has a geared hub, whose oil falls due, and an owner who wants reminders in English.

    The owner has no other trike: each would get a mail of its own.
    """
    lines = list(due_list())
    owners = owners_of({line.trike_id for line in lines})
    geared = set(DueLine.objects.filter(task="hub_oil_change").values_list("trike_id", flat=True))
    several = Ownership.objects.filter(until__isnull=True).values("owner").annotate(n=Count("pk")).filter(n__gt=1)
    crowded = set(several.values_list("owner", flat=True))
    for line in lines:
        owner = owners[line.trike_id]
        wants = owner.reminders_agreed and owner.language == "en"
        if line.trike_id in geared and wants and owner.pk not in crowded:
            return line.trike, owner
    raise AssertionError("no such trike on the due list")


def part_at(trike: Trike, position: str) -> Component:
    return Fitment.objects.current().get(trike=trike, position=position).component


def due_days(trike: Trike) -> dict:
    rows = DueLine.objects.filter(trike=trike, due_on__isnull=False).order_by("-due_on")
    return {row.task: row.due_on for row in rows}  # the soonest of each task


def open_from_the_due_list(desk, trike: Trike) -> None:
    desk.goto("/due/?window=all")
    desk.fill("#due_q", trike.frame_serial)
    with desk.expect_navigation():
        desk.press("#due_q", "Enter")
    desk.click(f"a:has-text('{trike.frame_serial}') >> nth=0")
    desk.wait_for_url("**/trikes/**")
    look(desk, "trike")
    desk.click("text=Open a job card")
    desk.wait_for_url("**/jobs/**/intake/")
    desk.fill("textarea[name=complaint]", "Less range than last year; rattles on cobbles.")


def fill_the_card(desk, trike: Trike) -> None:
    """Odometer, hub oil, chain measured, battery swapped by its new serial; what else is due is deferred."""
    look(desk, "card-open")
    here = distances_now([trike.pk], timezone.now())[trike.pk]
    desk.fill("input[name=value]", str(round(here.display_km) + 1))
    desk.select_option("select[name=unit]", "km")
    desk.click("text=Go on to the tasks")
    desk.wait_for_url("**/tasks/")
    hub, chain, battery = (part_at(trike, place) for place in ("rear-hub", "chain", "battery"))
    put_on_the_card(desk, hub, "hub_oil_change", "hub oil")
    put_on_the_card(desk, chain, "chain_check", "chain check")
    kept = {f"task-{hub.pk}-hub_oil_change-outcome", f"task-{chain.pk}-chain_check-outcome"}
    ticked = [box.get_attribute("name") for box in desk.locator(".tickable input[type=checkbox]:checked").all()]
    for name in set(ticked) - kept:
        desk.uncheck(f"input[type=checkbox][name={name}]")
    look(desk, "card-tasks")
    desk.click("text=Go on to the bench")
    desk.wait_for_url("**/bench/")
    measured = f"#measure-{chain.pk}-chain_elongation_pct"
    desk.fill(f"{measured} input[name$=value]", "0.3")
    expect(desk.locator(f"{measured} .verdict")).to_contain_text("0.30 % - good")
    spare = Component.objects.filter(part_type__kind="battery", state="in_stock").first()
    desk.fill("input[name=new_serial]", f" {spare.serial.lower()} ")
    desk.press("input[name=new_serial]", "Enter")
    expect(desk.locator("#swaps")).to_contain_text(f"{battery.serial} leaves after")
    assert spare.serial in desk.inner_text("#swaps")
    assert desk.input_value("select[name=swap-battery-fate]") == "returned"
    desk.fill("input[name=swap-battery-reason]", "lost a third of its range")
    look(desk, "card-filled")
    desk.click("text=All done, go on")
    desk.wait_for_url("**/findings/")
    assert set(JobTask.objects.filter(outcome="done").values_list("task", flat=True)) >= {
        "hub_oil_change",
        "chain_check",
    }
    assert Swap.objects.get(new_component=spare).reason == "lost a third of its range"


def put_on_the_card(desk, part: Component, task: str, words: str) -> None:
    """Add a task that is not proposed because it is not due yet."""
    box = desk.locator(f"#task-{part.pk}-{task}-outcome")
    if box.count() == 0:
        desk.fill("#find_task", words)
        desk.press("#find_task", "Enter")
        desk.wait_for_url("**/tasks/?added=1**")
    expect(box).to_be_checked()


def sign(desk) -> None:
    desk.fill("textarea[name=correction]", "Oil changed, battery renewed; ridden round the yard.")
    look(desk, "card-findings")
    desk.click("text=Go on to the review")
    desk.wait_for_url("**/release/")
    look(desk, "card-release")
    for line in desk.locator("input[type=radio][value=yes]").all():
        line.check()
    desk.click("button:has-text('Release as')")
    desk.wait_for_url("**/sign/")
    look(desk, "card-sign")
    desk.fill("input[name=password]", "spoke-and-hub-9")
    with desk.expect_navigation():
        desk.click("button:has-text('Sign as')")
    assert JobCard.objects.get(complaint__startswith="Less range").state == "signed"
    look(desk, "card-signed")


def scan(desk, serial: str) -> None:
    """As a scanner does: it types wherever the cursor stands, and ends with Enter."""
    desk.goto("/")
    desk.keyboard.type(serial)
    desk.keyboard.press("Enter")


def send_out() -> None:
    sweep()
    while dispatch_outbox():
        pass


def read_the_mail(desk, letter, owner: Owner) -> None:
    """It speaks in the owner's units and looks right on a phone."""
    text = letter.get_body(("plain",)).get_content()
    wanted, other = (" mi.", " km.") if owner.distance_unit == "mi" else (" km.", " mi.")
    assert wanted in text
    assert other not in text
    desk.set_content(letter.get_body(("html",)).get_content())
    look(desk, "mail")
    link = next(word for word in text.split() if "/o/" in word)
    desk.goto("/o/" + link.rsplit("/o/", 1)[1])
    assert desk.inner_text("h1")
    look(desk, "owner-page")

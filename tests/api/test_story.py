"""The whole job over the API: the workshop's files in, the due list, a signed card, one mail about one visit."""

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.api.conftest import Caller, person
from tests.mail_server import free_port, listening, point_settings_at
from tracker.actions.schedule import load_default_intervals
from tracker.models import Owner, SweepRun
from tracker.queries.due import rebuild_differences
from tracker.queries.logbook import broken_chains
from tracker.tasks.imports import work_imports
from tracker.tasks.outbox import dispatch_outbox
from tracker.tasks.sweep import sweep

pytestmark = pytest.mark.django_db
FIXTURES = Path(__file__).parents[2] / "fixtures"
FILES = ("catalogue.csv", "parts.csv", "deliveries.xlsx", "odometer.csv", "service_book.csv")
DAY = date.fromisoformat((FIXTURES / "anchor.txt").read_text().strip())  # the day the files were written
MORNING = datetime(DAY.year, DAY.month, DAY.day, 10, 0, tzinfo=UTC)


@pytest.fixture
def mail(settings):
    point_settings_at(settings, free_port())
    with listening(settings.EMAIL_PORT) as server:
        yield server


def test_files_in_due_list_signed_card_and_one_mail(mail):
    with time_machine.travel(MORNING, tick=False):
        desk, mechanic = person("desk"), person("mechanic")
        bring_in_the_files(desk)
        trike = first_on_the_due_list(desk)
        before, after = work_on(trike, desk, mechanic)
        assert after["hub_oil_change"] > before["hub_oil_change"]
        assert after["chain_check"] > before["chain_check"]
        assert rebuild_differences() == []
        assert list(broken_chains()) == []
        sweep()
        assert SweepRun.objects.get().trikes_done == SweepRun.objects.get().trikes_total > 0
    owner = Owner.objects.get(pk=desk.get(f"trikes/{trike['id']}").json()["owner"])
    for hours in (0, 12, 24):  # the owner's quiet hours pass
        with time_machine.travel(MORNING + timedelta(hours=hours), tick=False):
            while dispatch_outbox():
                pass
            sweep()
            while dispatch_outbox():
                pass
    letter = told_once(mail, owner)
    assert_it_speaks_as_its_owner(letter, owner)


def bring_in_the_files(desk: Caller) -> None:
    """Upload, let the worker check, look at the verdicts, confirm, let the worker write: file by file."""
    with (FIXTURES / "intervals.csv").open(newline="", encoding="utf-8") as lines:
        load_default_intervals(rows=list(csv.DictReader(lines)), now=MORNING)
    for name in FILES:
        body = {"kind": name.partition(".")[0], "file": SimpleUploadedFile(name, (FIXTURES / name).read_bytes())}
        made = desk.client.post("/api/v1/imports", body)
        assert made.status_code == 201, made.content
        address = f"imports/{made.json()['id']}"
        assert work_imports() == 1
        checked = desk.get(address).json()
        assert (checked["state"], checked["rows_bad"]) == ("checked", 0), (name, checked)
        assert desk.post(f"{address}/confirm").status_code == 200
        assert work_imports() == 1
        assert desk.get(address).json()["state"] == "applied", name
    assert len(everything(desk, "trikes")) == 240


def everything(caller: Caller, path: str, **query) -> list[dict]:
    """All rows of a list, page after page, as its `next` links lead."""
    page = caller.get(path, **query).json()
    rows = page["results"]
    while page["next"]:
        page = caller.client.get(page["next"], headers=caller.headers).json()
        rows += page["results"]
    return rows


def first_on_the_due_list(desk: Caller) -> dict:
    """The first trike on the due list that has a geared hub (oil to change) and an owner who reads English and wants letters."""
    seen = set()
    for line in everything(desk, "due-lines"):
        if line["trike"] in seen:
            continue
        seen.add(line["trike"])
        assert line["status"] in {"overdue", "due"}
        trike = desk.get(f"trikes/{line['trike']}").json()
        parts = {row["position"] for row in desk.get(f"trikes/{trike['id']}/components").json()}
        tasks = {row["task"] for row in everything(desk, f"trikes/{trike['id']}/due-lines")}
        owner = desk.get(f"owners/{trike['owner']}").json()
        wants = owner["reminders_agreed"] and owner["language"] == "en"
        if {"rear-hub", "chain", "battery"} <= parts and "hub_oil_change" in tasks and wants:
            return trike
    raise AssertionError("no such trike on the due list")


def dates(caller: Caller, trike: dict) -> dict[str, str]:
    """Task -> soonest due day of the trike."""
    rows = everything(caller, f"trikes/{trike['id']}/due-lines")
    return {row["task"]: row["due_on"] for row in sorted(rows, key=lambda row: row["due_on"] or "", reverse=True)}


def work_on(trike: dict, desk: Caller, mechanic: Caller) -> tuple[dict, dict]:
    """The card: odometer, oil, chain, battery by serials, signature. Returns the due days before and after."""
    before = dates(desk, trike)
    parts = {row["position"]: row for row in desk.get(f"trikes/{trike['id']}/components").json()}
    serial = {place: desk.get(f"components/{row['component']}").json()["serial"] for place, row in parts.items()}
    spares = everything(desk, "components", state="in_stock", kind="battery")
    card = desk.post("job-cards", {"trike": trike["id"], "complaint": "less range than last year"}).json()
    address = f"job-cards/{card['id']}"
    here = desk.get(f"trikes/{trike['id']}/distance").json()
    life_before = desk.get(f"components/{parts['battery']['component']}/life").json()["km"]
    steps = [
        ("odometer", {"value": round(here["display_km"]) + 1, "unit": "km"}),
        ("tasks", {"component": parts["rear-hub"]["component"], "task": "hub_oil_change", "outcome": "done"}),
        ("tasks", {"component": parts["chain"]["component"], "task": "chain_check", "outcome": "done"}),
        ("measurements", {"component": parts["chain"]["component"], "quantity": "chain_elongation_pct", "value": 0.3}),
        ("swaps", {"position": "battery", "old_serial": f" {serial['battery'].lower()}",
                   "new_serial": spares[0]["serial"], "fate": "returned", "reason": "lost a third of its range"}),
    ]  # fmt: skip
    for step, body in steps:
        shown = mechanic.post(f"{address}/{step}", body)
        assert shown.status_code == 200, (step, shown.content)
    assert shown.json()["odometer"]["verdict"] == "accepted", shown.json()["odometer"]
    asked = mechanic.get(f"{address}/release").json()["lines"]
    assert {line["code"] for line in asked} == {"drive_runs", "drive_held", "test_ride"}
    answers = {line["code"]: {"passed": True} for line in asked}
    shown = mechanic.post(f"{address}/release", {"answers": answers}, If_Match=shown["ETag"])
    assert shown.status_code == 200, shown.content
    signed = mechanic.post(f"{address}/sign", If_Match=shown["ETag"])
    assert signed.status_code == 200, signed.content
    kept = desk.get(f"components/{parts['battery']['component']}/life").json()["km"]
    assert kept == pytest.approx(life_before, abs=60)  # the old battery's life stays with its serial
    assert kept > 100
    fresh = desk.get(f"components/{spares[0]['id']}/life").json()["km"]
    assert fresh == pytest.approx(0, abs=1)
    assert desk.get(f"components/{parts['battery']['component']}").json()["state"] == "returned"
    return before, dates(desk, trike)


def told_once(mail, owner: Owner):
    """The one letter the owner got, over everything that was sent."""
    letters = mail.mails_to(owner.email)
    assert len(letters) == 1
    assert len({str(letter["Message-ID"]) for letter in letters}) == 1
    return letters[0]


def assert_it_speaks_as_its_owner(letter, owner: Owner) -> None:
    text = letter.get_body(("plain",)).get_content()
    assert owner.name.split()[0] in text
    wanted, other = (" mi.", " km.") if owner.distance_unit == "mi" else (" km.", " mi.")
    assert wanted in text
    assert other not in text

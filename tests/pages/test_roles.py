"""Every page against every role: who may open it, who may send its forms, and that reading changes nothing."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse

from tests import factories as make
from tests.pages.conftest import ROLES, logged_in
from tracker.pages import urls
from tracker.pages.roles import ALL, RULERS, WRITERS

ALL_PAGES = [
    "today", "search", "due", "outlook", "trikes", "trike", "components", "component", "part-types",
    "part-type", "owners", "owner", "jobs", "job", "sign-job", "readings", "reading-doubt", "messages", "message",
    "reminder-report",
    "job-intake", "job-tasks", "job-bench", "job-findings", "signature",
    "intervals", "change-interval", "handover", "record-reading", "add-ride", "report", "swap-display", "open-card",
    "add-component", "change-component", "record-meter", "add-owner", "change-owner", "change-trike",
    "component-log", "verify-logbook", "release", "photos", "summary", "label", "build-lists", "build-list",
    "card-paper", "summary-paper", "passport", "check-passport", "appointments", "appointment", "closings",
    "bulletins", "bulletin", "bulletin-letter", "review", "review-part", "before-after",
]  # fmt: skip
WRITER_PAGES = ["pass-on", "erase-owner", "stolen", "retire", "imports", "import", "new-handover"]
WRITER_PAGES += ["handover-parts", "handover-owner", "handover-final"]
RULER_PAGES = [
    "add-part-type",
    "change-part-type",
    "add-interval",
    "add-kind-interval",
    "add-build-list",
    "change-build-list",
    "new-bulletin",
    "change-bulletin",
    "interval-proposal",
]
SEEN_BY = dict.fromkeys(ALL_PAGES, ALL) | dict.fromkeys(WRITER_PAGES, WRITERS) | dict.fromkeys(RULER_PAGES, RULERS)
BY_POST_ONLY = {
    "job-save", "cancel-job", "amend-job", "decide-reading", "decide-message", "confirm-import", "try-import-again",
    "make-link", "ask-erase-owner", "keep-owner",
    "take-back-release", "drop-photo", "mail-summary", "remove-closing", "drop-reading-photo",
}  # fmt: skip
RULERS_SEND = {"bulletin-touches", "release-bulletin", "end-bulletin", "reckon-review"}
BY_POST_ONLY |= {*RULERS_SEND, "move-bulletin-part"}
OPEN = {"login", "logout"}
ASKED = {"job-judge", "job-odometer-word"}  # what a script asks while somebody types: tests/pages/test_card_live.py
PAPERS = {"card-paper", "summary-paper", "passport"}  # PDF
FILES = {"label-svg", "label-pdf", "handover-setup", "letter", "photo", "reading-photo", "find-hints", "bulletin-csv"}
FILES |= {
    "review-csv", "review-xlsx", "review-pdf", "review-lives-csv", "review-failures-csv", "review-part-xlsx", "review-part-pdf",
}  # fmt: skip


@pytest.fixture
def ids(workshop) -> dict[str, int]:
    battery = make.ComponentFactory(part_type__kind="battery")
    return {
        "trike_id": workshop.trike.pk,
        "owner_id": workshop.owner.pk,
        "component_id": battery.pk,
        "part_type_id": battery.part_type_id,
        "card_id": workshop.card.pk,
        "reading_id": make.OdometerReadingFactory(trike=workshop.trike, verdict="suspect").pk,
        "message_id": make.OutboxMessageFactory(trike=workshop.trike, owner=workshop.owner).pk,
        "batch_id": make.ImportBatchFactory(state="checked").pk,
        "interval_id": make.ServiceIntervalFactory().pk,
        "handover_id": make.HandoverFactory(trike=workshop.trike).pk,
        "photo_id": make.PhotoFactory(card=workshop.card).pk,
        "appointment_id": make.AppointmentFactory(trike=workshop.trike, owner=workshop.owner).pk,
        "closing_id": make.ClosingFactory().pk,
        "build_list_id": make.BuildListFactory().pk,
        "bulletin_id": make.BulletinFactory(state="draft").pk,
        "part_id": make.BulletinPartFactory().pk,
    }


def address(name: str, ids: dict[str, int]) -> str:
    pattern = next(p for p in urls.urlpatterns if p.name == name)
    return reverse(name, kwargs={key: ids[key] for key in pattern.pattern.converters})


def test_every_address_of_the_desk_is_in_these_tables():
    assert {p.name for p in urls.urlpatterns} == set(SEEN_BY) | BY_POST_ONLY | ASKED | OPEN | FILES


@pytest.mark.parametrize("role", ROLES)
def test_a_role_opens_the_pages_it_may_see_and_no_others(role, ids):
    client = logged_in(role)
    answers = {name: client.get(address(name, ids), follow=True).status_code for name in SEEN_BY}
    assert answers == {name: 200 if role in seen else 404 for name, seen in SEEN_BY.items()}


def test_a_person_without_a_role_finds_nothing(ids):
    client = logged_in("")
    assert {client.get(address(name, ids)).status_code for name in SEEN_BY} == {404}


def test_anonymous_people_are_asked_to_log_in_everywhere(ids):
    client = Client()
    for name in {*SEEN_BY, *FILES, *BY_POST_ONLY, *ASKED}:
        answer = client.get(address(name, ids))
        assert answer.status_code == 302, name
        assert answer["Location"].startswith("/login/?next="), name


@pytest.mark.parametrize("name", sorted(BY_POST_ONLY))
def test_what_changes_something_is_not_done_by_get(name, ids, admin):
    assert admin.get(address(name, ids)).status_code == 405


@pytest.mark.parametrize("name", sorted(BY_POST_ONLY - RULERS_SEND - {"confirm-import", "try-import-again"}))
def test_reviewers_look_but_do_not_send(name, ids, reviewer):
    assert reviewer.post(address(name, ids)).status_code == 403


@pytest.mark.parametrize("name", sorted(RULERS_SEND))
def test_the_bench_and_the_desk_write_no_bulletins(name, ids, desk, mechanic):
    assert {client.post(address(name, ids)).status_code for client in (desk, mechanic)} <= {403, 404}


@pytest.mark.parametrize("name", ["sign-job", "amend-job", "release", "take-back-release"])
def test_the_service_desk_does_not_sign(name, ids, desk):
    assert desk.post(address(name, ids), {"password": "x", "version": 1, "text": "x"}).status_code == 403


def test_only_reviewers_and_the_admin_change_an_interval(ids, desk, mechanic):
    for client in (desk, mechanic):
        assert client.post(address("change-interval", ids), {"every_km": 9}).status_code == 403


def test_reading_pages_writes_nothing_to_the_record(ids, admin):
    admin.get("/")  # the session's first touch
    with CaptureQueriesContext(connection) as queries:
        for name in SEEN_BY:
            admin.get(address(name, ids))
    writes = [q["sql"] for q in queries if q["sql"].split()[0] in {"INSERT", "UPDATE", "DELETE"}]
    assert writes == []


def test_forms_without_their_token_are_refused(ids, workshop):
    client = Client(enforce_csrf_checks=True)
    client.force_login(make.models.User.objects.get_or_create(username="u", defaults={"is_superuser": True})[0])
    assert client.post(f"/jobs/{workshop.card.pk}/cancel/", {"version": 1}).status_code == 403


def test_a_thing_that_does_not_exist_is_not_found(admin):
    for name in ("trike", "component", "owner", "job", "part-type", "message", "import", "handover", "change-interval"):
        pattern = next(p for p in urls.urlpatterns if p.name == name)
        key = next(iter(pattern.pattern.converters))
        assert admin.get(reverse(name, kwargs={key: 999_999})).status_code == 404, name


def test_all_names_resolve_in_the_whole_service():
    names = set(get_resolver().reverse_dict)
    assert {"today", "login", "job"} <= names

"""The owner's page as an app: what may be kept on a phone, until when, and when it must be forgotten."""

import json
from datetime import timedelta

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from PIL import Image

from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import phone_of, some_task, token_for, trike_with
from tracker.actions.hand_on import ask_to_hand_on
from tracker.actions.owner_links import resume_reminders, revoke_links, stop_reminders
from tracker.actions.passing import pass_on
from tracker.actions.reminders import sweep_trikes
from tracker.models import OwnerLink
from tracker.queries.owner_copy import copy_until

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]


@pytest.fixture
def trike():
    trike = trike_with(some_task(safety=False))
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    return trike


@pytest.fixture
def token(trike) -> str:
    return token_for(trike)


@pytest.fixture
def phone(token) -> Client:
    return phone_of(token)


def link() -> OwnerLink:
    return OwnerLink.objects.select_related("owner").get(purpose="page")


def word(response) -> str | None:
    return response.headers.get("Owner-Copy")


def test_a_page_may_be_kept_as_long_as_the_cookie_lasts(phone):
    until = NOW + timedelta(days=30)
    response = phone.get("/o/")
    assert word(response) == f"keep; until={int(until.timestamp())}"
    assert 'data-copy="keep"' in response.content.decode()


def test_never_longer_than_the_link_lives(phone):
    OwnerLink.objects.update(expires_at=NOW + timedelta(days=2))
    assert word(phone.get("/o/")) == f"keep; until={int((NOW + timedelta(days=2)).timestamp())}"


def test_who_stops_the_reminders_leaves_no_copy_and_who_resumes_them_has_one_again(phone):
    stop_reminders(link=link(), now=NOW)
    response = phone.get("/o/")
    assert word(response) == "forget"
    assert 'data-copy="forget"' in response.content.decode()
    resume_reminders(link=link(), now=NOW)
    assert word(phone.get("/o/")).startswith("keep")


def test_who_hands_the_trike_on_leaves_none(phone):
    ask_to_hand_on(link=link(), words="My brother Nils.", now=NOW)
    assert word(phone.get("/o/")) == "forget"


def test_a_trike_that_was_handed_on_before_may_be_kept_by_its_new_owner(trike, phone):
    ask_to_hand_on(link=link(), words="My brother Nils.", now=NOW - timedelta(days=9))
    owner = make.OwnerFactory()
    pass_on(trike_id=trike.pk, owner_id=owner.pk, since=NOW.date(), now=NOW)
    assert word(phone.get("/o/")) == "forget"  # the old owner's
    assert word(phone_of(token_for(trike)).get("/o/")).startswith("keep")


@pytest.mark.parametrize("end", ["revoked", "expired", "altered"])
def test_a_link_that_ended_makes_the_phone_forget(trike, phone, end):
    if end == "revoked":
        revoke_links(trike_id=trike.pk, now=NOW)
    elif end == "expired":
        OwnerLink.objects.update(expires_at=NOW)
    else:
        phone.cookies["owner-link"] = "x" * 43
    response = phone.get("/o/")
    assert (response.status_code, word(response)) == (404, "forget")
    assert 'data-copy="forget"' in response.content.decode()


def test_pages_beside_it_say_nothing_about_the_copy(phone):
    for path in ("/o/settings", "/o/hand-on", "/o/visit.ics", "/o/my-data", "/o/offline"):
        response = phone.get(path)
        assert (response.status_code, word(response)) == (200, None), path


def test_the_page_carries_the_words_for_no_connection_unseen_with_the_owners_clock(trike, phone):
    trike.ownerships.get().owner.__class__.objects.update(time_zone="Pacific/Auckland")
    page = phone.get("/o/").content.decode()
    assert 'id="seen" hidden>' in page
    assert "This is what the page said on Friday 1 May 2026, 22:00." in page  # NOW is 10:00 UTC; +12: IANA tz database


def test_forgetting_on_this_device_ends_the_cookie_and_the_copy_and_not_the_link(phone, token):
    response = phone.post("/o/leave", {"key": phone.key})
    assert (response.status_code, response["Location"]) == (303, "/o/left?language=en")
    assert phone.cookies["owner-link"].value == ""
    assert word(phone.get("/o/left")) == "forget"
    assert phone.get("/o/").status_code == 404
    assert phone.get(f"/o/{token}").status_code == 303


def test_a_forged_form_does_not_make_a_phone_forget_its_cookie(phone):
    assert phone.post("/o/leave", {"key": "forged"}).status_code == 404
    assert phone.get("/o/").status_code == 200


# Manifest and worker


def test_the_manifest_is_the_same_for_everybody_and_names_no_link(phone):
    mine, theirs = phone.get("/o/app.webmanifest"), Client().get("/o/app.webmanifest")
    assert mine.content == theirs.content
    assert mine["Content-Type"] == "application/manifest+json"
    told = json.loads(mine.content)
    assert (told["start_url"], told["scope"], told["display"]) == ("/o/", "/o/", "standalone")
    assert {icon["purpose"] for icon in told["icons"]} == {"any", "maskable"}


def test_its_icons_are_there_in_the_sizes_named(phone):
    for icon in phone.get("/o/app.webmanifest").json()["icons"]:
        with Image.open(finders.find(icon["src"].removeprefix("/static/"))) as image:
            assert f"{image.width}x{image.height}" == icon["sizes"]


def test_the_maskable_icon_keeps_its_drawing_inside_the_circle_every_mask_leaves():
    """W3C Web Application Manifest, section 'Icon masks and safe zone': a circle of 40 % of the width around the middle."""
    with Image.open(finders.find("tracker/app-icon-512.png")) as image:
        pixels, ground = image.convert("RGB"), image.convert("RGB").getpixel((0, 0))
        drawn = [(x, y) for x in range(0, 512, 2) for y in range(0, 512, 2) if pixels.getpixel((x, y)) != ground]
    assert drawn
    assert max((x - 256) ** 2 + (y - 256) ** 2 for x, y in drawn) <= (0.4 * 512) ** 2


def test_the_worker_looks_after_the_owners_pages_alone_and_holds_no_token(phone, token):
    response = phone.get("/o/worker.js")
    assert response["Content-Type"].startswith("text/javascript")
    assert "Service-Worker-Allowed" not in response
    assert token not in response.content.decode()
    assert "worker-src 'self'" in response["Content-Security-Policy"]
    assert Client().get("/o/worker.js").content == response.content


def test_the_copy_costs_no_more_queries_as_the_record_grows(trike, assert_flat_queries):
    token_for(trike)
    row = link()
    assert_flat_queries(
        lambda: copy_until(row, NOW), lambda: make.OutboxMessageFactory.create_batch(20, trike=trike, kind="hand_on")
    )

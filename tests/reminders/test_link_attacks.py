"""Owner links under attack: altered, expired, passed on, replayed, of another trike, opened by scanners, guessed.

LONG_WALKS=1 guesses a million times and looks a thousand times, as the goals say; the short form does a part of both.
"""

import secrets
import time
from hashlib import sha256

import pytest
from django.test import Client

from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import dispatch_all, phone_of, some_task, token_for, trike_with
from tests.reminders.walks import IS_LONG
from tracker.actions.link_steps import hash_of
from tracker.actions.owner_links import LinkGone, open_link, revoke_links
from tracker.actions.passing import pass_on
from tracker.actions.reminders import sweep_trikes
from tracker.models import (
    Appointment,
    Completion,
    DueLine,
    LogEntry,
    OdometerReading,
    OutboxMessage,
    Owner,
    OwnerLink,
    Visit,
)
from tracker.pages.owner_door import form_key

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]
PURPOSES = ("page", "stop", "feed")
PATHS = {"page": "/o/{}", "stop": "/o/stop/{}", "feed": "/o/feed/{}.ics"}
GUESSES, STOCK, BATCH = (1_000_000 if IS_LONG else 20_000), 1_000, 10_000
LOOKS = 1_000 if IS_LONG else 100


@pytest.fixture
def trike():
    trike = trike_with(some_task(safety=False))
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    return trike


def everything() -> list:
    """All that an owner's link could change."""
    models = (OwnerLink, Owner, Visit, Appointment, Completion, OdometerReading, LogEntry, OutboxMessage, DueLine)
    return [list(model.objects.order_by("pk").values()) for model in models]


@pytest.mark.parametrize("purpose", PURPOSES)
@pytest.mark.parametrize("where", [0, 20, 42])
def test_an_altered_token_opens_nothing(trike, purpose, where):
    token = token_for(trike, purpose)
    bad = token[:where] + ("A" if token[where] != "A" else "B") + token[where + 1 :]
    assert Client().get(PATHS[purpose].format(bad)).status_code == 404


@pytest.mark.parametrize("purpose", PURPOSES)
def test_an_expired_token_opens_nothing(trike, purpose):
    token = token_for(trike, purpose)
    OwnerLink.objects.update(expires_at=NOW)
    assert Client().get(PATHS[purpose].format(token)).status_code == 404


@pytest.mark.parametrize("purpose", PURPOSES)
def test_a_trike_that_passed_on_takes_every_link_of_the_old_owner_with_it(trike, purpose):
    token = token_for(trike, purpose)
    pass_on(trike_id=trike.pk, owner_id=make.OwnerFactory().pk, since=NOW.date(), now=NOW)
    assert Client().get(PATHS[purpose].format(token)).status_code == 404


@pytest.mark.parametrize("opened", PURPOSES)
@pytest.mark.parametrize("purpose", PURPOSES)
def test_a_token_opens_what_it_was_made_for_and_nothing_else(trike, purpose, opened):
    status = Client().get(PATHS[opened].format(token_for(trike, purpose))).status_code
    assert (status == 404) is (purpose != opened)


def test_a_form_replayed_after_the_link_ended_changes_nothing(trike):
    phone = phone_of(token_for(trike))
    revoke_links(trike_id=trike.pk, now=NOW)
    before = everything()
    for path, sent in FORMS.items():
        assert phone.post(path, sent | {"key": phone.key}).status_code == 404
    assert everything() == before


def test_a_form_replayed_while_the_link_lives_has_its_effect_once(trike):
    phone = phone_of(token_for(trike))
    sent = {"key": phone.key, "on": "2026-05-12"}
    assert [phone.post("/o/day", sent).status_code for _ in range(3)] == [303, 409, 409]
    assert Appointment.objects.count() == 1


def test_a_link_reaches_no_other_trike(trike):
    """Also not where the same person owns both: a link is bound to one trike."""
    other = make.OwnershipFactory(owner=trike.ownerships.get().owner).trike
    make.VisitLineFactory(visit__trike=other)
    phone = phone_of(token_for(trike))
    page = phone.get("/o/").content.decode() + phone.get("/o/my-data").content.decode()
    assert other.frame_serial not in page
    assert other.plate not in page


def test_the_key_of_one_links_forms_does_not_serve_another(trike):
    other = phone_of(token_for(make.OwnershipFactory().trike))
    key = form_key(token_for(trike))
    before = everything()
    for path, sent in FORMS.items():
        assert other.post(path, sent | {"key": key}).status_code == 404
    assert everything() == before


FORMS = {
    "/o/day": {"on": "2026-05-12"}, "/o/later": {"weeks": "1"}, "/o/done": {"task": "lights_check", "part": "1"},
    "/o/settings": {"form": "units", "distance_unit": "mi", "pressure_unit": "psi", "time_zone": "Europe/Oslo"},
    "/o/calendar": {}, "/o/hand-on": {"words": "me"}, "/o/reminders": {"wish": "stop"}, "/o/reading": {"value": "2100"},
}  # fmt: skip


def test_looks_of_mail_scanners_change_nothing(trike, settings):
    tokens = {purpose: token_for(trike, purpose) for purpose in PURPOSES}
    addresses = [PATHS[purpose].format(token) for purpose, token in tokens.items()]
    inside = ["/o/", "/o/settings", "/o/hand-on", "/o/my-data", "/o/visit.ics", *FORMS]
    settings.REST_FRAMEWORK = settings.REST_FRAMEWORK | {"DEFAULT_THROTTLE_RATES": {"public": "100000/min"}}
    before = everything()
    looks = 0
    phone = phone_of(tokens["page"])
    while looks < LOOKS:
        for address in (*addresses, *inside):
            for method in (phone.get, phone.head, phone.options):
                assert method(address, REMOTE_ADDR=f"192.0.2.{looks % 250}").status_code in {200, 303, 404, 405, 429}
                looks += 1
    assert everything() == before


BODIES = {
    "urlencoded": {"data": "List-Unsubscribe=One-Click", "content_type": "application/x-www-form-urlencoded"},
    "multipart": {"data": {"List-Unsubscribe": "One-Click"}},
}


@pytest.mark.parametrize("encoding", BODIES)
def test_one_click_stop_answers_200_without_cookie_or_redirect_and_holds_before_the_next_mail(trike, encoding, postbox):
    """RFC 8058 sections 3.1 and 3.2."""
    client = Client(enforce_csrf_checks=True)
    response = client.post(PATHS["stop"].format(token_for(trike, "stop")), **BODIES[encoding])
    assert (response.status_code, dict(response.cookies), dict(client.cookies)) == (200, {}, {})
    dispatch_all(postbox, NOW)
    assert postbox.letters == []


def test_random_tokens_open_nothing(trike):
    """Hashed and looked up as open_link does, many hashes in one query; every thousandth goes through open_link itself."""
    owner = trike.ownerships.get().owner
    OwnerLink.objects.bulk_create(
        OwnerLink(token_hash=sha256(secrets.token_bytes(32)).hexdigest(), trike=trike, owner=owner,
                  purpose=PURPOSES[number % 3], created_at=NOW, expires_at=NOW.replace(year=2030))
        for number in range(STOCK)
    )  # fmt: skip
    known = token_for(trike)
    began, opened = time.perf_counter(), 0
    for _ in range(GUESSES // BATCH):
        tokens = [secrets.token_urlsafe(32) for _ in range(BATCH)]
        opened += OwnerLink.objects.filter(token_hash__in=[hash_of(token) for token in tokens]).count()
        for token in tokens[::1_000]:
            for purpose in PURPOSES:
                with pytest.raises(LinkGone):
                    open_link(token, NOW, purpose)
    print(f"{GUESSES:,} random tokens against {STOCK:,} links: {opened} opened, {time.perf_counter() - began:.1f} s")
    assert opened == 0
    assert OwnerLink.objects.filter(token_hash__in=[hash_of(known)]).count() == 1  # the question would have found one

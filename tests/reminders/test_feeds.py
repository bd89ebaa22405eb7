"""The calendar an owner subscribes to: read by two other libraries, following every change, a key that can be ended.

LONG_WALKS=1 edits a thousand feeds fifty times each, as the goal says; the short form eight, fifteen times.
"""

import random
import re
from datetime import date, timedelta

import icalendar
import pytest
import vobject
from django.test import Client

from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import phone_of, some_task, token_for, trike_with
from tests.reminders.walks import IS_LONG
from tracker.actions.appointments import ask_for_day, decide_appointment, withdraw
from tracker.actions.owner_links import end_feed, make_feed, open_link
from tracker.actions.reminders import sweep_trikes
from tracker.models import Appointment, OwnerLink, Visit
from tracker.queries.feeds import feed_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]
FEEDS, EDITS = (1_000, 50) if IS_LONG else (8, 15)


def linked(**visit) -> OwnerLink:
    """The page link of an owner whose trike has an open visit."""
    owned = make.OwnershipFactory(owner__name="Maud Pettersson")
    make.VisitLineFactory(visit=make.VisitFactory(trike=owned.trike, **visit))
    return make.OwnerLinkFactory(trike=owned.trike, owner=owned.owner)


@pytest.fixture
def link() -> OwnerLink:
    return linked()


def told_by_icalendar(content: bytes) -> dict[str, tuple]:
    found = icalendar.Calendar.from_ical(content).walk("VEVENT")
    return {str(e["UID"]): (int(e["SEQUENCE"]), e.decoded("DTSTART"), str(e["STATUS"])) for e in found}


def told_by_vobject(content: bytes) -> dict[str, tuple]:
    found = vobject.readOne(content.decode()).contents.get("vevent", [])
    return {e.uid.value: (int(e.sequence.value), e.dtstart.value, e.contents["status"][0].value) for e in found}


def told(content: bytes) -> dict[str, tuple]:
    """UID -> sequence, day and status, as both libraries read it."""
    events = told_by_icalendar(content)
    assert told_by_vobject(content) == events
    return events


def only(link: OwnerLink, now=NOW) -> tuple:
    """The one event behind a link."""
    (event,) = told(feed_of(link, now)).values()
    return event


def test_a_proposed_visit_is_a_tentative_day_under_the_uid_of_its_visit(link):
    assert told(feed_of(link, NOW)) == {str(link.trike.visits.get().uid): (0, date(2026, 5, 8), "TENTATIVE")}


def test_an_agreed_day_takes_the_place_of_the_proposed_one_and_goes_back_when_it_is_off(link):
    row = ask_for_day(link=link, on=date(2026, 5, 12), now=NOW)
    assert only(link) == (0, date(2026, 5, 8), "TENTATIVE")
    decide_appointment(appointment_id=row.pk, choice="confirm", by=None, now=NOW)
    assert only(link) == (1, date(2026, 5, 12), "CONFIRMED")
    withdraw(link=link, now=NOW)
    assert only(link) == (2, date(2026, 5, 8), "TENTATIVE")


@pytest.mark.parametrize(("state", "sequence"), [("dropped", 4), ("done", 5)])
def test_a_visit_that_is_over_is_struck_out_for_thirty_days(state, sequence):
    link = linked(sequence=4)
    Visit.objects.update(state=state, closed_at=NOW)
    assert only(link, NOW + timedelta(days=30)) == (sequence, date(2026, 5, 8), "CANCELLED")
    assert told(feed_of(link, NOW + timedelta(days=31))) == {}


def test_the_sweep_that_moves_a_visit_keeps_its_uid_and_raises_its_sequence():
    trike = trike_with(some_task(safety=False))
    link = make.OwnerLinkFactory(trike=trike, owner=trike.ownerships.get().owner)
    sweep_trikes(trike_ids=[trike.pk], now=NOW)
    before = told(feed_of(link, NOW))
    later = NOW + timedelta(days=40)
    sweep_trikes(trike_ids=[trike.pk], now=later)
    after = told(feed_of(link, later))
    assert list(after) == list(before)
    (old,), (new,) = before.values(), after.values()
    assert new[0] > old[0]
    assert new[1] > old[1]


def test_what_the_owner_before_was_proposed_is_not_in_the_feed(link):
    Visit.objects.update(opened_at=make.DELIVERED - timedelta(days=9), state="dropped", closed_at=NOW)
    assert told(feed_of(link, NOW)) == {}


def test_nothing_personal_stands_in_the_feed(link):
    link.owner.phone = "020 7946 0312"
    text = feed_of(link, NOW).decode()
    for words in (link.owner.name, "Maud", link.owner.email, link.trike.frame_serial):
        assert words not in text
    assert re.search(r"^UID:[0-9a-f-]{36}\r$", text, re.M)


def test_the_stamp_rises_with_every_change():
    link = linked()
    stamps = []
    for sequence in range(3):
        Visit.objects.update(sequence=sequence)
        stamps.append(re.search(rb"DTSTAMP:(\S+)", feed_of(link, NOW))[1])
    assert stamps == sorted(set(stamps))


# Over the wire


def fetch(token: str, **headers):
    return Client().get(f"/o/feed/{token}.ics", headers=headers)


def test_a_feed_is_a_calendar_and_unchanged_it_is_not_sent_twice(link):
    token = make_feed(link=link, now=NOW)
    first = fetch(token)
    assert (first.status_code, first["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert first["Cache-Control"] == "private, no-cache"
    again = fetch(token, **{"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    Visit.objects.update(sequence=1)
    changed = fetch(token, **{"If-None-Match": first["ETag"]})
    assert (changed.status_code, changed["ETag"] == first["ETag"]) == (200, False)


def test_asking_for_a_feed_writes_nothing_and_costs_few_queries(link, django_assert_max_num_queries):
    token = make_feed(link=link, now=NOW)
    before = list(OwnerLink.objects.values())
    with django_assert_max_num_queries(6):
        fetch(token)
    assert list(OwnerLink.objects.values()) == before


def test_a_new_address_ends_the_old_one_and_both_can_be_ended(link):
    old = make_feed(link=link, now=NOW)
    new = make_feed(link=link, now=NOW)
    assert [fetch(old).status_code, fetch(new).status_code] == [404, 200]
    assert end_feed(link=link, now=NOW) == 1
    assert fetch(new).status_code == 404


def test_a_feed_lives_for_years_and_not_for_ever(link):
    token = make_feed(link=link, now=NOW)
    assert open_link(token, NOW + timedelta(days=1829), "feed")
    feed = OwnerLink.objects.get(purpose="feed")
    assert feed.expires_at == NOW + timedelta(days=1830)


@pytest.fixture
def phone(link):
    return phone_of(token_for(link.trike))


def test_the_page_gives_the_address_once_and_ends_it(phone, settings):
    settings.PUBLIC_URL = "https://shop.example.org"
    page = phone.post("/o/calendar", {"key": phone.key}).content.decode()
    token = re.search(r"webcal://shop\.example\.org/o/feed/([\w-]{43})\.ics", page)[1]
    assert fetch(token).status_code == 200
    assert token not in phone.get("/o/").content.decode()
    assert "Make a new address" in phone.get("/o/").content.decode()
    assert phone.post("/o/calendar", {"key": phone.key, "wish": "end"})["Location"] == "/o/?said=feed-ended"
    assert fetch(token).status_code == 404


# Many feeds, many edits


def edit(link: OwnerLink, rng: random.Random) -> None:
    """Change the plan of one trike as the sweep, its owner or the desk would."""
    visit = Visit.objects.filter(trike_id=link.trike_id, state="open").first()
    asked = Appointment.objects.filter(trike_id=link.trike_id, state__in=["asked", "confirmed"]).first()
    if visit is None or rng.random() < 0.05:
        Visit.objects.filter(trike_id=link.trike_id, state="open").update(
            state="dropped", closed_at=NOW, sequence=visit.sequence + 1 if visit else 0
        )
        Appointment.objects.filter(trike_id=link.trike_id).update(state="withdrawn")
        make.VisitLineFactory(visit=make.VisitFactory(trike_id=link.trike_id, trike=link.trike))
    elif asked is None and rng.random() < 0.5:
        ask_for_day(link=link, on=date(2026, 5, 4) + timedelta(days=7 * rng.randrange(5)), now=NOW)
    elif asked is not None and asked.state == "asked" and rng.random() < 0.6:
        decide_appointment(appointment_id=asked.pk, choice="confirm", by=None, now=NOW)
    elif asked is not None and rng.random() < 0.5:
        withdraw(link=link, now=NOW)
    else:  # as actions/reminder_visits.py writes a plan that moved
        visit.planned_on += timedelta(days=rng.randrange(7, 30))
        visit.sequence += 1
        visit.save(update_fields=["planned_on", "sequence"])


def test_many_feeds_keep_their_uids_and_only_rise_through_many_edits_each(settings):
    settings.BENCH_MINUTES_A_DAY = 0  # room for all
    rng, parsed, changes = random.Random(20260501), 0, 0
    for _ in range(FEEDS):
        link, before = linked(), {}
        for _ in range(EDITS):
            edit(link, rng)
            content = feed_of(link, NOW)
            events = told(content)
            parsed += 1
            assert all(len(line) <= 75 for line in content.split(b"\r\n"))
            assert set(before) <= set(events)
            for uid, event in events.items():
                if uid in before and event != before[uid]:
                    changes += 1
                    assert event[0] > before[uid][0], (before[uid], event)
            before = events
    print(
        f"{FEEDS} feeds x {EDITS} edits: {parsed} parsed by both libraries, {changes} changed events, sequence only up"
    )
    assert parsed == FEEDS * EDITS

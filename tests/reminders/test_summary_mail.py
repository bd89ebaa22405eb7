"""The summary as the owner gets it: once, on request, in the owner's units and zone, without asking for consent."""

from datetime import UTC, date, datetime

import pytest

from tests import factories as make
from tests.releasing import card_on_the_bench, done, release_if_demanded, swapped
from tests.reminders.conftest import dispatch_all, html_of, text_of
from tracker.actions.outbox import settle_lost
from tracker.actions.posting import Delivery, Outcome
from tracker.actions.signing import sign_card
from tracker.actions.steps import refresh_due
from tracker.actions.summaries import mail_summary
from tracker.models import JobCard, OutboxMessage, Owner

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def public_url(settings):
    settings.PUBLIC_URL = "https://service.example.org"


def signed(now, owner: dict | None = None, summary: str = "") -> JobCard:
    """A signed card: hub oil changed, the chain swapped, the shock's pressure measured."""
    card = card_on_the_bench(owner=make.OwnerFactory(**(owner or {})), summary=summary, worked_at=now)
    done(card, "rear-hub", "hub_oil_change")
    swapped(card, "chain", "chain")
    shock = card.trike.fitments.get(position="rear-shock").component
    make.MeasurementFactory(card=card, component=shock, quantity="shock_pressure", value=1034.21, level="ok")
    make.ServiceIntervalFactory(
        task="hub_oil_change", part_kind="hub_geared", every_km=None, every_months=12, early_km=0
    )
    release_if_demanded(card, now)
    sign_card(card_id=card.pk, version=None, by=make.UserFactory(), now=now)
    refresh_due([card.trike_id], now)
    return card


def mailed(card, postbox, now):
    mail_summary(card_id=card.pk, now=now)
    dispatch_all(postbox, now)
    return postbox.mails[-1] if postbox.letters else None


def test_it_says_in_plain_words_what_was_done_and_what_comes_next(postbox, now):
    mail = mailed(signed(now, {"name": "Zoë Ångström"}), postbox, now)
    for text in (text_of(mail), html_of(mail)):
        assert "Hello Zoë Ångström," in text
        assert "We changed the oil of the gear hub." in text
        assert "We replaced the chain." in text
        assert "What comes next" in text
        assert "Hub oil: 1 May 2027." in text
    assert mail["Subject"].endswith("what we did")


def test_it_speaks_the_owners_units(postbox, now):
    text = text_of(mailed(signed(now, {"distance_unit": "mi", "pressure_unit": "psi"}), postbox, now))
    assert "1,305 mi" in text
    assert "150 psi" in text
    assert " km" not in text
    assert " bar" not in text


def test_its_day_is_that_of_the_owners_calendar(postbox):
    late = datetime(2026, 5, 1, 22, 30, tzinfo=UTC)  # 2 May in Auckland and, by summer time, still 1 May in London
    text = text_of(mailed(signed(late, {"time_zone": "Pacific/Auckland"}), postbox, late))
    assert "was with us on 2 May 2026" in text


def test_the_workshops_own_words_are_sent_as_they_stand(postbox, now):
    mail = mailed(signed(now, summary="Dear Zoë,\n\n- <b>new</b> chain"), postbox, now)
    assert "- <b>new</b> chain" in text_of(mail)
    assert "<li>&lt;b&gt;new&lt;/b&gt; chain</li>" in html_of(mail)
    assert "gear hub" not in text_of(mail)


def test_it_is_no_mail_of_a_list_and_names_its_sender_and_machine(postbox, now):
    mail = mailed(signed(now), postbox, now)
    assert mail["List-Unsubscribe"] is None
    assert mail["List-Id"] is None
    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834 section 5
    assert [part.get_content_type() for part in mail.walk()] == ["multipart/alternative", "text/plain", "text/html"]
    assert [defect for part in mail.walk() for defect in part.defects] == []


def test_who_gets_no_reminders_gets_what_was_asked_for(postbox, now):
    assert mailed(signed(now, {"reminders_agreed": False, "stopped_at": now}), postbox, now) is not None


def test_it_goes_out_at_once_also_in_quiet_hours(postbox):
    night = datetime(2026, 5, 1, 23, 30, tzinfo=UTC)
    assert mailed(signed(night), postbox, night) is not None


def test_asked_for_twice_it_goes_out_once(postbox, now):
    card = signed(now)
    mailed(card, postbox, now)
    mailed(card, postbox, now)
    assert len(postbox.letters) == 1


def test_an_address_that_died_meanwhile_gets_nothing(postbox, now):
    card = signed(now)
    mail_summary(card_id=card.pk, now=now)
    Owner.objects.update(email_dead_at=now)
    dispatch_all(postbox, now)
    assert postbox.letters == []
    message = OutboxMessage.objects.get()
    assert (message.state, message.last_error) == ("dropped", "The owner's mail address does not work.")


def test_a_new_owner_gets_nothing_of_the_old_owners_visit(postbox, now):
    card = signed(now)
    mail_summary(card_id=card.pk, now=now)
    old = card.trike.ownerships.get()
    old.until = date(2026, 5, 3)
    old.save()
    make.OwnershipFactory(trike=card.trike, since=date(2026, 5, 3))
    dispatch_all(postbox, now)
    assert postbox.letters == []


def test_a_dead_address_found_while_sending_is_kept(postbox, now):
    postbox.answer = lambda letter: Delivery(Outcome.DEAD, "no such user")
    mailed(signed(now), postbox, now)
    assert Owner.objects.get(email_dead_at__isnull=False)
    assert OutboxMessage.objects.get().state == "failed"


def test_lost_on_the_way_a_person_decides(now):
    card = signed(now)
    mail_summary(card_id=card.pk, now=now)
    OutboxMessage.objects.update(state="sending", lease_until=now.replace(year=2025))
    settle_lost(now=now)
    assert OutboxMessage.objects.get().state == "unknown"

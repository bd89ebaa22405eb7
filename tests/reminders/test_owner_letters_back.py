"""Mail that follows what owners ask: the answer to a day, and words about handing on to the desk."""

from datetime import date

import pytest

from tests import factories as make
from tests.factories import NOW
from tests.reminders.conftest import dispatch_all, text_of
from tracker.actions.appointments import decide_appointment
from tracker.actions.hand_on import ask_to_hand_on
from tracker.models import OutboxMessage, Visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked():
    owned = make.OwnershipFactory()
    visit = make.VisitLineFactory(visit__trike=owned.trike).visit
    return make.AppointmentFactory(trike=owned.trike, owner=owned.owner, visit=visit)


def test_an_agreed_day_is_told_by_mail_once(asked, postbox):
    decide_appointment(appointment_id=asked.pk, choice="confirm", by=None, now=NOW)
    dispatch_all(postbox, NOW)
    assert "Tuesday 12 May 2026 is agreed" in text_of(postbox.mails[0])
    assert postbox.mails[0]["List-Unsubscribe"] is None


def test_an_offer_is_told_with_the_words_of_the_desk(asked, postbox):
    decide_appointment(
        appointment_id=asked.pk, choice="offer", on=date(2026, 5, 14), answer="Mika is away.", by=None, now=NOW
    )
    dispatch_all(postbox, NOW)
    text = " ".join(text_of(postbox.mails[0]).split())
    assert "Could you come on Thursday 14 May 2026 instead of Tuesday 12 May 2026? Mika is away." in text


def test_who_stopped_reminders_still_gets_the_answer_they_asked_for(asked, postbox):
    asked.owner.stopped_at = NOW
    asked.owner.save()
    decide_appointment(appointment_id=asked.pk, choice="confirm", by=None, now=NOW)
    dispatch_all(postbox, NOW)
    assert len(postbox.letters) == 1


def test_words_about_handing_on_reach_the_desk_and_are_forgotten(asked, postbox):
    link = make.OwnerLinkFactory(trike=asked.trike, owner=asked.owner)
    ask_to_hand_on(link=link, words="My brother Nils.", now=NOW)
    dispatch_all(postbox, NOW)
    assert "My brother Nils." in text_of(postbox.mails[0])
    assert f"/trikes/{asked.trike_id}/owner/" in text_of(postbox.mails[0])
    assert "Nils" not in str(OutboxMessage.objects.values())


def test_the_answer_to_a_day_asked_for_does_not_wait_for_the_end_of_a_snooze(asked, postbox):
    Visit.objects.update(snoozed_until=date(2026, 5, 29))
    decide_appointment(appointment_id=asked.pk, choice="confirm", by=None, now=NOW)
    dispatch_all(postbox, NOW)
    assert len(postbox.letters) == 1
